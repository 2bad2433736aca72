"""True spindle speed from the sound.

A comb of tooth-passing harmonics is looked for jointly in the sound's own spectrum and
in the spectra of the noise's envelopes, where even a fundamental of 8 Hz can be
measured; the first revolution orders of the envelopes tell neighbouring combs apart
(on a saw with uneven teeth there is a line at every revolution order, so N ± 1 teeth
would fit almost as well).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.listening.combs import (
    Window,
    combs_of,
    finest_step,
    hidden_by_hum,
    standard_z,
    tooth_score,
    turn_score,
    turn_window,
    windows_of,
)
from chatter.sound.spectrum import Reader

#: The dial may err by this share to either side (slip, belts, worn dial plates).
SLIP = 0.08
#: How far outside that the sound is still searched for a contradiction.
_WIDE = (0.5, 2.0)
#: Standard deviations above all other combs from which a comb counts as heard.
HEARD_Z = 8.0
#: The same for the comb of low revolution orders.
TURN_HEARD_Z = 7.0
#: A comb outside slip contradicts the dial when it stands out this far, and this many times
#: as far as the one near the dial ...
_CONTRADICTION_Z, _CONTRADICTION_TIMES = 10.0, 2.0
#: ... and is gone by, not only told of, from here.
_FOLLOW_Z = 20.0
#: What a comb's place is off by beyond its own statistics, as half a 95 % interval: the
#: shaft wanders within a window, and a comb of low orders is broad (development corpus).
_TOOTH_OFF, _TURN_OFF = 1.2e-3, 4e-3


@dataclass(frozen=True)
class Heard:
    """Spindle frequency as heard [Hz], all figures of the spindle, not the teeth."""

    spindle_hz: float
    low_hz: float
    high_hz: float
    score: float  # standard deviations of the best tooth comb above all others
    turn_score: float  # the same for the comb of low revolution orders
    heard: bool
    course: tuple[tuple[float, float], ...]
    other_hz: float | None  # spindle frequency that fits far better, outside slip
    relative_error: float  # standard error of the comb's place alone, for placing lines


def hear_speed(
    read: Reader, start: int, stop: int, rate_hz: int, *, stated_hz: float, teeth: int
) -> Heard:
    """Find the spindle frequency in samples [start, stop).

    Parameters
    ----------
    read : callable
        ``read(a, b)`` yields mono samples.
    start, stop : int [samples]
        A stretch of cutting.
    rate_hz : int
    stated_hz : float [Hz]
        Spindle frequency by the dial.
    teeth : int
    """
    windows = windows_of(read, start, stop, rate_hz, stated_hz, teeth)
    middle = (start + stop) / 2 / rate_hz
    if not windows:
        return _unheard(stated_hz, middle, 0.0, 0.0, None)
    combs = combs_of(windows, turn_window(read, start, stop, rate_hz, stated_hz, teeth))
    step = finest_step(combs, stated_hz, teeth)
    wide = np.exp(np.arange(np.log(_WIDE[0]), np.log(_WIDE[1]), step * 1.5))
    tooth_wide = tooth_score(combs, wide * stated_hz, teeth, raw_lines=12)
    turn_wide = turn_score(combs, wide * stated_hz, teeth)
    near = np.exp(np.arange(np.log1p(-SLIP), np.log1p(SLIP), step))
    prior = -0.5 * (np.log(near) / 0.04) ** 2  # a tie goes to the dial
    tooth_near = tooth_score(combs, near * stated_hz, teeth)
    turn_near = turn_score(combs, near * stated_hz, teeth)
    total = tooth_near + turn_near + prior
    best = int(np.argmax(total))
    at = float(near[best])
    here = tooth_score(combs, near[best : best + 1] * stated_hz, teeth, raw_lines=12)[0]
    z = standard_z(here, wide, tooth_wide, at)
    turn_z = standard_z(turn_near[best], wide, turn_wide, at)
    other, other_z = _outside(wide, tooth_wide, at, z)
    other_hz = None if other is None else other * stated_hz
    if other is not None and hidden_by_hum(teeth * stated_hz, teeth * other_hz, SLIP):
        other_hz = None
    if turn_z < TURN_HEARD_Z and other_hz is not None:
        if other_z < _FOLLOW_Z:
            return _unheard(stated_hz, middle, z, turn_z, other_hz)
        # the dial or the tooth count is wrong beyond doubt: go by the sound
        course = _course(windows, other_hz, teeth)
        mean = float(np.mean([f for _, f in course]))
        half = max(step, abs(mean / other_hz - 1.0))
        return _found(mean, half, other_z, turn_z, course, other_hz)
    if turn_z < TURN_HEARD_Z and z < HEARD_Z:
        return _unheard(stated_hz, middle, z, turn_z, None)
    spindle = float(near[best] * stated_hz)
    course = _course(windows, spindle, teeth) if z >= HEARD_Z else ((middle, spindle),)
    mean = float(np.mean([f for _, f in course]))
    # 95 % interval: where the total falls two below its top, at least one grid step
    inside = near[total > total[best] - 2.0]
    inside = inside[np.abs(inside / near[best] - 1.0) < 0.02]
    half = max(step, 0.5 * float(np.ptp(inside)), abs(mean / spindle - 1.0))
    if len(course) > 2:
        half = max(half, 1.96 * float(np.std([f for _, f in course])) / mean / np.sqrt(len(course)))
    return _found(mean, half, z, turn_z, course, other_hz)


def _found(
    spindle_hz: float,
    half: float,
    z: float,
    turn_z: float,
    course: tuple[tuple[float, float], ...],
    other_hz: float | None,
) -> Heard:
    """A speed that is heard; ``half`` is half the 95 % interval of the comb's own place."""
    whole = float(np.hypot(half, _TOOTH_OFF if z >= HEARD_Z else _TURN_OFF))
    low, high = spindle_hz * (1 - whole), spindle_hz * (1 + whole)
    error = max(half / 1.96, 5e-5)
    return Heard(spindle_hz, low, high, z, turn_z, True, course, other_hz, error)


