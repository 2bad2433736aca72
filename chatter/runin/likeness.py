"""Whether a recording sounds like this machine idling at this speed.

Asked before a date is added, and of every date of a log: another machine, another speed or a
dog would otherwise pass as "no change".  What is compared is where lines stand, for a phone and
a room raise and lower lines but do not move them.  Multiples of the mains tell nothing, every
machine in the shop hums alike; nor do lines that stay where they are at every speed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chatter.runin.idle import IdleSound

#: Idling is steady: its level wanders by less than this.  From recordings of lathes, machining
#: centres and everyday sounds: machines up to 5 dB, voices and animals from 12 dB.
STEADY_DB = 9.0
#: Fewer lines than this, at one false in a thousand recordings, are no machine that turns.
FEWEST_LINES = 2
#: Lines at so large a share of the spindle's first multiples are teeth that cut or knock.
COMB_SHARE, _COMB_ORDERS, _COMB_FEWEST = 0.6, 40, 10
#: So many lines must be known before anything is asked.
_KNOWN = 6
#: A line is known when this share of the recordings before holds it.
_PERSISTENT = 0.6
#: A motor slips, and a dial is off, by less than this; wrong speeds are farther away.
_SLIP, _FAR = 0.02, (0.05, 0.3)
_STEP = 5e-4
#: Lines meet within this share of their frequency, or within bins.
_MEET, _MEET_BINS = 1.2e-3, 0.8
#: Unlike: hardly more lines meet than at wrong speeds, by a quarter or by one line, and fewer than
#: this share.  On pieces of nine real recordings of machines that turn: none of 37 pieces of the
#: same one, 330 of 386 of another.
_UNLIKE, _HARDLY_MORE = 0.35, 1.25
#: Like another speed: this share of its lines meet; while no second speed is known, of the loudest
#: of the new recording.  Of those, pieces of five of nine machines hold 0.7 and more of another
#: piece of the same, and no piece of one machine more than 0.57 of another's.
_LIKE, _LOUDEST = 0.7, 15
#: No more recordings than this are asked of.
_MOST = 8

UNLIKE = "this does not sound like the recordings before: another machine, speed or place?"


def question(
    idle: IdleSound,
    rev_min: float,
    before: Sequence[tuple[float, IdleSound]],
    mains_hz: float | None = None,
) -> str | None:
    """What is to be asked of a recording, in words; None when nothing is.

    Parameters
    ----------
    idle : IdleSound
    rev_min : float
        Stated speed.
    before : sequence of (float, IdleSound)
        Stated speeds and sounds of the same machine.
    mains_hz : float, optional
    """
    why = no_idling(idle, rev_min / 60.0)
    if why is not None:
        own = [sound for speed, sound in before if speed == rev_min][-_MOST:]
        odd = sum(no_idling(sound, rev_min / 60.0) is not None for sound in own)
        if own and odd >= 0.5 * len(own):  # it is this machine's own voice
            why = None
    return why or unlike(idle, rev_min, before, mains_hz)


def no_idling(idle: IdleSound, spindle_hz: float) -> str | None:
    """Why this is no machine idling, in words; None when it may be.

    Parameters
    ----------
    idle : IdleSound
    spindle_hz : float [Hz]
        As stated.
    """
    if idle.swing_db > STEADY_DB:
        return (
            f"the level wanders by {idle.swing_db:.0f} dB, and a machine that idles is steady: is "
            "this a cut, a change of speed, or something else in the shop?"
        )
    if len(idle.lines) < FEWEST_LINES:
        return (
            "no lines of gears, belts or a motor stand out: is this the machine, and near enough?"
        )
    share, count = _on_comb(idle, spindle_hz)
    if count >= _COMB_FEWEST and share >= COMB_SHARE:
        return (
            f"lines stand at {share:.0%} of the first {count} multiples of the spindle's own "
            "turning, as teeth make them: is this a cut?"
        )
    return None


def _on_comb(idle: IdleSound, spindle_hz: float) -> tuple[float, int]:
    """Share of the spindle's multiples, from where lines are heard, that hold one; how many."""
    lines = np.array([one.frequency_hz for one in idle.lines])
    orders = np.arange(1, _COMB_ORDERS + 1)
    step = idle.sound.step_hz
    best, count = 0.0, 0
    for speed in spindle_hz * (1.0 + np.arange(-_SLIP, _SLIP + _STEP, _STEP)):
        at = orders[orders * spindle_hz > 50.0] * speed
        if at.size < _COMB_FEWEST or speed < 4.0 * step:
            return 0.0, 0  # too dense to be told from chance
        best, count = max(best, _meet(at, lines, step)[0] / at.size), at.size
    return best, count


