"""Inch and metric at the edge: text with its unit in, SI out.

A bare number is refused wherever its unit could be in doubt; the one exception is a
spindle speed, which the trade only ever gives in revolutions per minute.  The factors
are exact fractions (the international inch is 25.4 mm by definition), so that "6 in"
and "152.4 mm" give the same float.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

from chatter.errors import JobError

_INCH = Fraction(254, 10000)
_FOOT = 12 * _INCH
#: Mechanical horsepower: 550 foot-pound-force per second, by definition.
_HORSEPOWER = 550 * _FOOT * Fraction(45359237, 10**8) * Fraction(980665, 10**5)
_DEGREE = Fraction(3.141592653589793) / 180  # the float nearest to pi, as `math` has it

_LENGTHS = {
    "m": Fraction(1),
    "cm": Fraction(1, 100),
    "mm": Fraction(1, 1000),
    "um": Fraction(1, 10**6),
    "µm": Fraction(1, 10**6),
    "μm": Fraction(1, 10**6),
    "in": _INCH,
    "inch": _INCH,
    "inches": _INCH,
    '"': _INCH,
    "″": _INCH,
    "”": _INCH,
    "thou": _INCH / 1000,
    "ft": _FOOT,
    "foot": _FOOT,
    "feet": _FOOT,
}
_TIMES = {"min": Fraction(60), "minute": Fraction(60), "s": Fraction(1), "sec": Fraction(1)}
_PER_TIME = {
    f"{length}/{time}": size / span
    for length, size in _LENGTHS.items()
    for time, span in _TIMES.items()
}
_FOOT_MIN = {"sfm": _FOOT / 60, "sfpm": _FOOT / 60, "fpm": _FOOT / 60}

#: Every unit of every kind of quantity, as a factor to SI.
UNITS: dict[str, dict[str, Fraction]] = {
    "length": _LENGTHS,
    "feed": {**_PER_TIME, "ipm": _INCH / 60},
    "chip load": {
        **{f"{length}/tooth": size for length, size in _LENGTHS.items()},
        "ipt": _INCH,
    },
    "cutting speed": {**_PER_TIME, **_FOOT_MIN},
    "spindle speed": dict.fromkeys(("", "rev/min", "rpm", "r/min", "/min", "1/min"), Fraction(1)),
    "power": {
        "w": Fraction(1),
        "kw": Fraction(1000),
        "hp": _HORSEPOWER,
        "ps": 75 * Fraction(980665, 10**5),  # metric horsepower, 75 kgf m/s
    },
    # Distance from tooth to tooth of a blade; "10 tpi", teeth per inch, is read apart.
    "pitch": _LENGTHS,
    "angle": {"deg": _DEGREE, "°": _DEGREE, "degrees": _DEGREE, "rad": Fraction(1)},
    "frequency": {"hz": Fraction(1), "khz": Fraction(1000)},
}

#: What to write, told in every complaint.
EXAMPLES = {
    "length": "'6 in', '1/16 in' or '150 mm'",
    "feed": "'10 in/min' or '250 mm/min'",
    "chip load": "'0.003 in/tooth' or '0.05 mm/tooth'",
    "cutting speed": "'100 ft/min' or '30 m/min'",
    "spindle speed": "'57' or '57 rev/min'",
    "power": "'2 hp' or '1.5 kW'",
    "angle": "'15 deg'",
    "frequency": "'50 Hz'",
    "pitch": "'10 tpi' or '2.5 mm'",
    "time": "'48', '48 s' or '1:30'",
}

_NUMBER = re.compile(
    r"""(?P<sign>[+-]?)
    (?: (?:(?P<whole>\d{1,9})(?:\s+|-))? (?P<top>\d{1,9})\s*/\s*(?P<bottom>\d{1,9})
      | (?P<decimal>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)
    )\s*(?P<unit>.*)""",
    re.VERBOSE | re.ASCII | re.DOTALL,
)
_COMMA = re.compile(r"(?P<sign>[+-]?)(?P<whole>\d{0,9}),(?P<part>\d{1,9})(?=[^\d,/]|$)", re.ASCII)
#: "½" -> "1/2", and the like.
_VULGAR = {
    chr(code): unicodedata.normalize("NFKC", chr(code)).replace("\N{FRACTION SLASH}", "/")
    for code in (*range(0xBC, 0xBF), *range(0x2150, 0x215F))
}
_LONGEST = 60  # characters; no honest quantity is longer, and it bounds the arithmetic


def echo(stated: object, longest: int = 60) -> str:
    """What was stated, short and on one line, for a complaint."""
    return "".join(letter if letter.isprintable() else " " for letter in str(stated))[
        :longest
    ].strip()


def with_fractions(text: str) -> str:
    """ "1½ in" -> "1 1/2 in"."""
    for sign, fraction in _VULGAR.items():
        text = text.replace(sign, f" {fraction} ")
    return " ".join(text.replace("\N{FRACTION SLASH}", "/").split())


def as_typed(text: str, what: str) -> str:
    """A number as keyboards and phones write it, in plain signs: "1½ in" -> "1 1/2 in".

    A decimal comma becomes a point.  "1,250" is refused: in one country it is one and a
    quarter, in the next twelve hundred and fifty, and both can be a depth in thousandths.

    Raises
    ------
    JobError
        The comma could mean two things.
    """
    text = with_fractions(text)
    match = _COMMA.match(text)
    if match is None:
        return text
    whole, part = match["whole"], match["part"]
    if len(part) == 3 and whole.strip("0"):
        raise JobError(
            f"The {what} '{echo(text)}' could be {whole}.{part} or {whole}{part}: write it with "
            "a decimal point, or without the comma."
        )
    return f"{match['sign']}{whole or '0'}.{part}{text[match.end() :]}"


def parse(text: object, kind: str, what: str | None = None, *, signed: bool = False) -> float:
    """Read one quantity with its unit.

    Parameters
    ----------
    text : str
        For example ``"2 1/2 in"``, ``"150mm"``, ``"0.003 in/tooth"``.
    kind : str
        A key of ``UNITS``.
    what : str, optional
        What the quantity is, for the complaint ("depth"); defaults to ``kind``.
    signed : bool
        Allow zero and negative values (angles).

    Returns
    -------
    float
        The value in SI units (spindle speed: rev/min), correctly rounded.

    Raises
    ------
    JobError
        The text is no number, has no unit or the wrong one, or is not above zero.
    """
    what = what or kind
    advice = f"write for example {EXAMPLES[kind]}"
    if not isinstance(text, str):
        raise JobError(f"The {what} {echo(text)} is a bare value without a unit: {advice}.")
    shown = echo(text)
    plain = as_typed(text.strip(), what) if len(text.strip()) <= _LONGEST else None
    match = _NUMBER.fullmatch(plain) if plain is not None else None
    if match is None:
        raise JobError(f"The {what} '{shown}' is not a number with a unit: {advice}.")
    unit = re.sub(r"\s*/\s*", "/", match["unit"].strip().lower())
    if kind == "pitch" and unit in ("tpi", "teeth/in"):
        count = _fraction(match, what, shown)
        if count <= 0:
            raise JobError(f"The {what} '{shown}' is not above zero: state a positive value.")
        return float(_INCH / count)
    table = UNITS[kind]
    if unit not in table:
        if not unit:
            raise JobError(f"The {what} '{shown}' has no unit: {advice}.")
        if unit.startswith(","):
            raise JobError(f"The {what} '{shown}' has a comma: use a decimal point instead.")
        raise JobError(
            f"The {what} '{shown}' has the unknown unit '{echo(match['unit'])}': {advice}."
        )
    value = _fraction(match, what, shown) * table[unit]
    if value <= 0 and not signed:
        raise JobError(f"The {what} '{shown}' is not above zero: state a positive value.")
    try:
        result = float(value)
    except OverflowError:
        result = float("inf")
    if result in (float("inf"), float("-inf")) or (value and not result):
        raise JobError(f"The {what} '{shown}' is beyond all measure: check its digits.")
    return result


def _fraction(match: re.Match[str], what: str, shown: str) -> Fraction:
    """The number of a match, exactly."""
    if match["decimal"] is not None:
        number = Fraction(match["decimal"])
    elif int(match["bottom"]) == 0:
        raise JobError(f"The {what} '{shown}' divides by zero: correct the fraction.")
    else:
        number = int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"]))
    return -number if match["sign"] == "-" else number


def parse_length(text: str, what: str = "length") -> float:
    """Length [m]; a bare number is refused.  Raises JobError."""
    return parse(text, "length", what)


def parse_cutting_speed(text: str, what: str = "cutting speed") -> float:
    """Speed of the tooth's edge over the work [m/s].  Raises JobError."""
    return parse(text, "cutting speed", what)


def parse_spindle_speed(text: object, what: str = "spindle speed") -> float:
    """Spindle speed [rev/min]; the only quantity that may be a bare number.

    Raises JobError.
    """
    bare = isinstance(text, int | float) and not isinstance(text, bool)
    return parse(repr(text) if bare else text, "spindle speed", what)
