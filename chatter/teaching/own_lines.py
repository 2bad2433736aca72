"""Which lines of a cut are the machine's own.

A line that stays where it is must be found at its frequency.  Lines geared to the spindle have
all moved by one and the same ratio, for a loaded spindle turns slower: where the speed was not
heard in both recordings, the ratio at which they meet the cut's lines together tells it, against
what chance does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.findings import Line, Pass
from chatter.job.voice import KnownLine, MachineVoice, VoiceStep

#: Two lines are one within this many Hz, which the frames of a spectrum leave, or this part of
#: their frequency, which wander leaves.
_SAME_HZ, _SAME = 0.7, 1e-3
#: The same while the ratio is sought: finer, so that chance meets less.
_MEETS = 4e-4
#: A spindle turns slower under load than it idled by less than this part, and hardly faster.
_RATIOS = (0.94, 1.01)
#: How far speeds heard in both recordings may be off, as a part.
_HEARD_OFF = 0.004
#: No more lines of each recording take part in the search, the loudest.
_LOUDEST = 24
#: Chance that lines which have nothing to do with each other meet so well at any ratio.
_CHANCE = 0.02
#: A machine's line is called louder than ever from this many dB over the loudest so far.
LOUDER_DB = 6.0
#: By another phone levels count only beside those of the machine's other lines, which it hears
#: otherwise too; three or more are needed.
_OUTGROWN_DB, _FEWEST = 15.0, 3


@dataclass(frozen=True)
class OwnLine:
    """A line of a pass and the known line that it is.

    ``louder``: by the same phone at the same place, louder than it ever was while idling;
    ``outgrown``: so much louder that the machine alone does not explain it.
    """

    line: Line
    known: KnownLine
    louder: bool = False
    outgrown: bool = False


def own_lines(one_pass: Pass, voice: MachineVoice) -> tuple[OwnLine, ...]:
    """The lines of a pass that the machine is known to make, in order of frequency.

    Parameters
    ----------
    one_pass : Pass
    voice : MachineVoice

    Notes
    -----
    Of another step than the one dialled only what is known to keep its order or its frequency
    is looked for.
    """
    dialled = voice.step(one_pass.spindle.stated_rev_min)
    by_hz: dict[float, OwnLine] = {}
    for step in voice.steps:
        known = [k for k in step.lines if step is dialled or k.turns is not None]
        loud = step.same_phone and step is dialled
        for own in _of_step(one_pass, step, known, loud):
            by_hz.setdefault(own.line.frequency_hz, own)
    return tuple(by_hz[hz] for hz in sorted(by_hz))


def _of_step(
    one_pass: Pass, step: VoiceStep, known: Sequence[KnownLine], same_phone: bool
) -> list[OwnLine]:
    stay = [(k.frequency_hz, k) for k in known if k.turns is not True]
    met = [k for hz, k in stay if _nearest(hz, one_pass.lines) is not None]
    # what is where it was needs no ratio, and would draw it towards one
    follow = [k for k in known if k.turns is not False and k not in met]
    ratio = _ratio(one_pass, step, follow)
    expected = [*stay, *((k.frequency_hz * ratio, k) for k in follow if ratio is not None)]
    pairs = [(_nearest(hz, one_pass.lines), k) for hz, k in expected]
    own = [(line, k) for line, k in pairs if line is not None]
    rise = [line.level_db - k.above_floor_db for line, k in own]
    usual = float(np.median(rise)) if len(rise) >= _FEWEST else float("inf")
    return [
        OwnLine(
            line,
            k,
            louder=same_phone and r > LOUDER_DB,
            outgrown=r > (2.0 * LOUDER_DB if same_phone else usual + _OUTGROWN_DB),
        )
        for (line, k), r in zip(own, rise, strict=True)
    ]


def _nearest(hz: float, lines: Sequence[Line]) -> Line | None:
    near = min(lines, key=lambda line: abs(line.frequency_hz - hz), default=None)
    if near is None or abs(near.frequency_hz - hz) > max(_SAME_HZ, _SAME * hz):
        return None
    return near


def _ratio(one_pass: Pass, step: VoiceStep, known: Sequence[KnownLine]) -> float | None:
    """How much faster the spindle turned in the cut than it idled; None: nothing tells."""
    if step.heard and one_pass.spindle.heard:
        said = one_pass.spindle.rev_min / 60.0 / step.spindle_hz
        span = (said * (1.0 - _HEARD_OFF), said * (1.0 + _HEARD_OFF))
    else:
        said = None
        dial = one_pass.spindle.stated_rev_min / step.rev_min
        span = (dial * _RATIOS[0], dial * _RATIOS[1])
    loudest = sorted(known, key=lambda k: -k.above_floor_db)[:_LOUDEST]
    heard = sorted(one_pass.lines, key=lambda line: -line.level_db)[:_LOUDEST]
    return (
        meeting_ratio(
            [k.frequency_hz for k in loudest], [line.frequency_hz for line in heard], span
        )
        or said
    )


def meeting_ratio(
    known_hz: Sequence[float], heard_hz: Sequence[float], span: tuple[float, float]
) -> float | None:
    """The ratio at which most known lines meet heard ones.

    Parameters
    ----------
    known_hz, heard_hz : sequence of float
        Lines [Hz] of the idling machine and of the cut.
    span : (float, float)
        Least and greatest ratio of the cut's speed to that of idling.

    Returns
    -------
    float or None
        None where chance would meet as many at some ratio more often than once in fifty times:
        the binomial tail at the mean share that meets, times the ratios that are told apart.
    """
    from scipy.special import bdtrc

    if not len(known_hz) or not len(heard_hz):
        return None
    known, heard = np.log(np.array(known_hz)), np.log(np.array(heard_hz))
    ratios = np.arange(np.log(span[0]), np.log(span[1]), 0.25 * _MEETS)
    reach = np.maximum(_MEETS, 0.5 * _SAME_HZ / np.array(known_hz))
    off = known[None, :, None] + ratios[:, None, None] - heard[None, None, :]
    nearest = np.abs(off).min(axis=2)  # (ratios, known)
    meets = nearest < reach
    count = meets.sum(axis=1)
    most = int(count.max())
    best = np.flatnonzero(count == most)
    # the middle of the ratios that do equally well and best: by the least mean distance
    at = best[np.argmin([nearest[i][meets[i]].mean() if most else 0.0 for i in best])]
    by_chance = float(bdtrc(most - 1, known.size, float(meets.mean()))) if most else 1.0
    apart = max(1.0, (ratios[-1] - ratios[0]) / (2.0 * float(reach.mean())))
    return float(np.exp(ratios[at])) if by_chance * apart < _CHANCE else None
