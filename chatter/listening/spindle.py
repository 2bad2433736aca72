"""Spindle speed and tooth count as hypotheses, weighed over the whole recording.

No comb is "heard" or "not heard": every segment's sound says how well each speed fits, by the
lines of the teeth in the sound and in its envelopes, by lines that are whole tooth spacings
apart, and by the orders of the turn.  What they say is added up, with what the dial says, to a
probability for every speed; a tooth count is weighed in the same way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.listening.clocks import Gains, envelope_gains, sound_gains
from chatter.listening.spans import Span
from chatter.listening.track import Track

#: The dial may err by this share to either side (slip, belts, worn dial plates), ...
SLIP = 0.08
#: ... most dials by less: standard deviation of the prior, in log speed.
DIAL = 0.035
#: Spacings that are tried, re the stated one, in equal steps of log speed.
_STEP = 1.5e-4
_RATIOS = np.exp(np.arange(np.log(0.5), np.log(2.0), _STEP))
_LOG = np.log(_RATIOS)
_SOUND_LINES, _ENVELOPE_LINES, _TURN_LINES, _TURN_SOUND_LINES = 24, 8, 10, 40
#: What the square of each comb's standard score is worth in log-likelihood.  The envelopes and
#: the turn are worth more than the lines of the sound, which a chatter family pulls to itself
#: (chosen on other makers' recordings: speed within 0.5 % in 87 % of their chattering cuts).
_WORTH = {"sound": 0.1, "envelope": 0.4, "apart": 0.25, "turn": 0.5, "turn_sound": 0.4}
#: Windows: turns, seconds, and how many in a segment and in a recording.
_WINDOW_TURNS, _WINDOW_S, _MOST_IN_SEGMENT, _MOST_WINDOWS = 10.0, (1.0, 12.0), 4, 24
_FEWEST_TURNS, _SHORTEST_S = 2.0, 0.25
#: Speeds a segment may differ by from the recording's: sag under load, a step of the grid.
_SAG = 0.004
#: Log posterior over any other speed (further off than _APART) from which a speed is heard.
HEARD_MARGIN, _APART = 3.0, 0.006

_KINDS = tuple(_WORTH)
_NOUGHT = np.zeros(())  # where a sum of curves begins


@dataclass(frozen=True)
class Curves:
    """Standard scores of one segment's combs over the grid of ratios, each shape (ratios,).

    ``sound``, ``envelope`` and ``apart`` belong to tooth spacings re the stated one, ``turn``
    and ``turn_sound`` to spindle speeds re the stated one.
    """

    sound: np.ndarray
    envelope: np.ndarray
    apart: np.ndarray
    turn: np.ndarray
    turn_sound: np.ndarray

    def teeth(self) -> np.ndarray:
        """Log-likelihood that the teeth lend each tooth spacing."""
        return sum((_worth(self, kind) for kind in ("sound", "envelope", "apart")), _NOUGHT)

    def turns(self) -> np.ndarray:
        """Log-likelihood that the turn lends each speed."""
        return sum((_worth(self, kind) for kind in ("turn", "turn_sound")), _NOUGHT)


@dataclass(frozen=True)
class SpeedPosterior:
    """What the whole recording says of the speed, given the stated tooth count.

    Attributes
    ----------
    stated_hz : float
        Spindle frequency by the dial.
    teeth : int
    ratio : float
        Likeliest speed within slip of the dial, over the stated one.
    spread : float
        Standard deviation of that ratio.
    log_p : ndarray, shape (ratios,)
        Log posterior over all ratios, its largest within slip being 0.
    curves : dict
        Segment -> its curves.
    """

    stated_hz: float
    teeth: int
    ratio: float
    spread: float
    log_p: np.ndarray
    curves: dict[Span, Curves]

    @property
    def margin(self) -> float:
        """Log posterior of the likeliest speed over the best other one within slip."""
        other = (np.abs(_LOG) < SLIP) & (np.abs(_LOG - np.log(self.ratio)) > _APART)
        return float(-self.log_p[other].max())

    @property
    def margin_elsewhere(self) -> float:
        """Log posterior of the best speed that no slip explains over the likeliest within it."""
        return float(self.log_p[np.abs(_LOG) > SLIP + _APART].max())

    @property
    def heard(self) -> bool:
        """Whether the sound tells the speed: of speeds said so, 96 % were within 0.5 %."""
        return self.margin >= HEARD_MARGIN

    @property
    def spindle_hz(self) -> float:
        """Likeliest spindle frequency within slip of the dial."""
        return self.ratio * self.stated_hz

    @property
    def tooth_hz(self) -> float:
        """Tooth-passing frequency at that speed."""
        return self.teeth * self.spindle_hz

    def scores(self, span: Span) -> dict[str, float]:
        """Standard scores of a segment's combs at the recording's speed; NaN where not had."""
        curves = self.curves.get(span)
        if curves is None:
            return dict.fromkeys(_KINDS, float("nan"))
        near = np.abs(_LOG - np.log(self.ratio)) < _SAG
        return {kind: float(getattr(curves, kind)[near].max()) for kind in _KINDS}

    def elsewhere(self, span: Span) -> dict[str, float]:
        """How a segment's own combs fit the recording's speed against any other.

        Returns
        -------
        dict
            ``comb_teeth_over_elsewhere``, ``comb_turns_over_elsewhere``: log-likelihood at the
            recording's speed over the best far from the dial; ``comb_own_off``: distance of the
            segment's own likeliest speed from the recording's, in log speed.  Empty where the
            segment was not looked at.  What belongs to another machine fits no worse elsewhere.
        """
        curves = self.curves.get(span)
        if curves is None:
            return {}
        here = np.log(self.ratio)
        near, far = np.abs(_LOG - here) < _SAG, np.abs(_LOG) > SLIP
        teeth, turns = curves.teeth(), curves.turns()
        dial = np.flatnonzero(~far)
        own = _LOG[dial[np.argmax((teeth + turns)[dial])]]
        return {
            "comb_teeth_over_elsewhere": float(teeth[near].max() - teeth[far].max()),
            "comb_turns_over_elsewhere": float(turns[near].max() - turns[far].max()),
            "comb_own_off": float(abs(own - here)),
        }

    def ratio_in(self, span: Span) -> float:
        """The segment's own speed near the recording's, over the stated one."""
        curves = self.curves.get(span)
        if curves is None:
            return self.ratio
        near = np.flatnonzero(np.abs(_LOG - np.log(self.ratio)) < _SAG)
        pull = -0.5 * ((_LOG[near] - np.log(self.ratio)) / (0.4 * _SAG)) ** 2
        return float(_RATIOS[near[np.argmax((curves.teeth() + curves.turns())[near] + pull)]])


def weigh_speeds(
    track: Track,
    segments: tuple[Span, ...],
    weights: np.ndarray,
    *,
    stated_hz: float,
    teeth: int,
) -> SpeedPosterior:
    """Weigh all speeds over a whole recording.

    Parameters
    ----------
    track : Track
    segments : tuple of Span
    weights : ndarray, shape (segments,)
        0 to 1: how likely each is a cut, so that a gear heard while idling counts little.
    stated_hz : float
        Spindle frequency by the dial.
    teeth : int
    """
    curves: dict[Span, Curves] = {}
    total = np.zeros(_RATIOS.size)
    for span, weight, windows in _planned(segments, weights, stated_hz):
        combs = curves_of(track, span, windows, stated_hz=stated_hz, teeth=teeth)
        if combs is not None:
            curves[span] = combs
            total += weight * (combs.teeth() + combs.turns())
    log_p = prior() + total
    inside = np.abs(_LOG) < SLIP
    best = int(np.argmax(np.where(inside, log_p, -np.inf)))
    log_p = log_p - log_p[best]
    p = np.exp(np.minimum(log_p, 0.0)) * inside
    p /= p.sum()
    middle = float(p @ _RATIOS)
    spread = float(np.sqrt(p @ (_RATIOS - middle) ** 2))
    return SpeedPosterior(stated_hz, teeth, float(_RATIOS[best]), spread, log_p, curves)


def prior() -> np.ndarray:
    """Log prior of each ratio: the dial is right but for slip, or a lever is one notch off."""
    inside = np.abs(_LOG) < SLIP
    return np.where(inside, -0.5 * (_LOG / DIAL) ** 2, -0.5 * (SLIP / DIAL) ** 2 - 4.0)


def _planned(
    segments: tuple[Span, ...], weights: np.ndarray, stated_hz: float
) -> list[tuple[Span, float, int]]:
    """Which segments are asked, with how many windows: the weightiest of a long recording."""
    longest = float(np.clip(_WINDOW_TURNS / stated_hz, *_WINDOW_S))
    asked = []
    for span, weight in zip(segments, weights, strict=True):
        if span.length_s >= _SHORTEST_S and span.length_s * stated_hz >= _FEWEST_TURNS:
            count = int(np.clip(np.ceil(1.5 * span.length_s / longest - 0.5), 1, _MOST_IN_SEGMENT))
            asked.append((span, float(weight), count))
    asked.sort(key=lambda one: -one[1] * min(one[0].length_s, longest * _MOST_IN_SEGMENT))
    left = _MOST_WINDOWS
    plan = []
    for span, weight, count in asked:
        if left <= 0:
            break
        plan.append((span, weight, min(count, left)))
        left -= count
    return plan


def curves_of(
    track: Track, span: Span, windows: int, *, stated_hz: float, teeth: int
) -> Curves | None:
    """The combs of one segment over all ratios; None where it is too short."""
    start, stop = track.samples(span)
    length = float(np.clip(_WINDOW_TURNS / stated_hz, *_WINDOW_S))
    n = int(min(length * track.rate_hz, stop - start))
    if n < _SHORTEST_S * track.rate_hz:
        return None
    tooth_hz = teeth * stated_hz
    turn_hz, spacing_hz = _RATIOS * stated_hz, _RATIOS * tooth_hz
    total: dict[str, np.ndarray | float] = dict.fromkeys(_KINDS, 0.0)
    for at in np.linspace(start, stop - n, windows).astype(int):
        x = track.read(int(at), int(at) + n)
        sound = sound_gains(x, track.rate_hz, floor_hz=min(2.0 * tooth_hz, 80.0))
        total["sound"] += sound.comb(spacing_hz, np.arange(1, _SOUND_LINES + 1))
        total["apart"] += sound.differences(spacing_hz)
        total["turn_sound"] += sound.comb(turn_hz, _turn_orders(teeth, sound, stated_hz))
        swings = envelope_gains(x, track.rate_hz, spindle_hz=stated_hz, tooth_hz=tooth_hz)
        if swings is not None:
            total["envelope"] += swings.comb(spacing_hz, np.arange(1, _ENVELOPE_LINES + 1))
            if teeth > 1:
                orders = np.arange(1, min(_TURN_LINES, max(teeth - 1, 1)) + 1)
                total["turn"] += swings.comb(turn_hz, orders)
    return Curves(**{kind: _standard(np.asarray(comb)) for kind, comb in total.items()})


def _turn_orders(teeth: int, sound: Gains, stated_hz: float) -> np.ndarray:
    """Orders of the turn that stand in the sound itself, those of the teeth left out."""
    first = max(1, int(60.0 / stated_hz))
    orders = np.arange(first, first + _TURN_SOUND_LINES)
    if teeth > 1:
        orders = orders[orders % teeth != 0]
    # lines closer than three bins of the window run into each other
    return orders if stated_hz > 4.5 * sound.step_hz else orders[:0]


def _standard(score: np.ndarray) -> np.ndarray:
    """In standard deviations above all other spacings; zero where there is none."""
    if score.ndim == 0:
        return np.zeros(_RATIOS.size)
    spread = float(score.std())
    return (score - score.mean()) / spread if spread > 1e-9 else np.zeros(_RATIOS.size)


def _worth(curves: Curves, kind: str) -> np.ndarray:
    return _WORTH[kind] * np.maximum(getattr(curves, kind), 0.0) ** 2


def log_ratios() -> np.ndarray:
    """Logarithms of the ratios that are tried, shape (ratios,); read-only."""
    return _LOG
