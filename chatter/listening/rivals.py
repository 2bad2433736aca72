"""Other ways to part a recording than by its level, and when the teeth prefer one.

The level is gone by first.  It fails where a phone's gain has flattened it, or where
something louder than the cut comes and goes.  A rival must explain much of what changes in
the recording, and its stretches of cutting must hold the teeth while those between do not.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chatter.listening.courses import explained, rises_db
from chatter.listening.passes import Plateaus, Span

_LEAST_EXPLAINED = 0.3
_LEAST_CONTRAST = 0.4  # how much clearer the teeth must be inside than outside
# Gain may level idling with the cut, hardly turn them about: no quieter than this by the
# kinder of two views, nor by the other.
_LEAST_RISES_DB = (-1.0, -6.0)
_MARGIN = 0.2  # by which a rival must explain more, with and without the teeth's word
_ALIKE = 0.85  # overlap over union from which two ways are the same
_MOST = 3  # rivals whose teeth are asked for: each costs half a dozen combs
_PROBES = 3
_POOR, _FAIR, _RICH = 0.3, 0.5, 0.65  # explained: hardly anything, half, nearly all
_CLEAR_RISE_DB = 3.0  # louder, where no teeth tell which stretches are the cuts
_EVEN = 0.12  # scatter of the lengths of passes over one piece at one feed
_UNEVEN = 0.25
_EVEN_CONTRAST = 0.1
_SLACK = 0.05  # by which evener passes may explain less
_FEWEST, _MANY = 3, 4  # passes by which lengths can be compared, and by which alone

ToothScore = Callable[[Span], float]


@dataclass(frozen=True)
class Way:
    """One way to part the recording.

    Attributes
    ----------
    spans : tuple of Span
        Its passes.
    inside : ndarray, shape (n,), bool
        Frames in a pass.
    explained : float
        Share of the recording's changes that it explains.
    rises_db : (float, float)
        How much louder its passes are than the rest, by two views.
    """

    spans: tuple[Span, ...]
    inside: np.ndarray
    explained: float
    rises_db: tuple[float, float]

    @property
    def clearly_louder(self) -> bool:
        """Louder beyond doubt: where no teeth are heard, these are the cuts."""
        return max(self.rises_db) > _CLEAR_RISE_DB and min(self.rises_db) > -_CLEAR_RISE_DB


@dataclass(frozen=True)
class Teeth:
    """Mean tooth scores inside the passes and outside."""

    inside: float
    outside: float

    def heard(self, heard_score: float) -> bool:
        """Whether any teeth are heard: the probes' scores count together."""
        return max(self.inside, self.outside) * np.sqrt(_PROBES) >= heard_score

    def contrast(self, heard_score: float) -> float:
        """Lead of the inside as a share of the greater, -1 .. 1."""
        least = heard_score / np.sqrt(_PROBES)
        return (self.inside - self.outside) / max(self.inside, self.outside, least)


def better_spans(
    plateaus: Plateaus,
    spans: tuple[Span, ...],
    *,
    spindle_hz: float,
    tooth_score: ToothScore,
    heard_score: float,
) -> tuple[Span, ...]:
    """The passes of the rival that the teeth clearly prefer; else ``spans``.

    Parameters
    ----------
    plateaus : Plateaus
    spans : tuple of Span
        Passes by level.
    spindle_hz : float
    tooth_score : callable
        How far the tooth comb stands out of a stretch (``speed.comb_score``).
    heard_score : float
        The score that counts as heard.
    """
    now = _way(plateaus, spans)
    rivals = [
        way
        for way in _rivals(plateaus, now, spindle_hz)
        if way.explained >= now.explained + _MARGIN or _evener(plateaus, way, now)
    ]
    if not rivals:
        return spans
    asked: dict[Span, float] = {}

    def score(span: Span) -> float:
        if span not in asked:
            asked[span] = tooth_score(span)
        return asked[span]

    def teeth(way: Way) -> Teeth | None:
        return _teeth(plateaus, way, score, spindle_hz=spindle_hz)

    best, most, heard = now, _MARGIN, teeth(now)
    if heard is not None:
        most += max(heard.contrast(heard_score), 0.0) * now.explained
    for way in rivals:
        even = _evener(plateaus, way, now)
        if way.explained < most and not even:
            continue
        heard = teeth(way)
        if heard is None:
            continue
        contrast = heard.contrast(heard_score)
        if not heard.heard(heard_score):
            # no teeth anywhere: only what parts it far better, or evenly, will do
            rich = way.explained > _RICH and now.explained < _POOR
            if (rich or (even and way.explained > _FAIR)) and way.clearly_louder and best is now:
                best = way
        elif even and contrast >= _EVEN_CONTRAST:
            return way.spans
        elif contrast >= _LEAST_CONTRAST and way.explained * contrast > most:
            best, most = way, way.explained * contrast
    return best.spans


