"""Times in a recording, as a machinist reads them off a player: "12-48", "0:12-1:30"."""

from __future__ import annotations

import re

from chatter.errors import JobError
from chatter.job.units import EXAMPLES, echo

_TIME = re.compile(
    r"(?:(?:(?P<hours>\d{1,3}):)?(?P<minutes>\d{1,4}):(?=\d\d))?"
    r"(?P<seconds>\d{1,7}(?:[.,]\d{0,9})?)(?:\s*(?P<unit>s|sec|seconds|min))?",
    re.ASCII,
)
_SPAN_EXAMPLES = "'12-48', '12 s-1:30' or '0:12-1:30'"


def parse_time(text: str, what: str = "time") -> float:
    """A time in a recording [s], zero or later: "48", "48 s", "1.5 min", "1:30", "1:02:30";
    a decimal comma does too.

    Raises JobError.
    """
    shown = echo(text)
    match = _TIME.fullmatch(text.strip()) if isinstance(text, str) else None
    clock = match is not None and match["minutes"] is not None
    number = float(match["seconds"].replace(",", ".")) if match is not None else 0.0
    if match is None or (clock and (number >= 60 or match["unit"] == "min")):
        raise JobError(f"The {what} '{shown}' is not a time: write for example {EXAMPLES['time']}.")
    seconds = number * (60.0 if match["unit"] == "min" else 1.0)
    return 3600.0 * int(match["hours"] or 0) + 60.0 * int(match["minutes"] or 0) + seconds


def parse_span(text: object, what: str = "time span") -> tuple[float, float]:
    """A stretch of a recording, (start, end) [s].  Raises JobError."""
    parts = re.split(r"\s*(?:-|–|\bto\b)\s*", text.strip()) if isinstance(text, str) else []
    if len(parts) != 2:
        raise JobError(
            f"The {what} '{echo(text)}' is not a start and an end: "
            f"write for example {_SPAN_EXAMPLES}."
        )
    start, end = parse_time(parts[0], what), parse_time(parts[1], what)
    if not start < end:
        raise JobError(
            f"The {what} '{echo(text)}' ends no later than it starts: give the earlier time first."
        )
    return start, end


def show_time(time_s: float) -> str:
    """A time as a player shows it: "0:12", "1:30.5", "1:02:30"."""
    tenths = round(time_s * 10)
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    seconds = f"{rest // 10:02d}" + (f".{rest % 10}" if rest % 10 else "")
    return f"{hours}:{minutes:02d}:{seconds}" if hours else f"{minutes}:{seconds}"


def show_span(span_s: tuple[float, float]) -> str:
    """A stretch of a recording: "0:12-1:30"."""
    return f"{show_time(span_s[0])}-{show_time(span_s[1])}"


def exact_span(span_s: tuple[float, float]) -> str:
    """A stretch that ``parse_span`` reads back to the microsecond, for cards."""
    return " - ".join(f"{time_s:.6f}".rstrip("0").rstrip(".") + " s" for time_s in span_s)
