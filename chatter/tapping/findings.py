"""What a tap test yields: plain frozen data, with JSON out and in.

Stored beside the job, so that a later listen can name the mode nearest below a chatter
frequency (:func:`chatter.trade.modes.mode_below`).
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path

from chatter.errors import CardError, OutputError
from chatter.plain import Misfit, from_plain, to_json
from chatter.trade.modes import Mode

SCHEMA_VERSION = 1
#: Doubtful rings this near to each other are told as one, and no more than this many by name.
ONE_LINE, NAMED = 0.03, 5


@dataclass(frozen=True)
class Tap:
    """One tap in the recording."""

    time_s: float
    level_db: float  # peak over the noise before it
    used: bool
    why_not: str | None = None  # "double hit", "too near the next", "clipped", "too weak"
    file: str | None = None  # which of several recordings it is in


@dataclass(frozen=True)
class Room:
    """What the room and the phone add to a ring."""

    reverberation_s: float | None  # time for 60 dB, None when no diffuse tail was seen
    tail_db: float | None  # its tail at the moment of the tap, re the blow itself
    gain_dip_db: float  # how far an automatic gain drops after a tap, 0 when none is seen
    gain_recovery_s: float | None  # time constant of its recovery


@dataclass(frozen=True)
class DoubtfulMode:
    """A ringing that may not be the set-up's."""

    mode: Mode
    why: str


@dataclass(frozen=True)
class TapFindings:
    """Everything a tap test found."""

    source: str
    taps: tuple[Tap, ...]
    modes: tuple[Mode, ...]  # ascending frequency
    doubtful: tuple[DoubtfulMode, ...]
    room: Room
    reason: str | None  # why it cannot tell, and what to do; None when modes were found
    notes: tuple[str, ...] = ()
    what: str | None = None  # what was tapped: "cutter", "arbor", "work", "table"
    simulated: bool = False
    schema_version: int = field(default=SCHEMA_VERSION)

    @property
    def doubts(self) -> tuple[str, ...]:
        """Each reason for doubt in words, once, with the frequencies that it stands for."""
        whys: dict[str, list[Mode]] = {}
        for doubtful in self.doubtful:
            whys.setdefault(doubtful.why, []).append(doubtful.mode)
        return tuple(f"{_frequencies(modes)}; {why}" for why, modes in whys.items())


def _frequencies(modes: list[Mode]) -> str:
    """Where modes lie; of many, how many and the strongest, for nobody reads a list of forty."""
    from chatter.job.show import show_frequency

    apart: list[Mode] = []
    for mode in sorted(modes, key=lambda m: -m.level_db):
        if all(abs(mode.frequency_hz / o.frequency_hz - 1.0) > ONE_LINE for o in apart):
            apart.append(mode)
    named = sorted(apart[:NAMED], key=lambda m: m.frequency_hz)
    shown = [show_frequency(m.frequency_hz, 3) for m in named]
    listed = f"{', '.join(shown[:-1])} and {shown[-1]}" if len(shown) > 1 else shown[0]
    if len(modes) <= NAMED:
        return listed
    low, high = (show_frequency(f(m.frequency_hz for m in modes), 3) for f in (min, max))
    return f"{len(modes)} rings from {low} to {high}, the strongest at {listed}"


def save_taps(findings: TapFindings, path: str | Path) -> None:
    """Write the findings as JSON.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    try:
        Path(path).write_text(to_json(findings) + "\n", encoding="utf-8")
    except OSError as wrong:
        raise OutputError(
            f"The tap test cannot be written to {path} ({wrong.strerror}): name another place."
        ) from wrong


def load_taps(path: str | Path) -> TapFindings:
    """Read findings that :func:`save_taps` wrote.

    Raises
    ------
    CardError
        The file cannot be read, or is no tap test of this version.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as wrong:
        raise CardError(
            f"The tap test {path} cannot be read ({wrong.strerror}): check its name."
        ) from wrong
    except UnicodeDecodeError as wrong:
        raise CardError(f"{path} is not JSON: make it again with 'chatter tap'.") from wrong
    return read_taps(text, str(path))


def read_taps(text: str, path: str = "This text") -> TapFindings:
    """Findings from their JSON; ``path`` is for the complaint.

    Raises
    ------
    CardError
        It is no tap test of this version.
    """
    try:
        data = json.loads(text)
    except ValueError as wrong:
        raise CardError(f"{path} is not JSON: make it again with 'chatter tap'.") from wrong
    try:
        if data["schema_version"] != SCHEMA_VERSION:
            raise CardError(
                f"{path} is a tap test of version {data['schema_version']}, this program reads "
                f"version {SCHEMA_VERSION}: make it again with 'chatter tap'."
            )
        return from_plain(TapFindings, data)
    except (KeyError, TypeError, Misfit) as wrong:
        raise CardError(f"{path} is not a tap test: make it with 'chatter tap'.") from wrong