def _way(plateaus: Plateaus, spans: tuple[Span, ...]) -> Way:
    inside = np.zeros(plateaus.time_s.size, bool)
    for span in spans:
        inside |= (plateaus.time_s >= span.start_s) & (plateaus.time_s <= span.end_s)
    parted = explained(plateaus.bands_db, inside)
    if parted < _LEAST_EXPLAINED:
        return Way(spans, inside, parted, (0.0, 0.0))
    return Way(spans, inside, parted, rises_db(plateaus.bands_db, inside))


def _rivals(plateaus: Plateaus, now: Way, spindle_hz: float) -> list[Way]:
    """Ways unlike the present one and each other, those that explain most first."""
    found = []
    for source in (plateaus, *plateaus.others):
        for spans in source.ways(spindle_hz=spindle_hz):
            if not spans:
                continue
            way = _way(plateaus, spans)
            if way.explained < _LEAST_EXPLAINED or _alike(way, now):
                continue
            kinder, other = sorted(way.rises_db, reverse=True)
            if kinder >= _LEAST_RISES_DB[0] and other >= _LEAST_RISES_DB[1]:
                found.append(way)
    found.sort(key=lambda way: -way.explained)
    kept: list[Way] = []
    for way in found:
        if len(kept) < _MOST and not any(_alike(way, one) for one in kept):
            kept.append(way)
    return kept


def _alike(one: Way, other: Way) -> bool:
    if len(one.spans) != len(other.spans):
        return False
    union = np.count_nonzero(one.inside | other.inside)
    return np.count_nonzero(one.inside & other.inside) >= _ALIKE * union


def _teeth(plateaus: Plateaus, way: Way, score: ToothScore, *, spindle_hz: float) -> Teeth | None:
    """Mean tooth scores in the longest passes and in the longest stretches between, with
    probes of one length, for the score grows with it; None where either is too short."""
    edges = [
        float(plateaus.time_s[0]),
        *(e for s in way.spans for e in (s.start_s, s.end_s)),
        float(plateaus.time_s[-1]),
    ]
    between = [Span(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    inside = _longest(list(way.spans), max(0.3, 3.0 / spindle_hz))
    outside = _longest(between, max(0.3, 3.0 / spindle_hz))
    if not inside or not outside:
        return None
    probe = min(inside[0].length_s, outside[0].length_s, 2.0 * max(1.0, 10.0 / spindle_hz))
    return Teeth(
        *(
            max(0.0, float(np.mean([score(_middle(s, probe)) for s in part])))
            for part in (inside, outside)
        )
    )


def _longest(spans: list[Span], shortest_s: float) -> list[Span]:
    usable = [s for s in spans if s.length_s >= shortest_s]
    return sorted(usable, key=lambda s: -s.length_s)[:_PROBES]


def _middle(span: Span, length_s: float) -> Span:
    centre = 0.5 * (span.start_s + span.end_s)
    half = 0.5 * min(length_s, span.length_s)
    return Span(round(centre - half, 2), round(centre + half, 2))


def _evener(plateaus: Plateaus, way: Way, now: Way) -> bool:
    """Whether the passes of a way last equally long, as passes over one piece at one feed
    do, where the present ones do not."""
    if not _evenness(plateaus, way) < _EVEN or way.explained < now.explained - _SLACK:
        return False
    present = _evenness(plateaus, now)
    return len(way.spans) >= _MANY if math.isnan(present) else present > _UNEVEN


def _evenness(plateaus: Plateaus, way: Way) -> float:
    """Scatter of the passes' lengths over their mean, those cut off by the recording's ends
    left out; NaN for fewer than three."""
    first, last = float(plateaus.time_s[0]) + 0.3, float(plateaus.time_s[-1]) - 0.3
    lengths = [s.length_s for s in way.spans if s.start_s > first and s.end_s < last]
    if len(lengths) < _FEWEST:
        return math.nan
    return float(np.std(lengths) / np.mean(lengths))