def _unheard(
    stated_hz: float, middle: float, z: float, turn_z: float, other_hz: float | None
) -> Heard:
    """The sound does not tell: the stated speed, as far off as slip goes."""
    low, high = stated_hz * (1 - SLIP), stated_hz * (1 + SLIP)
    course = ((middle, stated_hz),)
    return Heard(stated_hz, low, high, z, turn_z, False, course, other_hz, SLIP / 1.96)


def comb_score(
    read: Reader, start: int, stop: int, rate_hz: int, *, spindle_hz: float, teeth: int
) -> float:
    """How far the tooth comb at a known speed (within 1.5 %) stands above all others."""
    windows = windows_of(read, start, stop, rate_hz, spindle_hz, teeth, most=6)
    if not windows:
        return 0.0
    combs = combs_of(windows, None)
    wide = np.exp(np.linspace(np.log(_WIDE[0]), np.log(_WIDE[1]), 4000))
    background = tooth_score(combs, wide * spindle_hz, teeth, raw_lines=12)
    near = np.linspace(0.985, 1.015, 601)
    scores = tooth_score(combs, near * spindle_hz, teeth, raw_lines=12)
    best = int(np.argmax(scores))
    return standard_z(float(scores[best]), wide, background, float(near[best]))


def _outside(
    wide: np.ndarray, scores: np.ndarray, near: float, z_near: float
) -> tuple[float | None, float]:
    """Ratio to the stated speed at which a comb outside slip fits far better than the one
    at ``near`` times it, None when there is no such comb; and how far it stands out.

    Where the near one is heard, half, once and a half and twice its spacing are left out:
    these share many lines with it.  Two thirds, three quarters and four thirds share so few
    that a comb there which stands out twice as far is the true one.
    """
    usable = np.abs(np.log(wide)) > np.log1p(SLIP) * 1.15
    if z_near >= HEARD_Z:
        for simple in (0.5, 1.5, 2.0):
            usable &= np.abs(np.log(wide / (simple * near))) > 0.02
    if not usable.any():
        return None, 0.0
    at = float(wide[int(np.argmax(np.where(usable, scores, -np.inf)))])
    z = standard_z(float(scores[usable].max()), wide, scores, at)
    contradicts = z >= _CONTRADICTION_Z and z > _CONTRADICTION_TIMES * max(z_near, 0.0)
    return (at if contradicts else None), z


def _course(
    windows: list[Window], spindle_hz: float, teeth: int
) -> tuple[tuple[float, float], ...]:
    """Speed at each window: the smoothest path through the windows' own scores."""
    offsets = np.linspace(-0.015, 0.015, 121)
    grid = spindle_hz * (1.0 + offsets)
    gain = np.stack([tooth_score(combs_of([w], None), grid, teeth) for w in windows])
    jump = -0.5 * ((offsets[:, None] - offsets[None, :]) / 0.0015) ** 2
    path_score = gain[0]
    back = []
    for row in gain[1:]:
        options = path_score[:, None] + jump
        back.append(np.argmax(options, axis=0))
        path_score = options.max(axis=0) + row
    at = int(np.argmax(path_score))
    path = [at]
    for step in reversed(back):
        at = int(step[at])
        path.append(at)
    path.reverse()
    return tuple((w.time_s, float(grid[i])) for w, i in zip(windows, path, strict=True))
