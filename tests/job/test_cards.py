"""Job and machine cards on disk."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chatter.errors import CardError, JobError, OutputError
from chatter.job.build import build_job
from chatter.job.cards import job_from_cards, load_job, load_machine, save_job, save_machine
from chatter.job.cut import Cut, Job, Take
from chatter.job.cutter import Cutter
from chatter.job.machine import Bearing, Gear, Machine
from chatter.job.toml_text import toml_text

JOB = """
machine = "mill.toml"
[cutter]
teeth = 48
form = "slitting_saw"
diameter = "6 in"
[cut]
speed = 57
material = "cast iron"
feed = "1 in/min"
[take]
idle = "idle.m4a"
span = "12-48"
"""
MACHINE = """
name = "Old Bess"
speeds = [38, 57, 85, 120]
feeds = ["20 mm/min", "1 in/min"]
mains = "50 Hz"
motor_power = "2 hp"
motor_poles = 4
arbors = ["1 in", "27 mm"]
backlash = true
[[gears]]
name = "bull gear"
teeth = 60
[[bearings]]
name = "front"
balls = 9
ball_diameter = "7.94 mm"
pitch_diameter = "39.04 mm"
contact_angle = "0 deg"
"""


@pytest.fixture
def cards(tmp_path: Path) -> Path:
    (tmp_path / "slot.toml").write_text(JOB)
    (tmp_path / "mill.toml").write_text(MACHINE)
    return tmp_path


def test_a_job_card_names_its_machine_card(cards: Path) -> None:
    job = load_job(cards / "slot.toml")
    assert job.cutter.teeth == 48
    assert job.machine == load_machine(cards / "mill.toml")
    assert job.machine.speeds_rev_min == (38.0, 57.0, 85.0, 120.0)
    assert job.machine.gears == (Gear("bull gear", 60),)
    assert job.machine.bearings == (Bearing("front", 9, 0.00794, 0.03904),)
    assert job.machine.feeds_m_s == pytest.approx((0.02 / 60, 0.0254 / 60))
    assert job.take.idle_path == str(cards / "idle.m4a")


def test_a_machine_may_stand_in_the_job_card(tmp_path: Path) -> None:
    inline = JOB.replace('machine = "mill.toml"', "") + '[machine]\nspeeds = "38 57"\n'
    (tmp_path / "a.toml").write_text(inline)
    assert load_job(tmp_path / "a.toml").machine.speeds_rev_min == (38.0, 57.0)


def test_options_win_and_can_complete_a_card(cards: Path) -> None:
    (cards / "half.toml").write_text("[cutter]\nteeth = 12\n[cut]\nchip_load = '0.1 mm/tooth'\n")
    with pytest.raises(CardError, match=r"half\.toml.*speed is missing"):
        load_job(cards / "half.toml")
    job = job_from_cards(cards / "half.toml", {"cut.speed": "100"}, machine=cards / "mill.toml")
    assert job.cut.speed_rev_min == 100.0
    assert job.cut.feed_m_s == pytest.approx(0.12 / 60)
    assert job.machine.name == "Old Bess"
    assert job_from_cards(None, {"cut.speed": "100", "cutter.teeth": "3"}).cutter.teeth == 3


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("teeth = 48", "teeth = 0", r"slot.toml, \[cutter\] teeth: The number of teeth 0"),
        ("teeth = 48", "tooth = 48", r"\[cutter\] tooth: .*did you mean 'teeth'"),
        ('"6 in"', "150", r"\[cutter\] diameter: .*write for example"),
        ('"6 in"', '"6 lb"', "unknown unit 'lb'"),
        ("[take]", "[takes]", "'takes' is not a section of a job card: did you mean 'take'"),
        ("speed = 57", "speed = -57", "not above zero"),
        ("speed = 57", "", "spindle speed is missing"),
        ("[cut]", "[cut", r"not a card in TOML \(.*line 7, column \d+\)+: correct"),
        ('"cast iron"', '["cast iron"]', "work material"),
        ('feed = "1 in/min"', 'feed = "1 in/min"\nchip_load = "1 mm/tooth"', "both feed and"),
        ('"mill.toml"', '"gone.toml"', "no card"),
        ('machine = "mill.toml"', "cut = 5", "."),
    ],
)
def test_mistakes_name_file_section_and_key(cards: Path, old: str, new: str, says: str) -> None:
    assert old in JOB
    (cards / "slot.toml").write_text(JOB.replace(old, new))
    with pytest.raises(CardError, match=says) as caught:
        load_job(cards / "slot.toml")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("backlash = true", "backlash = 3", "neither yes nor no"),
        ("motor_poles = 4", "motor_poles = 5", "odd"),
        ("balls = 9", "balls = 16", "do not fit"),
        ("teeth = 60", "", r"gear has no 'teeth'"),
        ("teeth = 60", "teethh = 60", "did you mean 'teeth'"),
        ('mains = "50 Hz"', "mains = 50", "write for example '50 Hz'"),
        ("[38, 57, 85, 120]", "[]", "not a list"),
        ("[[gears]]", "[gears]", "not tables"),
    ],
)
def test_machine_card_mistakes(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert old in MACHINE
    (tmp_path / "mill.toml").write_text(MACHINE.replace(old, new))
    with pytest.raises(CardError, match=says) as caught:
        load_machine(tmp_path / "mill.toml")
    assert str(caught.value).startswith("mill.toml")


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"\x00", b"RIFF\x24", b"[" * 50000])
def test_other_files_are_refused_in_one_sentence(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.toml").write_bytes(content)
    with pytest.raises(CardError, match=r"^a\.toml is not a card"):
        load_job(tmp_path / "a.toml")
    with pytest.raises(CardError):
        load_job(tmp_path)


def test_keys_of_gears_may_be_written_freely(tmp_path: Path) -> None:
    free = MACHINE.replace("ball_diameter", '"Ball diameter"')
    (tmp_path / "mill.toml").write_text(free)
    assert load_machine(tmp_path / "mill.toml").bearings[0].ball_diameter_m == 0.00794


def test_machine_cards_round_trip(cards: Path) -> None:
    machine = load_machine(cards / "mill.toml")
    save_machine(machine, cards / "copy.toml")
    assert load_machine(cards / "copy.toml") == machine


def test_job_cards_round_trip_and_keep_inches(cards: Path) -> None:
    job = load_job(cards / "slot.toml")
    save_job(job, cards / "copy.toml")
    text = (cards / "copy.toml").read_text()
    assert load_job(cards / "copy.toml") == job
    assert 'diameter = "6 in"' in text
    assert 'idle = "idle.m4a"' in text  # still relative: the folder can be moved
    with pytest.raises(OutputError):
        save_job(job, cards / "no" / "folder.toml")


POSITIVE = st.floats(min_value=1e-3, max_value=0.4)


@given(
    teeth=st.integers(1, 1000),
    name=st.text(st.characters(min_codepoint=32, exclude_categories=["Cs", "Cc"]), max_size=20).map(
        str.strip
    ),
    diameter_m=st.one_of(st.none(), POSITIVE),
    speed=st.floats(min_value=1, max_value=60000),
    feed=st.one_of(st.none(), POSITIVE),
    speeds=st.sets(st.floats(min_value=1, max_value=60000), max_size=5),
    start=st.integers(0, 10**9),
    length=st.integers(1, 10**9),
)
def test_any_job_survives_its_card(
    tmp_path_factory: pytest.TempPathFactory,
    teeth: int,
    name: str,
    diameter_m: float | None,
    speed: float,
    feed: float | None,
    speeds: set[float],
    start: int,
    length: int,
) -> None:
    job = Job(
        Cutter(teeth, name=name, diameter_m=diameter_m),
        Cut(speed, feed_m_s=feed),
        Machine(speeds_rev_min=tuple(sorted(speeds))),
        Take(span_s=(start / 1e6, (start + length) / 1e6)),
    )
    path = tmp_path_factory.getbasetemp() / "any.toml"
    save_job(job, path)
    back = load_job(path)
    assert back.take.span_s == pytest.approx(job.take.span_s, abs=1e-6)
    assert (back.cutter, back.cut, back.machine) == (job.cutter, job.cut, job.machine)


def test_delete_characters_and_quotes_are_escaped() -> None:
    text = toml_text({"a": {"b": 'say "x\\"\x7f'}})
    import tomllib

    assert tomllib.loads(text) == {"a": {"b": 'say "x\\"\x7f'}}


def test_errors_are_job_errors() -> None:
    assert issubclass(CardError, JobError)
    with pytest.raises(JobError):
        build_job({})