def unlike(
    idle: IdleSound,
    rev_min: float,
    before: Sequence[tuple[float, IdleSound]],
    mains_hz: float | None = None,
) -> str | None:
    """Why this does not sound like the recordings before, in words; None when it may be.

    Parameters
    ----------
    idle : IdleSound
    rev_min : float
        Stated speed.
    before : sequence of (float, IdleSound)
        Stated speeds and sounds of the same machine.
    mains_hz : float, optional
        Without it multiples of both 50 and 60 Hz tell nothing.
    """
    lines = _without_mains(_hz(idle), mains_hz)
    step = idle.sound.step_hz
    by_speed: dict[float, list[np.ndarray]] = {}
    for speed, sound in before:
        by_speed.setdefault(speed, []).append(_without_mains(_hz(sound), mains_hz))
    known = {speed: _persistent(own[-_MOST:], step) for speed, own in by_speed.items()}
    own = _turning(known, rev_min, step)
    strange = own.size >= _KNOWN and _strange(own, lines, step)
    if not strange and rev_min in known:
        return None
    for speed in sorted(known):
        other = _turning(known, speed, step)
        near = abs(speed / rev_min - 1.0) < 2 * _SLIP
        if near:
            continue
        if len(known) < 2 and not strange:  # which lines stay at every speed is not known yet
            alike = _nothing_moved(idle, by_speed[speed][-1], mains_hz)
        else:
            here, far = _counts(other, lines, step)
            alike = other.size >= _KNOWN and here >= _LIKE * other.size and here > far
        if alike:
            return (
                f"this sounds like the recordings at {speed:g} rev/min, not {rev_min:g}: is the "
                "speed stated right?"
            )
    return UNLIKE if strange else None


def _nothing_moved(idle: IdleSound, before: np.ndarray, mains_hz: float | None) -> bool:
    """Hardly one of the loudest lines is new, though another speed is stated."""
    by_level = sorted(idle.lines, key=lambda one: -one.above_floor_db)
    heard = _without_mains(np.array([one.frequency_hz for one in by_level]), mains_hz)[:_LOUDEST]
    slips = np.arange(-_SLIP, _SLIP + _STEP / 2, _STEP)
    met = max(_meet(heard * (1.0 + s), before, idle.sound.step_hz)[0] for s in slips)
    return heard.size >= _KNOWN and met >= _LIKE * heard.size


def _strange(known: np.ndarray, lines: np.ndarray, step_hz: float) -> bool:
    here, far = _counts(known, lines, step_hz)
    return here <= max(_HARDLY_MORE * far, far + 1) and here < _UNLIKE * known.size


def _counts(known: np.ndarray, lines: np.ndarray, step_hz: float) -> tuple[int, int]:
    """Most lines that meet at one slip of a motor, and at as many wrong speeds."""
    near = np.arange(-_SLIP, _SLIP + _STEP / 2, _STEP)
    far = np.arange(*_FAR, _STEP)
    here = max(_meet(known * (1.0 + s), lines, step_hz)[0] for s in near)
    # As many wrong speeds as right ones are tried, again and again: the middle of their best.
    wrong = [_meet(known * (1.0 + s), lines, step_hz)[0] for s in (*-far, *far)]
    blocks = [max(wrong[k : k + near.size]) for k in range(0, len(wrong), near.size)]
    return here, int(np.median(blocks))


def _meet(wanted: np.ndarray, lines: np.ndarray, step_hz: float) -> tuple[int, np.ndarray]:
    if not lines.size or not wanted.size:
        return 0, np.zeros(wanted.size, bool)
    place = np.clip(np.searchsorted(lines, wanted), 1, max(1, lines.size - 1))
    near = np.minimum(
        np.abs(lines[place - 1] - wanted), np.abs(lines[np.minimum(place, lines.size - 1)] - wanted)
    )
    met = near <= np.maximum(_MEET_BINS * step_hz, _MEET * wanted)
    return int(met.sum()), met


def _hz(idle: IdleSound) -> np.ndarray:
    return np.array([one.frequency_hz for one in idle.lines])


def _without_mains(lines: np.ndarray, mains_hz: float | None) -> np.ndarray:
    keep = np.ones(lines.size, bool)
    for each in (50.0, 60.0) if mains_hz is None else (mains_hz,):
        multiple = np.round(lines / each)
        on = np.abs(lines - multiple * each) < 0.3 + 5e-4 * lines
        keep &= ~(on & (lines < 1000.0))
    return lines[keep]


def _persistent(recordings: Sequence[np.ndarray], step_hz: float) -> np.ndarray:
    """Lines of the latest recording that most of the others hold too."""
    latest, others = recordings[-1], recordings[:-1]
    if not others:
        return latest
    held = np.ones(latest.size)
    for other in others:
        shifts = np.arange(-_SLIP, _SLIP + _STEP / 2, _STEP)
        best = max(shifts, key=lambda s: _meet(latest * (1.0 + s), other, step_hz)[0])
        held += _meet(latest * (1.0 + best), other, step_hz)[1] | _meet(latest, other, step_hz)[1]
    return latest[held >= _PERSISTENT * len(recordings)]


def _turning(known: dict[float, np.ndarray], rev_min: float, step_hz: float) -> np.ndarray:
    """Known lines of one speed without those that stay at others; all where few are left."""
    own = known.get(rev_min, np.array([]))
    stays = np.zeros(own.size, bool)
    for speed, lines in known.items():
        if abs(speed / rev_min - 1.0) > 2 * _SLIP:
            stays |= _meet(own, lines, step_hz)[1]
    return own[~stays] if (~stays).sum() >= _KNOWN else own
