"""The mode of a tap test beside the chatter that it explains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from chatter.findings import Chatter, Pass, TappedMode
from chatter.trade.modes import Mode, mode_below


def with_modes(
    passes: Sequence[Pass], modes: Sequence[Mode], tapped_on: str | None = None
) -> tuple[Pass, ...]:
    """Put the tapped mode nearest below each chatter beside it.

    Parameters
    ----------
    passes : sequence of Pass
    modes : sequence of Mode
        From a tap test of this set-up.
    tapped_on : str, optional
        What was tapped.
    """
    return tuple(_with_mode(one, modes, tapped_on) for one in passes)


def _with_mode(one_pass: Pass, modes: Sequence[Mode], tapped_on: str | None) -> Pass:
    heard = one_pass.chatter
    below = None if heard is None else mode_below(modes, heard.frequency_hz)
    if heard is None or below is None:
        return one_pass
    named = TappedMode(
        below.frequency_hz,
        below.damping_ratio,
        below.frequency_spread_hz,
        below.damping_spread,
        tapped_on,
    )
    return replace(one_pass, chatter=replace(heard, mode_below=named))


def mode_of(heard: Chatter | None) -> tuple[Mode, ...]:
    """The tapped mode beside a chatter, as stability takes it; () when there is none."""
    below = None if heard is None else heard.mode_below
    if below is None:
        return ()
    return (
        Mode(
            below.frequency_hz,
            below.damping_ratio,
            below.frequency_spread_hz,
            below.damping_spread,
        ),
    )


def mode_words(heard: Chatter) -> str | None:
    """Name the mode to stiffen in one sentence; None when no tap test tells it."""
    mode = heard.mode_below
    if mode is None:
        return None
    part = f", tapped on the {mode.tapped_on}," if mode.tapped_on else " of the tap test,"
    return (
        f"The mode at {mode.frequency_hz:.0f} Hz, damping {100 * mode.damping_ratio:.1f} %{part} "
        "lies just below: that is the one to stiffen."
    )


def missed(passes: Sequence[Pass], tapped_on: str | None = None) -> str | None:
    """Say that a tap test explains none of the chatter heard; None when it does, or none is."""
    heard = [one.chatter for one in passes if one.chatter is not None]
    if not heard or any(one.mode_below is not None for one in heard):
        return None
    part = f" on the {tapped_on}" if tapped_on else ""
    return (
        f"No mode of the tap test{part} lies a little below the chatter heard: something else is "
        "the spring, so tap the arbor, the cutter, the work and the table too."
    )
