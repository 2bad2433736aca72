"""Quantities in and out: exact values, refusals, and properties over arbitrary text."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chatter.errors import JobError
from chatter.job import show, times, units

LENGTHS = {
    "6 in": 0.1524,
    '6"': 0.1524,
    "6 Inches": 0.1524,
    "150mm": 0.150,
    "1/16 in": 0.0015875,
    "2 1/2 in": 0.0635,
    '2-1/2"': 0.0635,
    "0.8 m": 0.8,
    ".5 in": 0.0127,
    "5 thou": 0.000127,
    "1.5e1 cm": 0.15,
    "2 ft": 0.6096,
}


@pytest.mark.parametrize(("text", "value_m"), LENGTHS.items())
def test_lengths_are_exact(text: str, value_m: float) -> None:
    assert units.parse_length(text) == value_m


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("10 in/min", "feed", 0.254 / 60),
        ("10 ipm", "feed", 0.254 / 60),
        ("250 mm / min", "feed", 0.25 / 60),
        ("0.003 in/tooth", "chip load", 7.62e-5),
        ("0.05 mm/tooth", "chip load", 5e-5),
        ("100 ft/min", "cutting speed", 0.508),
        ("100 SFM", "cutting speed", 0.508),
        ("30 m/min", "cutting speed", 0.5),
        ("57", "spindle speed", 57.0),
        ("57rpm", "spindle speed", 57.0),
        ("57 rev/min", "spindle speed", 57.0),
        ("1.5 kW", "power", 1500.0),
        ("180 deg", "angle", 3.141592653589793),
        ("-0.5 rad", "angle", -0.5),
        ("50 Hz", "frequency", 50.0),
    ],
)
def test_other_kinds(text: str, kind: str, value: float) -> None:
    assert units.parse(text, kind, signed=kind == "angle") == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("6", "no unit"),
        ("nan mm", "not a number"),
        ("inf mm", "not a number"),
        ("1e999 m", "beyond all measure"),
        ("1e-999 m", "beyond all measure"),
        ("0 mm", "not above zero"),
        ("-3 mm", "not above zero"),
        ("1/0 in", "divides by zero"),
        ("5 furlong", "unknown unit 'furlong'"),
        ("10 in/min", "unknown unit"),
        ("1,250 in", "1.250 or 1250"),
        ("12,3,4 mm", "decimal point"),
        ("", "not a number"),
        ("9" * 100 + " mm", "not a number"),
    ],
)
def test_refused_lengths_say_what_to_write(text: str, says: str) -> None:
    with pytest.raises(JobError, match=says) as caught:
        units.parse_length(text, "depth")
    message = str(caught.value)
    assert message.startswith("The depth")
    assert message.endswith(".")
    assert "\n" not in message


@pytest.mark.parametrize(
    ("typed", "plain"),
    [
        ("1½ in", "1 1/2 in"),
        ("1 ½in", "1 1/2 in"),
        ("⅛ in", "1/8 in"),
        ("3⅝″", "3 5/8 in"),
        ("1⁄16 in", "1/16 in"),  # the fraction slash of some keyboards
        ("12,5 mm", "12.5 mm"),
        ("0,125 in", "0.125 in"),  # with a nought before it, it can only be a decimal comma
        (",5 in", "0.5 in"),
        ("1\N{NARROW NO-BREAK SPACE}1/2 in", "1 1/2 in"),
    ],
)
def test_numbers_are_read_as_keyboards_write_them(typed: str, plain: str) -> None:
    assert units.parse_length(typed) == units.parse_length(plain)


def test_a_bare_number_is_allowed_for_spindle_speed_only() -> None:
    assert units.parse_spindle_speed(57) == 57.0
    for kind in units.UNITS:
        if kind != "spindle speed":
            with pytest.raises(JobError, match="write for example"):
                units.parse("57", kind)
            with pytest.raises(JobError, match="bare value"):
                units.parse(57, kind)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", units.UNITS)
@given(text=st.one_of(st.text(max_size=80), st.from_regex(units._NUMBER), st.floats().map(str)))
def test_arbitrary_text_gives_a_value_or_a_sentence(kind: str, text: str) -> None:
    try:
        value = units.parse(text, kind)
    except JobError as error:
        assert str(error).startswith("The ")
    else:
        assert 0 < value < float("inf")


@given(text=st.text(alphabet="0123456789:.-s min to", max_size=30))
def test_arbitrary_spans_give_a_stretch_or_a_sentence(text: str) -> None:
    try:
        start, end = times.parse_span(text)
    except JobError as error:
        assert str(error).startswith("The ")
    else:
        assert 0 <= start < end


@pytest.mark.parametrize("kind", units.UNITS)
@given(value=st.floats(min_value=1e-9, max_value=1e9))
def test_the_exact_text_gives_back_the_same_float(kind: str, value: float) -> None:
    assert units.parse(show.exact(value, kind), kind) == value


@pytest.mark.parametrize("system", show.SYSTEMS)
@pytest.mark.parametrize("kind", units.UNITS)
@given(value=st.floats(min_value=1e-7, max_value=1e6))
def test_what_is_shown_reads_back_within_its_digits(kind: str, system: str, value: float) -> None:
    shown = show.show(value, kind, system, digits=4)
    # four significant digits: half a unit of the last is at most 5e-4 of the value
    assert units.parse(shown, kind) == pytest.approx(value, rel=5.01e-4)


@given(sixtyfourths=st.integers(1, 640))
def test_inch_fractions_equal_their_decimals(sixtyfourths: int) -> None:
    whole, top = divmod(sixtyfourths, 64)
    text = f"{whole} {top}/64 in" if whole else f"{top}/64 in"
    assert units.parse_length(text) == units.parse_length(f"{sixtyfourths / 64!r} in")


def test_shown_values_carry_their_unit() -> None:
    assert show.show_length(0.1524, "inch") == "6 in"
    assert show.show_length(0.1524, "metric") == "152.4 mm"
    assert show.show_feed(0.25 / 60, "metric") == "250 mm/min"
    assert show.show_chip_load(7.62e-5, "inch") == "0.003 in/tooth"
    assert show.show_cutting_speed(0.508, "inch") == "100 ft/min"
    assert show.show_power(1500.0, "inch") == "2.01 hp"
    assert show.show_spindle_speed(12000.0) == "12000 rev/min"
    assert show.show_frequency(45.6) == "45.6 Hz"


def test_spans() -> None:
    assert times.parse_span("12-48") == (12.0, 48.0)
    assert times.parse_span("12 s-1:30") == (12.0, 90.0)
    assert times.parse_span("0:12-1:30") == (12.0, 90.0)
    assert times.parse_span("0:12.5 to 1:02:30") == (12.5, 3750.0)
    assert times.show_span((12.5, 3750.0)) == "0:12.5-1:02:30"
    for wrong in ("48-12", "12", "1:75-2:00", "a-b", "-5-10", "12-12", ""):
        with pytest.raises(JobError):
            times.parse_span(wrong)
