"""The command line: options reach the job, output goes to the right end, codes are kept."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
import wave
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import chatter
import chatter.listening.front
from chatter.cli import main
from chatter.errors import RecordingError
from chatter.listening.front import Heard
from chatter.plain import to_plain

_MADE_PATH = Path(__file__).parent / "report" / "made.py"


@pytest.fixture(scope="module")
def made():
    spec = importlib.util.spec_from_file_location("cli_made", _MADE_PATH)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@contextmanager
def not_taken_in(path, *, progress=None):  # noqa: ARG001
    """Stand in for the taking in: nothing is decoded, and the path is listened to."""
    yield path


@pytest.fixture
def heard(monkeypatch, made, tmp_path):
    """Stand in for the front door; keeps what it was called with."""
    calls = SimpleNamespace(path=None, job=None, units=None)
    found = made.of_no_units(made.findings())

    def listen_to(path, job, *, units="metric", numbers=None, progress=None):  # noqa: ARG001
        calls.path, calls.job, calls.units = path, job, units
        return Heard(found, made.exhibits(found, columns=40, rows=20))

    monkeypatch.setattr(chatter.listening.front, "taken_in", not_taken_in)
    monkeypatch.setattr(chatter.listening.front, "listen_to", listen_to)
    monkeypatch.chdir(tmp_path)
    return calls


COMMANDS = ("listen", "demo", "plan", "tap")
BASE = ["listen", "cut.wav", "--rpm", "57", "--teeth", "48", "--no-report", "--quiet"]


def _tone(path: Path, seconds: float = 6.0) -> Path:
    """A wav with 50 strokes of noise per second between two seconds of quiet."""
    rng = np.random.default_rng(5)
    rate = 16000
    time = np.arange(int(seconds * rate)) / rate
    stroke = np.exp(-((time * 50) % 1.0) * 6)
    loud = np.where((time > 1) & (time < seconds - 1), 0.3, 0.002)
    signal = rng.normal(0, 1, time.size) * stroke * loud
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate)
        out.writeframes((np.clip(signal, -1, 1) * 20000).astype("<i2").tobytes())
    return path


@pytest.mark.parametrize(
    ("option", "value", "part", "key", "reached"),
    [
        ("--rpm", "80", "cut", "speed_rev_min", 80.0),
        ("--teeth", "12", "cutter", "teeth", 12),
        ("--form", "staggered", "cutter", "form", "staggered_tooth"),
        ("--diameter", "6 in", "cutter", "diameter_m", 0.1524),
        ("--width", "1/8 in", "cutter", "width_m", 0.003175),
        ("--material", "brass", "cut", "material", "brass"),
        ("--depth", "3 mm", "cut", "depth_m", 0.003),
        ("--feed", "60 mm/min", "cut", "feed_m_s", 0.001),
        ("--direction", "up", "cut", "direction", "conventional"),
        ("--direction", "climb", "cut", "direction", "climb"),
        ("--speeds", "80, 40, 57", "machine", "speeds_rev_min", [40.0, 57.0, 80.0]),
        ("--mains", "60 Hz", "machine", "mains_hz", 60.0),
        ("--idle", "idle.wav", "take", "idle_path", "idle.wav"),
        ("--span", "12-48", "take", "span_s", [12.0, 48.0]),
    ],
)
def test_each_option_changes_what_reaches_the_job(heard, option, value, part, key, reached):
    assert main(BASE) == 0
    before = to_plain(heard.job)
    assert before[part][key] != reached
    assert main([*BASE, option, value]) == 0
    after = to_plain(heard.job)
    assert after[part][key] == (pytest.approx(reached) if isinstance(reached, float) else reached)
    after[part][key] = before[part][key]
    assert after == before  # and nothing else


def test_cards_are_read_and_options_win_over_them(heard, tmp_path):
    (tmp_path / "job.toml").write_text(
        '[cutter]\nteeth = 36\ndiameter = "5 in"\n[cut]\nspeed = 60\n[machine]\nmains = "50 Hz"\n'
    )
    (tmp_path / "mill.toml").write_text('name = "old mill"\nspeeds = [40, 60]\n')
    assert main(["listen", "c.wav", "--job", "job.toml", "--no-report", "-q"]) == 0
    assert (heard.job.cutter.teeth, heard.job.machine.mains_hz) == (36, 50.0)
    arguments = ["--teeth", "12", "--machine", "mill.toml"]
    assert main(["listen", "c.wav", "--job", "job.toml", *arguments, "--no-report", "-q"]) == 0
    assert (heard.job.cutter.teeth, heard.job.cut.speed_rev_min) == (12, 60.0)
    assert heard.job.machine.name == "old mill" and heard.job.machine.mains_hz is None


@pytest.mark.parametrize(
    ("arguments", "units"),
    [
        ([], "metric"),
        (["--depth", "3 mm"], "metric"),
        (["--depth", "0.1 in"], "inch"),
        (["--feed", "250 mm/min"], "metric"),
        (["--feed", "10 in/min"], "inch"),
        (["--diameter", '6"', "--feed", "10 ipm"], "inch"),
        (["--diameter", "1/16 in"], "inch"),
        (["--depth", "0.1 in", "--units", "metric"], "metric"),
        (["--depth", "3 mm", "--units", "inch"], "inch"),
    ],
)
def test_units_follow_what_was_written_unless_stated(heard, arguments, units):
    assert main([*BASE, *arguments]) == 0
    assert heard.units == units


def test_units_reach_the_report(heard, tmp_path):
    _tone(tmp_path / "cut.wav", 1.0)
    shown = {}
    for units in ("inch", "metric"):
        arguments = ["--report", f"{units}.html", "-q", "--units", units]
        assert main(["listen", "cut.wav", "--rpm", "57", "--teeth", "48", *arguments]) == 0
        shown[units] = (tmp_path / f"{units}.html").read_text(encoding="utf-8")
    assert ">6 in<" in shown["inch"] and ">152.4 mm<" in shown["metric"]
    assert ">6 in<" not in shown["metric"]
    assert heard.path == Path("cut.wav")


@pytest.mark.usefixtures("heard")
def test_json_to_standard_output_is_all_there_is(capsys, tmp_path):
    assert main([*BASE[:-1], "--json", "-"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["verdict"] == "chatter"
    assert "CHATTER" in err  # the summary moves to standard error
    assert main([*BASE, "--json", "f.json"]) == 0
    out, err = capsys.readouterr()
    assert (out, err) == ("", "")
    assert json.loads((tmp_path / "f.json").read_text(encoding="utf-8"))["schema_version"] == 1


@pytest.mark.usefixtures("heard")
def test_summary_and_report_are_told(capsys, tmp_path):
    _tone(tmp_path / "cut.wav", 1.0)
    assert main(["listen", "cut.wav", "--rpm", "57", "--teeth", "48"]) == 0
    out = capsys.readouterr().out
    assert "CHATTER" in out and out.rstrip().endswith("Report: reports/slot-3.html")
    assert (tmp_path / "reports" / "slot-3.html").exists()
    assert main(BASE[:-2]) == 0
    assert "Report:" in capsys.readouterr().out
    assert main(BASE[:-1]) == 0
    assert "Report:" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["listen", "c.wav", "--teeth", "48"], "spindle speed is missing"),
        (["listen", "c.wav"], "spindle speed is missing"),
        (["listen", "c.wav", "--speeds", "57, fast"], "fast"),
        (["listen", "c.wav", "--speeds", "57, 80, 57"], "same value twice"),
        (["listen", "c.wav", "--rpm", "57", "--teeth", "10000"], "teeth"),
        (["listen", "c.wav", "--rpm", "57", "--teeth", "0"], "teeth"),
        ([*BASE, "--depth", "3"], "no unit"),
        ([*BASE, "--form", "slitting_sow"], "did you mean"),
        ([*BASE, "--units", "cubits"], "system of units"),
        ([*BASE, "--report", "r.html"], "exclude each other"),
        ([*BASE, "--job", "none.toml"], "none.toml"),
        ([*BASE, "--json", "."], "is a folder"),
        ([*BASE[:-2], "--report", "/dev/null/r.html"], "not a folder"),
        ([*BASE, "--json", "/dev/null/x.json"], "'/dev/null' is a file, not a folder"),
        ([*BASE, "--loud"], "--loud"),
        ([*BASE, "--hours", "few"], "must be a number, such as 12.5. 'chatter listen --help'"),
        ([*BASE, "again"], "Unexpected words: again. 'chatter listen --help'"),
        (["listn"], "Did you mean 'listen'? 'chatter --help'"),
        (["page", "--port", "99999"], "must be less than or equal to 65535. 'chatter page --help'"),
        (["demo", "--reports", "/dev/null/r"], "'/dev/null' is not a folder"),
        (["listen"], "FILE"),
        (["sing"], "sing"),
    ],
)
def test_bad_input_is_one_line_on_standard_error_and_code_2(heard, capsys, arguments, said):
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err and err.count("\n") == 1 and "Traceback" not in err
    assert heard.job is None  # nothing was listened to


@pytest.mark.usefixtures("heard")
def test_the_recording_is_never_written_over(capsys, tmp_path):
    recording = _tone(tmp_path / "cut.wav", 0.5)
    before = recording.read_bytes()
    assert main([*BASE, "--json", "./cut.wav"]) == 2
    assert main([*BASE[:-2], "--report", "cut.wav"]) == 2
    assert recording.read_bytes() == before
    assert capsys.readouterr().err.count("\n") >= 2


@pytest.mark.parametrize(
    ("wrong", "code", "said"),
    [
        (RecordingError("cut.wav holds no sound: record again."), 2, "holds no sound"),
        (ZeroDivisionError("division by zero"), 1, "CHATTER_DEBUG=1"),
        (KeyboardInterrupt(), 130, "Stopped"),
    ],
)
def test_what_goes_wrong_is_said_in_one_line(monkeypatch, capsys, wrong, code, said):
    def fail(*_, **__):
        raise wrong

    monkeypatch.setattr(chatter.listening.front, "taken_in", fail)
    monkeypatch.delenv("CHATTER_DEBUG", raising=False)
    assert main(BASE) == code
    out, err = capsys.readouterr()
    assert out == "" and said in err and err.count("\n") == 1


def test_debug_shows_the_traceback(monkeypatch):
    def fail(*_, **__):
        raise ZeroDivisionError

    monkeypatch.setattr(chatter.listening.front, "taken_in", fail)
    monkeypatch.setenv("CHATTER_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        main(BASE)


def test_a_real_file_goes_all_the_way(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    _tone(tmp_path / "50 strokes.wav", 10.0)
    arguments = ["--rpm", "300", "--teeth", "10", "--json", "-"]
    assert main(["listen", "50 strokes.wav", *arguments]) == 0
    plain = json.loads(capsys.readouterr().out)
    assert plain["source"]["duration_s"] == pytest.approx(10.0, abs=0.01)
    page = (tmp_path / "reports" / "50-strokes.html").read_text(encoding="utf-8")
    assert "data:audio/wav;base64," in page and "data:image/webp;base64," in page
    if plain["passes"]:
        assert plain["passes"][0]["tooth_passing_hz"] == pytest.approx(50, rel=0.02)


def test_demo_shows_truth_beside_verdict_and_writes_reports(made, monkeypatch, tmp_path, capsys):
    """Two takes in a folder of their own, the front door stood in for."""
    import chatter.demo

    takes = []
    for name in ("01-a", "02-b"):
        _tone(tmp_path / f"{name}.wav", 0.5)
        card = tmp_path / f"{name}.toml"
        card.write_text(f"[cutter]\nteeth = {len(takes) + 4}\n[cut]\nspeed = 60\n")
        one = SimpleNamespace(verdict="chatter", also=(), start_s=4.0, end_s=20.0)
        truth = SimpleNamespace(verdict="chatter", passes=(one,))
        takes.append(chatter.demo.DemoTake(tmp_path / f"{name}.wav", card, truth))
    heard_teeth = []

    def listen_to(path, job, *, units="metric", numbers=None, progress=None):  # noqa: ARG001
        heard_teeth.append(job.cutter.teeth)
        found = made.findings(name=path.name)
        return Heard(found, made.exhibits(found, columns=40, rows=20))

    monkeypatch.setattr(chatter.demo, "demo_takes", lambda: tuple(takes))
    monkeypatch.setattr(chatter.listening.front, "taken_in", not_taken_in)
    monkeypatch.setattr(chatter.listening.front, "listen_to", listen_to)
    assert main(["demo", "--reports", str(tmp_path / "out"), "--units", "inch"]) == 0
    out = capsys.readouterr().out
    assert "Simulated recordings" in out and "agree: 2 yes" in out
    assert heard_teeth == [4, 5]
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["01-a.html", "02-b.html"]
    assert main(["demo", "--no-report", "--reports", str(tmp_path / "none")]) == 0
    assert not (tmp_path / "none").exists()


def test_not_a_recording_is_code_2(tmp_path, capsys):
    fake = tmp_path / "cut.wav"
    fake.write_text("this is a shopping list\n" * 50)
    assert main(["listen", str(fake), "--rpm", "57", "--teeth", "48"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and "cut.wav" in err
    assert main(["listen", "none.wav", "--rpm", "57"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and "none.wav" in err


@pytest.mark.parametrize("flag", ["--help", "--version"])
def test_help_and_version_load_nothing_heavy(flag):
    code = (
        "import sys\nfrom chatter.cli import main\n"
        f"code = main([{flag!r}])\n"
        "heavy = {'numpy', 'scipy', 'matplotlib', 'jinja2', 'PIL', 'av', 'soundfile', 'librosa'}\n"
        "print('loaded', sorted(heavy & set(sys.modules)))\nsys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=30, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "loaded []" in done.stdout
    assert (chatter.__version__ in done.stdout) == (flag == "--version")


def test_python_dash_m_is_the_same_program():
    done = subprocess.run(
        [sys.executable, "-m", "chatter"], capture_output=True, text=True, timeout=30, check=False
    )
    assert done.returncode == 0 and all(c in done.stdout for c in COMMANDS)
    for command in COMMANDS:
        assert main([command, "--help"]) == 0


@pytest.mark.usefixtures("heard")
def test_a_report_that_fails_costs_neither_verdict_nor_findings(monkeypatch, capsys):
    """The answer is out, the JSON written; then one line says what is missing."""
    from chatter.errors import OutputError

    def full(*_args, **_more):
        raise OutputError("'r.html' cannot be written (No space left on device).")

    monkeypatch.setattr("chatter.report.files.write_report", full)
    given = ["listen", "cut.wav", "--rpm", "57", "--teeth", "48", "--json", "found.json"]
    assert main(given) == 2
    said = capsys.readouterr()
    assert said.err == "'r.html' cannot be written (No space left on device).\n"
    assert "Chatter" in said.out and "Report:" not in said.out
    assert json.loads(Path("found.json").read_text())["verdict"] == "chatter"

    def faulty(*_args, **_more):
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("chatter.report.files.write_report", faulty)
    assert main(given) == 1
    said = capsys.readouterr()
    assert "Something went wrong" in said.err and "Chatter" in said.out


def test_sound_at_a_rate_no_coder_knows_gets_its_answer(tmp_path, monkeypatch, capsys):
    import soundfile

    monkeypatch.chdir(tmp_path)
    with wave.open(str(_tone(tmp_path / "cut.wav"))) as source:
        sound = np.frombuffer(source.readframes(source.getnframes()), "<i2") / 32768
    soundfile.write("cut.aiff", sound, 22254)
    assert main(["listen", "cut.aiff", "--rpm", "250", "--teeth", "12"]) == 0
    said = capsys.readouterr()
    assert said.err == "" and "Report: reports/cut.html" in said.out
    assert "coded again as mono AAC, 24000 Hz" in Path("reports/cut.html").read_text("utf-8")


@pytest.mark.parametrize("command", [["plan", "--teeth", "48"], ["help"], ["help", "listen"]])
def test_a_reader_that_leaves_is_no_fault(command):
    """As in ``chatter help | head -1``: ended quietly, with 0."""
    run = [sys.executable, "-m", "chatter", *command]
    process = subprocess.Popen(run, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    process.stdout.close()  # nobody reads: the first flush meets a broken pipe
    with process.stderr:
        said = process.stderr.read().decode()
    assert (process.wait(60), said) == (0, "")


@pytest.mark.parametrize("given", [["no-such/", "other/"], ["a.m4a", "vs", "b.m4a"], ["x", "y"]])
def test_compare_names_what_is_missing(given, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["compare", *given, "--no-report"]) == 2
    kind = "file" if given[0].endswith(".m4a") else "folder"
    assert capsys.readouterr().err == f"There is no {kind} '{given[0]}': check the name.\n"


def test_a_speed_out_of_all_reason_is_one_short_sentence(capsys):
    assert main(["listen", "x.wav", "--rpm", "1e300", "--teeth", "4"]) == 2
    said = capsys.readouterr().err
    assert "1e+300 is not between 1 rev/min and 60000 rev/min" in said and len(said) < 140


def test_the_width_of_a_sawn_slot_is_the_width_of_the_saw(capsys):
    stated = ["plan", "--teeth", "48", "--form", "saw", "--diameter", "6 in", "--depth", "10 mm"]
    told = []
    for width in (["--width", "2.5 mm"], ["--cutter-width", "2.5 mm"], []):
        assert main([*stated, "--material", "cast iron", *width]) == 0
        told.append(capsys.readouterr().out)
    assert "saw width" not in told[0] + told[1] and "saw width" in told[2]
    assert told[0].partition("Not stated")[0] == told[1].partition("Not stated")[0]
