"""Which segments are cuts, and the passes they make up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chatter.listening.observation import Observation
from chatter.listening.spans import Span
from chatter.listening.together import together_cases
from chatter.listening.trees import Forest, forest, probability_of

#: A rest this short between two cuts is part of the pass: seconds, or turns if longer (a saw
#: may touch with a few teeth only).
_GAP_S, _GAP_TURNS = 0.4, 1.3
#: What lies between two cuts is part of the pass from this probability on.
_BETWEEN = 0.4
#: What is shorter is no pass: turns, within these seconds.
_LEAST_TURNS, _LEAST_S = 2.0, (0.3, 1.5)


@dataclass(frozen=True)
class FoundCut:
    """A pass: its stretch, and the numbers of the segments it is made of."""

    span: Span
    segments: tuple[int, ...]


def cutting_probability(
    observation: Observation, models: Callable[[str], Forest] = forest
) -> np.ndarray:
    """Probability that each segment is a cut, shape (segments,): first each by itself, then
    held against the others.  ``models`` gives the models by name."""
    cases = segment_cases(observation.segments)
    alone = models("segment").log_odds(cases)
    return probability_of(models("together").log_odds(together_cases(observation, cases, alone)))


def segment_cases(segments: tuple[dict[str, float], ...]) -> list[dict[str, float]]:
    """What the model of segments is asked about: each segment's measures, its combs against
    the recording's best and against its neighbours'."""
    cases = []
    for i, own in enumerate(segments):
        case = dict(own)
        for kind in ("envelope", "sound"):
            case[f"comb_{kind}_rel_z"] = own[f"comb_{kind}_z"] - own[f"comb_{kind}_best_z"]
            for name, j in (("before", i - 1), ("after", i + 1)):
                if 0 <= j < len(segments):
                    beside = segments[j][f"comb_{kind}_z"]
                    case[f"{name}_comb_{kind}_z"] = own[f"comb_{kind}_z"] - beside
        cases.append(case)
    return cases


def find_cuts(
    spans: tuple[Span, ...], probability: np.ndarray, *, turn_s: float
) -> tuple[FoundCut, ...]:
    """The passes of a recording; none where no segment is likelier a cut than not.

    Parameters
    ----------
    spans : tuple of Span
        The segments.
    probability : ndarray, shape (segments,)
        Of each being a cut.
    turn_s : float
        Time of one turn.
    """
    gap = max(_GAP_S, _GAP_TURNS * turn_s)
    least = float(np.clip(_LEAST_TURNS * turn_s, *_LEAST_S))
    cuts = [i for i in range(len(spans)) if probability[i] >= 0.5]
    groups: list[list[int]] = []
    for i in cuts:
        last = groups[-1][-1] if groups else i
        near = spans[i].start_s - spans[last].end_s < gap
        between = probability[last + 1 : i]
        if groups and (near or (between.size and between.min() >= _BETWEEN)):
            groups[-1].extend(range(last + 1, i + 1))
        else:
            groups.append([i])
    passes = [FoundCut(Span(spans[g[0]].start_s, spans[g[-1]].end_s), tuple(g)) for g in groups]
    return tuple(one for one in passes if one.span.length_s >= least)
