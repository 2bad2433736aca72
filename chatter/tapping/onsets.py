"""Where the taps are, and which of them are single clean ones."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FRAME_S = 0.001
#: A tap rises this far above what was before, and stands this far above the noise.
RISE_DB = 9.0
ABOVE_NOISE_DB = 20.0
#: Taps nearer than this are one blow that bounced: neither ring is clean.
DOUBLE_S = 0.25
#: A second blow weaker than this share of the first does not spoil its ring.
BOUNCE_DB = -30.0
#: Taps this far below the median of the others ring too little above the noise.
WEAK_DB = 25.0
#: Only the click is looked at: low modes beat and swing within a few frames.
_HIGH_PASS_HZ = 1500.0
#: A blow is louder than everything in this many frames before it, but for its own rise.
_LOOK_BACK, _RISE = 20, 3
#: A file that begins with a blow: it is among the first of these frames ...
_FIRST = 40
#: ... nothing louder comes in as many after it, and the sound has sunk by this much by its end.
_ALONE, _FALLS_DB = 250, 12.0
#: How much of a track belongs to one blow [s].
_BEFORE_S, _AFTER_S = 0.45, 1.2
#: Blows as even as this [share of their distance] and as near [s] are a clock's and no hand's.
_EVEN, _TICK_S, _TICKS = 0.01, 1.2, 4


@dataclass(frozen=True)
class BlowOnset:
    """The start of a blow."""

    sample: int
    level_db: float  # peak frame over the recording's noise
    clipped: bool


@dataclass(frozen=True)
class CutOutBlow:
    """One blow, cut out of its track with what was before it and until the next."""

    x: NDArray[np.floating]  # shape (n,)
    rate_hz: int
    tap_at: int  # sample of the blow
    end: int  # sample before which the next event lies


def find_onsets(
    read: Callable[[int, int], NDArray[np.floating]], count: int, rate_hz: int
) -> list[BlowOnset]:
    """Find blows in a track.

    Parameters
    ----------
    read : callable
        (start, stop) -> samples.
    count, rate_hz : int
        Length and rate of the track.
    """
    frame = max(8, round(FRAME_S * rate_hz))
    power, clipped = _frame_power(read, count, rate_hz, frame)
    if len(power) < 2 * _LOOK_BACK:
        return []
    level = 10.0 * np.log10(power + 1e-14)
    noise = float(np.percentile(level, 20))
    onsets: list[BlowOnset] = []

    def add(i: int) -> None:
        first = max(0, i - _RISE)
        begin = first * frame
        piece = np.abs(read(begin, min(count, begin + 8 * frame)))
        start = begin + int(np.argmax(piece > 0.25 * piece.max()))
        hard = bool(clipped[i : i + 10].any())
        onsets.append(BlowOnset(start, float(level[i : i + 10].max() - noise), hard))

    last = -100
    begun = _begins_with_blow(level)
    if begun is not None:
        add(begun)
        last = begun
    rise = np.zeros_like(level)
    before = np.lib.stride_tricks.sliding_window_view(level, _LOOK_BACK).max(axis=1)
    lead = _LOOK_BACK + _RISE - 1
    rise[lead:] = level[lead:] - before[: len(level) - lead]
    for i in np.nonzero((rise > RISE_DB) & (level > noise + ABOVE_NOISE_DB))[0].tolist():
        if i - last < 15:  # the same blow still rising, or its first beats
            last = i if i - last < 4 else last
            continue
        last = i
        add(i)
    return onsets


def _begins_with_blow(level: NDArray[np.float64]) -> int | None:
    """The frame of a blow before which the file has no quiet: people cut their clips close."""
    at = int(np.argmax(level[:_FIRST]))
    after = level[at + _RISE : at + _RISE + _ALONE]
    if not len(after) or after.max() > level[at]:
        return None
    quiet = level[max(0, at - _LOOK_BACK) : max(0, at - _RISE)]
    if len(quiet) >= _LOOK_BACK - _RISE and level[at] > quiet.max() + RISE_DB:
        return None  # found as any other
    sunk = float(np.percentile(after[-max(5, len(after) // 5) :], 50))
    return at if level[at] > sunk + _FALLS_DB else None


def cut_out(
    read: Callable[[int, int], NDArray[np.floating]],
    count: int,
    rate_hz: int,
    blow: BlowOnset,
    onsets: list[BlowOnset],
) -> CutOutBlow:
    """One blow with what was before it, until the next."""
    later = [o.sample for o in onsets if o.sample > blow.sample + DOUBLE_S * rate_hz]
    earlier = [o.sample for o in onsets if o.sample < blow.sample]
    start = max(0, blow.sample - int(_BEFORE_S * rate_hz))
    if earlier:
        start = max(start, (max(earlier) + blow.sample) // 2)
    gap = int(0.01 * rate_hz)
    end = min(count, blow.sample + int(_AFTER_S * rate_hz), min(later, default=2 * count) - gap)
    x = np.asarray(read(start, end), dtype=float)
    return CutOutBlow(x, rate_hz, blow.sample - start, end - start)


def ticking(times_s: Sequence[float]) -> bool:
    """Whether blows follow each other as evenly and quickly as a clock's, and no hand's."""
    gaps = np.diff(np.sort(times_s))
    if len(gaps) + 1 < _TICKS:
        return False
    middle = float(np.median(gaps))
    return middle < _TICK_S and float(np.median(np.abs(gaps - middle))) < _EVEN * middle


def _frame_power(
    read: Callable[[int, int], NDArray[np.floating]], count: int, rate_hz: int, frame: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Power and clipping of each frame, high-passed by a difference filter in blocks."""
    from scipy.signal import butter, sosfilt, sosfilt_zi

    sos = butter(2, _HIGH_PASS_HZ, "highpass", fs=rate_hz, output="sos")
    state = sosfilt_zi(sos) * 0.0
    powers, clips = [], []
    block = frame * 20_000
    for start in range(0, count - frame, block):
        x = np.asarray(read(start, min(count, start + block)), dtype=float)
        whole = len(x) // frame * frame
        y, state = sosfilt(sos, x, zi=state)
        powers.append((y[:whole].reshape(-1, frame) ** 2).mean(axis=1))
        loud = np.abs(x[:whole]).reshape(-1, frame) >= 0.985
        clips.append(loud.sum(axis=1) >= 2)
    if not powers:
        return np.empty(0), np.empty(0, bool)
    return np.concatenate(powers), np.concatenate(clips)


def sort_out(onsets: list[BlowOnset], rate_hz: int) -> list[tuple[BlowOnset, str | None]]:
    """Each blow with the reason why its ring is not used, or None; bounces are dropped."""
    sorted_out: list[tuple[BlowOnset, str | None]] = []
    middle = float(np.median([o.level_db for o in onsets])) if onsets else 0.0
    i = 0
    while i < len(onsets):
        blow, why = onsets[i], None
        j = i + 1
        while j < len(onsets) and onsets[j].sample - blow.sample < DOUBLE_S * rate_hz:
            if onsets[j].level_db > blow.level_db + BOUNCE_DB:
                why = "double hit"
            j += 1
        if why is None and blow.clipped:
            why = "clipped"
        if why is None and blow.level_db < middle - WEAK_DB:
            why = "too weak"
        sorted_out.append((blow, why))
        i = j
    return sorted_out
