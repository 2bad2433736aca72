"""What comes in: limits while it streams, names that are only names, nothing left behind."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from dataclasses import replace

import pytest

from chatter.page.limits import PageLimits
from chatter.page.spool import shown_name

SMALL = replace(PageLimits(), workers=1, nice=0, file_bytes=200_000, files_at_once=3, waiting=2)
#: A worker that waits until it is stopped.
SLEEPS = "import sys, time; sys.stdin.read(); time.sleep(60)"


@pytest.fixture(scope="module")
def calm(running, tmp_path_factory):
    """A page for all tests that change nothing another would see."""
    made = running(tmp_path_factory.mktemp("outer") / "page")
    (made.settings.data / "report.html").write_text("not for you")
    made.send(("a.m4a", b"x" * 100))
    yield made
    made.stop()


def _files(page) -> list:
    return [one for one in page.settings.data.rglob("*") if one.name in ("recording",)]


def _left(page) -> list:
    return list(page.desk.spool.uploads.iterdir())


def test_a_file_is_kept_as_it_came(run):
    page = run()
    data = bytes(range(256)) * 300
    answer = page.send(("slot 3.m4a", data))
    assert answer.status_code == 303
    (one,) = page.desk.spool.all()
    assert answer.headers["location"] == f"/recordings/{one.id}"
    assert (page.desk.spool.folder(one) / "recording").read_bytes() == data
    assert one.name == "slot 3.m4a" and not _left(page)


def test_a_file_that_is_too_large_is_not_kept_and_the_others_are(run):
    page = run(limits=SMALL)
    answer = page.send(("big.m4a", b"x" * 300_000), ("small.m4a", b"y" * 1000))
    assert answer.status_code == 413
    assert "big.m4a: It is larger than" in answer.text and "The other one is kept" in answer.text
    (one,) = page.desk.spool.all()
    assert one.name == "small.m4a" and not _left(page)


def _bytes_left(page):
    """Bytes on the disk; what the page throws away between looking and counting is gone."""
    total = 0
    for one in _left(page):
        with contextlib.suppress(FileNotFoundError):
            total += one.stat().st_size
    return total


def test_the_limit_holds_while_it_streams(run):
    """No more than the limit is ever on the disk, although no length was stated."""
    page = run(limits=SMALL)
    seen = []
    token = page.token().encode()

    def chunks():
        yield (
            b'--edge\r\nContent-Disposition: form-data; name="csrf"\r\n\r\n' + token + b"\r\n"
            b'--edge\r\nContent-Disposition: form-data; name="file"; filename="a"\r\n\r\n'
        )
        for n in range(50):
            yield b"x" * 10_000
            if n == 10:
                _until(lambda: _bytes_left(page) > 50_000)
            seen.append(_bytes_left(page))
        yield b"\r\n--edge--\r\n"

    kind = {"content-type": "multipart/form-data; boundary=edge"}
    answer = page.client.post("/recordings", content=chunks(), headers=kind)
    assert answer.status_code == 413 and "larger than" in answer.text
    assert 50_000 < max(seen) <= 200_000 and not _left(page) and not page.desk.spool.all()


def test_more_than_all_files_together_may_have_is_refused(run):
    page = run(limits=SMALL)
    most = SMALL.files_at_once * SMALL.file_bytes + SMALL.form_bytes
    with socket.create_connection(("127.0.0.1", page.port), timeout=5) as raw:
        raw.sendall(
            f"POST /recordings HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n"
            f"Content-Length: {most + 1}\r\n\r\n".encode()
        )
        assert raw.recv(100).split()[1] == b"413"


def test_more_files_than_allowed(run):
    page = run(limits=SMALL)
    answer = page.send(*[(f"{n}.m4a", b"x" * 10) for n in range(5)], accept="application/json")
    assert len(answer.json()["kept"]) == 3 and len(answer.json()["refused"]) == 2


def test_an_empty_file_and_no_file(run):
    page = run()
    answer = page.send(("a.m4a", b""))
    assert answer.status_code == 400 and "a.m4a: It is empty" in answer.text
    assert "Too large" not in answer.text
    assert page.send(("", b"")).headers["location"] == "/?wrong=none"
    assert "choose a file" in page.client.get("/?wrong=none").text
    assert not page.desk.spool.all() and not _left(page)


@pytest.mark.parametrize(
    "name",
    [
        "../../../etc/passwd",
        "..\\..\\evil.m4a",
        "/tmp/evil.m4a",
        "C:\\evil.m4a",
        "a/../../b.m4a",
        "nul\x00.m4a",
        "line\nbreak.m4a",
        "<script>alert(1)</script>.m4a",
        "'\"; DROP TABLE recordings; --.m4a",
        "x" * 5000,
        "\u202egnp.m4a",
    ],
)
def test_a_name_is_never_a_path(calm, name):
    page, outer = calm, calm.settings.data.parent
    before = set(outer.iterdir())
    assert page.send((name, b"x" * 100)).status_code in (303, 400)
    for one in page.desk.spool.all():
        assert one.name == shown_name(one.name) and "/" not in one.name and "\\" not in one.name
        assert len(one.name) <= 120 and one.name.isprintable()
        folder = page.desk.spool.folder(one)
        assert folder.parent == page.settings.data / "recordings"
        assert {each.name for each in folder.iterdir()} >= {"recording", "meta.json"}
        shown = page.client.get(f"/recordings/{one.id}")
        assert shown.status_code == 200 and "<script>alert" not in shown.text
    assert set(outer.iterdir()) == before and not _left(page)


@pytest.mark.parametrize(
    "id_",
    ["..", "%2e%2e", "..%2f..%2fsecret", "0" * 20, "A" * 20, "0" * 19 + "/", "0" * 20 + "%00", "."],
)
@pytest.mark.parametrize("rest", ["", "/state", "/tile", "/sound", "/report", "/findings"])
def test_an_id_is_never_a_path(calm, id_, rest):
    answer = calm.client.get(f"/recordings/{id_}{rest}")
    assert answer.status_code in (404, 405) or answer.url.path in ("/", "/recordings", "/secret")
    assert "not for you" not in answer.text and "Traceback" not in answer.text


@pytest.mark.parametrize("take", ["0", "2", "-1", "../1", "1/../../..", "٣", "1e9", "9" * 400, ""])
def test_a_take_is_never_a_path(calm, take):
    one = calm.desk.spool.all()[-1]
    for rest in ("", "/state", "/report", "/share", "/findings"):
        answer = calm.client.get(f"/recordings/{one.id}{rest}", params={"take": take})
        assert answer.status_code == 404


@pytest.mark.parametrize(
    "name", ["..%2fapp.py", "%2fetc%2fpasswd", "page.css%00", "secret", "PAGE.CSS"]
)
def test_static_files_are_only_those(run, name):
    assert run().client.get(f"/static/{name}").status_code == 404


def test_a_full_line_answers_in_plain_words_and_loses_nothing(run):
    page = run(limits=SMALL, worker=SLEEPS)
    for n in range(3):  # one is being done, two wait
        assert page.send((f"{n}.m4a", b"x" * 50)).status_code == 303
        if n == 0:
            _until(lambda: page.desk.spool.all()[0].last.state == "running")
    answer = page.send(("late.m4a", b"x" * 150_000))
    assert answer.status_code == 503
    assert "2 recordings already wait" in answer.text and "try again in" in answer.text
    assert int(answer.headers["retry-after"]) > 0
    assert page.send(("late.m4a", b"x"), accept="application/json").json()["refused"]
    assert len(page.desk.spool.all()) == 3 and len(_files(page)) == 3 and not _left(page)
    one = page.desk.spool.all()[0]
    assert page.post(f"/recordings/{one.id}/remove").status_code == 303  # one place free again
    assert page.send(("late.m4a", b"x" * 50)).status_code == 303


def test_places_are_held_while_files_come_in(run):
    """Two uploads that have only begun fill a line of two."""
    page = run(limits=SMALL, worker=SLEEPS)
    held = [_begun(page) for _ in range(2)]
    _until(lambda: len(_left(page)) == 2)
    assert page.send(("late.m4a", b"x")).status_code == 503
    for raw in held:
        raw.close()
    _until(lambda: not _left(page))
    assert page.send(("late.m4a", b"x")).status_code == 303


def test_an_upload_that_breaks_off_leaves_nothing(run):
    page = run(limits=SMALL)
    raw = _begun(page)
    _until(lambda: len(_left(page)) == 1)
    raw.close()
    _until(lambda: not _left(page))
    assert not page.desk.spool.all()


def test_an_upload_that_falls_silent_is_ended(run):
    page = run(limits=replace(SMALL, silence_s=0.3))
    raw = _begun(page)
    assert b" 408 " in raw.recv(200)
    raw.close()
    assert not _left(page)


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("text/plain", b"hello"),
        ("multipart/form-data", b"--x\r\n\r\n--x--"),
        ("multipart/form-data; boundary=x", b"no boundary at all"),
        ("multipart/form-data; boundary=x", b"--x\r\nA: b\r\n\r\nnever ends"),
        ("multipart/form-data; boundary=x", b"--x\r\n" + b"A: b\r\n" * 50 + b"\r\n\r\n--x--"),
        ("multipart/form-data; boundary=" + "x" * 300, b"--x--"),
    ],
)
def test_a_damaged_form_is_refused_in_plain_words(calm, kind, body):
    answer = calm.client.post("/recordings", content=body, headers={"content-type": kind})
    assert answer.status_code in (400, 403)
    assert "Traceback" not in answer.text and answer.text.count("<p>") >= 1
    assert not _left(calm)


def test_a_full_disk_is_said(run, monkeypatch):
    page = run()

    def full():
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(page.desk.spool, "new_upload", full)
    answer = page.send(("a.m4a", b"x" * 100))
    assert answer.status_code == 507 and "no room" in answer.text
    assert not page.desk.spool.all()


def test_a_page_that_holds_too_much_says_so(run):
    page = run(limits=replace(SMALL, spool_bytes=10))
    assert page.send(("a.m4a", b"x" * 100)).status_code == 303
    answer = page.send(("b.m4a", b"x" * 100))
    assert answer.status_code == 507 and "remove old recordings" in answer.text


def test_several_people_at_once_all_get_their_answer(run):
    page = run()
    token = page.token()
    codes = []

    def one(n: int) -> None:
        answer = page.client.post(
            "/recordings",
            data={"csrf": token, "cut.speed": "57", "cutter.teeth": "48"},
            files={"file": (f"{n}.m4a", bytes([n]) * 50_000)},
        )
        codes.append(answer.status_code)

    threads = [threading.Thread(target=one, args=(n,)) for n in range(8)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert codes == [303] * 8
    assert sorted(one.name for one in page.desk.spool.all()) == [f"{n}.m4a" for n in range(8)]


def _begun(page) -> socket.socket:
    """A connection on which an upload has begun and does not go on."""
    cookie = f"chatter_form={'a' * 32}"
    token = page.desk.tokens.token("a" * 32)
    raw = socket.create_connection(("127.0.0.1", page.port), timeout=10)
    body = (
        f'--x\r\nContent-Disposition: form-data; name="csrf"\r\n\r\n{token}\r\n'
        '--x\r\nContent-Disposition: form-data; name="file"; filename="a"\r\n\r\nsome'
    )
    raw.sendall(
        f"POST /recordings HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\nCookie: {cookie}\r\n"
        "Content-Type: multipart/form-data; boundary=x\r\nContent-Length: 100000\r\n\r\n"
        f"{body}".encode()
    )
    return raw


def _until(holds, seconds: float = 10.0) -> None:
    until = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.02)
