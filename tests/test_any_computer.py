"""The product where Unix's own modules are missing, as on Windows; other names, other encodings.

A program started with ``NOWHERE`` on its path has no ``fcntl``, no ``resource``, no ``fork`` and
nothing else that Windows lacks; neither has any program that it starts.  What this cannot show is
the file system of Windows: the recipe for it is tried by nobody yet.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "recordings_demo"

#: Loaded by the interpreter before anything else.
NOWHERE = """
import os, sys
for name in ("fcntl", "resource", "termios", "tty", "pty", "pwd", "grp", "syslog"):
    sys.modules[name] = None
def none(*_, **__):
    raise OSError("this computer has no fork")
os.fork = os.forkpty = none
for name in ("nice", "killpg", "sched_getaffinity", "getuid", "geteuid", "setsid", "fchmod"):
    if hasattr(os, name):
        delattr(os, name)
"""


@pytest.fixture
def nowhere(tmp_path):
    """The environment of such a computer, and its folder for work."""
    block = tmp_path / "block"
    block.mkdir()
    (block / "sitecustomize.py").write_text(NOWHERE, encoding="utf-8")
    work = tmp_path / "work"
    work.mkdir()
    env = {k: v for k, v in os.environ.items() if not k.startswith("CHATTER_")}
    env |= {"PYTHONPATH": f"{block}{os.pathsep}{ROOT}", "CHATTER_BOOK": str(work / "book.db")}
    return env, work


def _chatter(nowhere, *words: object, code: int = 0, **more: str) -> str:
    env, work = nowhere
    done = subprocess.run(
        [sys.executable, "-m", "chatter", *map(str, words)],
        capture_output=True,
        env={**env, **more},
        cwd=work,
        check=False,
        timeout=240,
    )
    told = done.stdout.decode("utf-8", "replace") + done.stderr.decode("utf-8", "replace")
    assert done.returncode == code, told
    assert "Traceback" not in told
    return told


def test_the_block_holds(nowhere):
    env, work = nowhere
    code = "import os\ntry:\n    import fcntl\nexcept ImportError:\n    os.fork()"
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, cwd=work)
    assert done.returncode and b"has no fork" in done.stderr


def test_listen_and_log(nowhere):
    shutil.copy(DEMO / "06-side-mill.3gp", nowhere[1] / "cut.3gp")
    told = _chatter(nowhere, "listen", "cut.3gp", "--job", DEMO / "06-side-mill.toml", "--log")
    assert "Report:" in told
    assert "cut.3gp" in _chatter(nowhere, "log", "show")
    _chatter(nowhere, "log", "check")


def test_batch(nowhere):
    folder = nowhere[1] / "in"
    folder.mkdir()
    for name in ("01-idle.wav", "06-side-mill.3gp"):
        shutil.copy(DEMO / name, folder)
    card = DEMO / "06-side-mill.toml"
    assert "2 of 2 heard" in _chatter(nowhere, "batch", "in", "--job", card, "--cores", "2")
    again = _chatter(nowhere, "batch", "in", "--job", card, "--cores", "1")
    assert "2 of 2" in again


def test_runin(nowhere):
    folder = nowhere[1] / "mill"
    folder.mkdir()
    shutil.copy(DEMO / "01-idle.wav", folder)
    card = 'name = "mill"\nspeeds = [42, 57, 78]\nmains = "50 Hz"\n'
    (folder / "machine.toml").write_text(card, encoding="utf-8")
    rows = [f"2026-03-02,idle,01-idle.wav,{speed}\n" for speed in (42, 57, 78)]
    (folder / "runin.csv").write_text("date,kind,file,speed\n" + "".join(rows), encoding="utf-8")
    assert "57" in _chatter(nowhere, "runin", "plan", "mill")
    _chatter(nowhere, "runin", "survey", "mill")
    _chatter(nowhere, "runin", "report", "mill")


@contextlib.contextmanager
def _page(nowhere):
    env, work = nowhere
    process = subprocess.Popen(
        [sys.executable, "-m", "chatter", "page", "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=env,
        cwd=work,
    )
    told = ""
    try:
        while "Ctrl-C" not in told:
            line = process.stdout.readline()
            assert line, told
            told += line
        yield told, re.search(r"http://127\.0\.0\.1:\d+", told)[0]
    finally:
        process.kill()
        process.communicate()  # waits, and closes the pipe


def test_the_page(nowhere):
    with contextlib.ExitStack() as opened, _page(nowhere) as (told, base):
        assert told.count("cannot limit the memory") == 1
        client = opened.enter_context(
            httpx.Client(verify=False, base_url=base, headers={"origin": base}, timeout=60)
        )
        token = re.search(r'name="csrf" value="(\w+)"', client.get("/").text)[1]
        where = client.post("/example", data={"csrf": token}).headers["location"]
        until = time.monotonic() + 120
        while (state := client.get(f"{where}/state").json())["state"] not in ("done", "failed"):
            assert time.monotonic() < until, state
            time.sleep(0.2)
        assert state["state"] == "done", client.get(where).text
        assert "Chatter" in re.search(r"<h1[^>]*>([^<]+)", client.get(where).text)[1]
        other = _chatter(nowhere, "page", "--port", "0", code=2)
        assert "Another page already uses" in other


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437"])
def test_a_terminal_that_cannot_show_every_sign(nowhere, encoding):
    shutil.copy(DEMO / "06-side-mill.3gp", nowhere[1] / "Schnitt-½-größer.3gp")
    name = "Schnitt-½-größer.3gp"
    words = ("listen", name, "--rpm", "57", "--teeth", "18", "--no-report")
    assert "18" in _chatter(nowhere, *words, PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    told = _chatter(
        nowhere, "listen", "größer-½.wav", "--rpm", "57", "--teeth", "1", code=2,
        PYTHONIOENCODING=encoding, PYTHONUTF8="0",
    )  # fmt: skip
    assert "There is no" in told or "cannot be" in told


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("CON.m4a", "CON-"),
        ("nul.wav", "nul-"),
        ("lpt1.tar.wav", "lpt1.tar-"),
        ("console.wav", "console"),
        ("a:b*c?.wav", "a-b-c"),
        ("x" * 300 + ".wav", "x" * 80),
    ],
)
def test_names_that_no_file_on_windows_can_have(name, stem):
    from chatter.report.files import safe_stem

    assert safe_stem(name) == stem


def test_a_file_that_a_sync_program_holds_for_a_moment(tmp_path, monkeypatch):
    from chatter.report import files

    real, tries = os.replace, []

    def held(*paths):
        tries.append(paths)
        if len(tries) < 3:
            raise PermissionError(13, "Permission denied")
        return real(*paths)

    monkeypatch.setattr(files.os, "replace", held)
    assert files.write_text(tmp_path / "a.html", "x").read_text(encoding="utf-8") == "x"
    assert len(tries) == 3 and len(list(tmp_path.iterdir())) == 1


def test_a_disk_without_links_still_compares(tmp_path, monkeypatch):
    from chatter.page import works

    def none(*_):
        raise OSError("no links here")

    monkeypatch.setattr(Path, "symlink_to", none)
    monkeypatch.setattr(Path, "hardlink_to", none)
    (tmp_path / "a").write_bytes(b"sound")
    works._put_there(tmp_path / "a", tmp_path / "b")
    assert (tmp_path / "b").read_bytes() == b"sound"


def test_the_lock_is_of_one_program_and_ends_with_it(tmp_path):
    from chatter.locks import Held, Lock

    held = Lock(tmp_path / "lock")
    code = (
        "import sys\nfrom pathlib import Path\nfrom chatter.locks import Held, Lock\n"
        "try:\n    Lock(Path(sys.argv[1]))\nexcept Held:\n    sys.exit(7)"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "lock")]
    assert subprocess.run(command, cwd=ROOT, check=False).returncode == 7
    with pytest.raises(Held):
        Lock(tmp_path / "lock")
    held.release()
    assert subprocess.run(command, cwd=ROOT, check=False).returncode == 0


def test_nothing_opens_a_text_file_in_the_encoding_of_the_day():
    """Windows would read and write the product's own files in another one."""
    wrong = []
    for path in sorted((ROOT / "chatter").rglob("*.py")):
        if "lab" in path.parts:
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            opened = re.search(
                r"\.(read_text|write_text)\(\)|\bopen\([^)]*[\"'][wra]t?[\"']\)", line
            )
            if opened and "encoding" not in line:
                wrong.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()}")
    assert not wrong, "\n".join(wrong)
