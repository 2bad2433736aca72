"""The pieces of evidence: each measure made comparable and put into shop English.

A piece turns one measure into a score: 0 is neutral, +1 about as strong as it gets, and
it never leaves the range given, so that no single piece can decide alone.  What a score
is worth towards each cause stands in ``model.json`` beside ``verdict.py``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Piece:
    """One piece of evidence.

    Attributes
    ----------
    name : str
        Key in the model and in the findings.
    title : str
    unit : str
    centre, scale, low, high : float
        score = clip((value - centre) / scale, low, high); NaN scores 0.
    expected : str
        What a normal cut or chance gives.
    says : callable
        Shop English for a value.
    measure : str
        Which measure it reads (by default its own name).
    """

    name: str
    title: str
    unit: str
    centre: float
    scale: float
    low: float
    high: float
    expected: str
    says: Callable[[float], str]
    measure: str = ""

    def value(self, measures: dict[str, float]) -> float:
        """The measure this piece reads; NaN when there is none."""
        return measures.get(self.measure or self.name, math.nan)

    def score(self, measures: dict[str, float]) -> float:
        """Bounded score of the measure."""
        value = self.value(measures)
        if math.isnan(value):
            return 0.0
        return min(max((value - self.centre) / self.scale, self.low), self.high)


def _more(limit: float, yes: str, no: str) -> Callable[[float], str]:
    """Sentence for values above the limit, another for those below."""
    return lambda v: (yes if v > limit else no).format(v=v)


PIECES: tuple[Piece, ...] = (
    Piece(
        "speed_z",
        "Tooth comb",
        "sigma",
        9.0,
        12.0,
        -1.0,
        1.5,
        "under 9 when no teeth are heard",
        _more(
            9,
            "The teeth are heard clearly: their comb stands {v:.0f} sigma above chance.",
            "The teeth are hardly heard: their comb stands only {v:.1f} sigma above chance.",
        ),
    ),
    Piece(
        "tooth_z",
        "Swelling with the teeth",
        "dB",
        14.0,
        12.0,
        -1.0,
        1.5,
        "about 5 dB by chance",
        _more(
            14,
            "The noise swells at every tooth, {v:.0f} dB above chance.",
            "The noise does not swell with the teeth ({v:.0f} dB, chance gives 5).",
        ),
    ),
    Piece(
        "contrast_db",
        "Louder than the rest",
        "dB",
        6.0,
        10.0,
        -1.0,
        1.0,
        "0 dB when nothing is cut",
        _more(
            4,
            "This stretch is {v:.0f} dB louder than the rest of the recording.",
            "This stretch is hardly louder than the rest of the recording ({v:.0f} dB).",
        ),
    ),
    Piece(
        "prominence_db",
        "Strongest free tone",
        "dB",
        14.0,
        12.0,
        -1.0,
        1.5,
        "under 10 dB in a normal cut",
        _more(
            12,
            "One tone stands {v:.0f} dB above the noise around it.",
            "No tone stands out of the noise by more than {v:.0f} dB.",
        ),
    ),
    Piece(
        "dominance_db",
        "Tone against the teeth",
        "dB",
        0.0,
        14.0,
        -1.5,
        1.5,
        "below 0 dB when the teeth make the sound",
        _more(
            0,
            "That tone is {v:.0f} dB stronger than the teeth's own lines beside it.",
            "The teeth's own lines are {v:.0f} dB stronger than that tone.".replace("{v", "{v"),
        ),
    ),
    Piece(
        "share_db",
        "Tone's share of the sound",
        "dB",
        -12.0,
        10.0,
        -1.5,
        1.0,
        "under -15 dB in a normal cut",
        _more(
            -12,
            "Tone and family carry a good part of all the sound ({v:.0f} dB of it).",
            "The tone is a small part of the sound ({v:.0f} dB of it).",
        ),
    ),
    Piece(
        "flicker_db",
        "Steadiness of the tone",
        "dB",
        3.2,
        1.6,
        -1.2,
        1.2,
        "4 to 6 dB for a resonance that noise excites, 1 to 2 for a steady vibration",
        _more(
            3.2,
            "The tone flickers by {v:.1f} dB, as a struck or noisy resonance does.",
            "The tone is steady ({v:.1f} dB), as a vibration that feeds itself is.",
        ),
    ),
    Piece(
        "freedom",
        "Off the teeth's comb",
        "log odds",
        0.5,
        3.0,
        -1.5,
        1.5,
        "below 0 when the tone sits on a multiple of tooth passing",
        _more(
            0,
            "The tone sits between the multiples of tooth passing (log odds {v:.1f}).",
            "The tone sits on a multiple of tooth passing or turn (log odds {v:.1f}).",
        ),
    ),
    Piece(
        "family_db",
        "Family spaced by tooth passing",
        "dB",
        4.0,
        6.0,
        -0.7,
        1.5,
        "under 3 dB by chance",
        _more(
            4,
            "Lines one and two tooth-passings either side stand {v:.0f} dB out: a chatter family.",
            "No family of lines around the tone ({v:.0f} dB).",
        ),
    ),
    Piece(
        "tone_rise_db",
        "Tone against idling",
        "dB",
        10.0,
        10.0,
        -1.0,
        1.2,
        "0 dB when the machine makes it without cutting",
        _more(
            8,
            "The tone is {v:.0f} dB louder than while idling: the cut makes it.",
            "The tone is there while idling too (only {v:.0f} dB louder in the cut).",
        ),
    ),
    Piece(
        "onset_rise_db",
        "Onset in the pass",
        "dB",
        6.0,
        10.0,
        -0.3,
        1.2,
        "no onset in a normal cut",
        _more(
            6,
            "The tone starts inside the pass and rises by {v:.0f} dB.",
            "The tone does not start inside the pass ({v:.0f} dB).",
        ),
    ),
    Piece(
        "tone_time_share",
        "How long the tone stands",
        "of the pass",
        0.3,
        0.4,
        -0.7,
        1.0,
        "short flashes in a normal cut",
        lambda v: f"The tone stands out in {100 * v:.0f} % of the pass.",
    ),
    Piece(
        "half_order",
        "Half tooth orders",
        "",
        0.5,
        0.5,
        -1.0,
        1.0,
        "by chance one tone in ten",
        _more(
            0.5,
            "The tone sits on an odd multiple of half the tooth-passing frequency, where "
            "period-doubling chatter sits (and, with an even tooth count, runout too).",
            "The tone is not on a half tooth order.",
        ),
    ),
    Piece(
        "hump_prominence_db",
        "Strongest hump",
        "dB",
        17.0,
        9.0,
        -1.2,
        1.5,
        "under 15 dB in a normal cut",
        _more(
            17,
            "The sound piles up around one frequency, {v:.0f} dB above its wider surroundings.",
            "No frequency stands far out of its wider surroundings ({v:.0f} dB).",
        ),
    ),
    Piece(
        "hump_share_db",
        "Hump's share of the cut's sound",
        "dB",
        -7.0,
        6.0,
        -1.2,
        1.1,
        "under -8 dB in a normal cut",
        _more(
            -6,
            "That pile-up is most of the sound of the cut ({v:.0f} dB of it).",
            "That pile-up is a small part of the sound of the cut ({v:.0f} dB of it).",
        ),
    ),
    Piece(
        "hump_free_db",
        "Hump off the teeth",
        "dB",
        -6.0,
        6.0,
        -1.2,
        1.0,
        "0 dB when nothing in it is locked to the teeth",
        _more(
            -3,
            "The pile-up is not on the teeth's lines ({v:.0f} dB).",
            "The pile-up is mostly the teeth's own lines ({v:.0f} dB).",
        ),
    ),
    Piece(
        "hump_sharpness",
        "Sharpness of the hump",
        "",
        25.0,
        14.0,
        -1.2,
        1.2,
        "10 to 40: as damped as the structure",
        lambda v: f"The pile-up is {v:.0f} times narrower than its frequency.",
    ),
    Piece(
        "hump_rise_db",
        "Hump against idling",
        "dB",
        20.0,
        15.0,
        -1.2,
        1.2,
        "as much as the rest of the cut rises",
        lambda v: f"The pile-up is {v:.0f} dB louder than while idling.",
    ),
    Piece(
        "hump_onset_db",
        "Unsteadiness of the hump",
        "dB",
        10.0,
        8.0,
        -1.0,
        1.5,
        "under 8 dB in a steady cut",
        lambda v: f"The pile-up varies by {v:.0f} dB over the pass.",
    ),
    Piece(
        "fold_tone_z",
        "Family, folded",
        "sigma",
        3.0,
        4.0,
        -1.0,
        1.5,
        "within 2 by chance",
        lambda v: f"Folded at tooth passing, the tone's family stands {v:.1f} sigma out.",
    ),
    Piece(
        "fold_free_z",
        "Strongest free family, folded",
        "sigma",
        3.0,
        4.0,
        -1.0,
        1.5,
        "about 2 by chance",
        lambda v: f"Folded at tooth passing, the strongest free family stands {v:.1f} sigma out.",
    ),
    Piece(
        "fold_half_z",
        "Half tooth orders, folded",
        "sigma",
        3.0,
        4.0,
        -1.0,
        1.5,
        "within 2 by chance",
        lambda v: f"Folded at tooth passing, the half orders stand {v:.1f} sigma out.",
    ),
    Piece(
        "fold_tooth_z",
        "Tooth orders, folded",
        "sigma",
        4.0,
        6.0,
        -1.0,
        1.5,
        "over 5 when teeth are loud",
        lambda v: f"Folded at tooth passing, the tooth orders stand {v:.1f} sigma out.",
    ),
    Piece(
        "mains_line",
        "On a mains multiple",
        "",
        0.5,
        0.5,
        -0.1,
        1.0,
        "mains hum sits on multiples of 50 or 60 Hz",
        _more(
            0.5, "The tone sits on a multiple of the mains frequency.", "The tone is not mains hum."
        ),
    ),
    Piece(
        "turn_z",
        "Turn comb",
        "sigma",
        9.0,
        12.0,
        -0.8,
        1.5,
        "under 9 with an even cutter and no rubbing",
        _more(
            9,
            "The turn is heard clearly in the hiss: {v:.0f} sigma above chance.",
            "The turn is hardly heard in the hiss ({v:.0f} sigma).",
        ),
    ),
    Piece(
        "turn_high_db",
        "Swelling once a turn, 1 kHz up",
        "dB",
        -14.0,
        8.0,
        -1.2,
        1.5,
        "under -18 dB with an even cutter",
        _more(
            -14,
            "The hiss above 1 kHz swells once a turn (depth {v:.0f} dB).",
            "The hiss above 1 kHz hardly swells with the turn (depth {v:.0f} dB).",
        ),
    ),
    Piece(
        "turn_high_z",
        "Certainty of that",
        "dB",
        14.0,
        12.0,
        -1.0,
        1.5,
        "about 5 dB by chance",
        lambda v: f"Once-a-turn swelling stands {v:.0f} dB above chance.",
    ),
    Piece(
        "turn_over_tooth_db",
        "Turn against teeth, 1 kHz up",
        "dB",
        0.0,
        9.0,
        -1.5,
        1.5,
        "below -3 dB when the teeth do the cutting",
        _more(
            0,
            "Above 1 kHz the turn shapes the noise {v:.0f} dB more than the teeth do.",
            "Above 1 kHz the teeth shape the noise, not the turn ({v:.0f} dB).",
        ),
    ),
    Piece(
        "tooth_high_db",
        "Swelling with the teeth, 1 kHz up",
        "dB",
        -12.0,
        8.0,
        -1.5,
        1.2,
        "-15 to 0 dB in a normal cut",
        lambda v: f"Above 1 kHz the noise swells with each tooth to a depth of {v:.0f} dB.",
    ),
    Piece(
        "side_high_db",
        "Teeth waxing with the turn",
        "dB",
        -14.0,
        8.0,
        -1.2,
        1.3,
        "under -15 dB with an even cutter",
        lambda v: f"The teeth's strokes wax and wane over the turn to a depth of {v:.0f} dB.",
    ),
    Piece(
        "turn_low_db",
        "Swelling once a turn, under 1 kHz",
        "dB",
        -16.0,
        9.0,
        -1.2,
        1.5,
        "under -20 dB with an even cutter",
        lambda v: f"Below 1 kHz the sound swells once a turn to a depth of {v:.0f} dB.",
    ),
    Piece(
        "turn_slope_db",
        "Once-a-turn swelling, high against low",
        "dB",
        2.0,
        8.0,
        -1.4,
        1.4,
        "near 0 dB when uneven teeth make it",
        _more(
            2,
            "The once-a-turn swelling is {v:.0f} dB deeper above 1 kHz than below: the sides "
            "make it rather than the teeth.",
            "The once-a-turn swelling is no deeper above 1 kHz than below ({v:.0f} dB).",
        ),
    ),
    Piece(
        "side_low_db",
        "Teeth waxing with the turn, under 1 kHz",
        "dB",
        -16.0,
        8.0,
        -1.2,
        1.3,
        "under -20 dB with an even cutter",
        lambda v: f"Below 1 kHz the strokes wax and wane over the turn to {v:.0f} dB.",
    ),
    Piece(
        "tooth_low_db",
        "Swelling with the teeth, under 1 kHz",
        "dB",
        -14.0,
        9.0,
        -1.5,
        1.3,
        "-20 to 0 dB in a normal cut",
        lambda v: f"Below 1 kHz the sound swells with each tooth to a depth of {v:.0f} dB.",
    ),
    Piece(
        "sync_share",
        "Repeats every turn",
        "of the swelling",
        0.2,
        0.25,
        -0.8,
        1.5,
        "0 by chance",
        lambda v: f"{100 * v:.0f} % of the swelling repeats turn after turn.",
    ),
    Piece(
        "squeal_db",
        "Squeal",
        "dB",
        16.0,
        12.0,
        -0.5,
        1.3,
        "none in a normal cut",
        _more(
            12,
            "A narrow tone above 1 kHz, not of the teeth, stands {v:.0f} dB out.",
            "No squeal ({v:.0f} dB).",
        ),
    ),
    Piece(
        "teeth_spread",
        "Scatter from tooth to tooth",
        "of the mean",
        0.12,
        0.12,
        -1.0,
        1.8,
        "under 0.1 with an even cutter",
        _more(
            0.12,
            "The teeth differ by {v:.2f} of their mean strength, the same ones every turn.",
            "The teeth are alike: they differ by {v:.2f} of their mean strength.",
        ),
    ),
    Piece(
        "teeth_f_db",
        "Certainty of the tooth map",
        "dB",
        8.0,
        10.0,
        -0.8,
        1.5,
        "about 0 dB by chance",
        lambda v: f"The differences between teeth stand {v:.0f} dB above their own scatter.",
    ),
    Piece(
        "teeth_top_db",
        "Loudest tooth",
        "dB",
        2.0,
        2.0,
        -0.8,
        1.5,
        "under 1.5 dB with an even cutter",
        _more(
            2,
            "The loudest tooth is {v:.1f} dB above the mean of all.",
            "No tooth is much louder than the others ({v:.1f} dB).",
        ),
    ),
    Piece(
        "revolution_share_db",
        "Revolution orders against tooth orders",
        "dB",
        -12.0,
        10.0,
        -1.0,
        1.5,
        "under -15 dB with an even cutter",
        _more(
            -12,
            "Revolution orders between the tooth orders are only {v:.0f} dB down.",
            "Revolution orders between the tooth orders are weak ({v:.0f} dB).",
        ),
    ),
    Piece(
        "comb_share",
        "Share of the sound on tooth orders",
        "",
        0.3,
        0.3,
        -1.0,
        1.5,
        "a third or more when teeth are loud",
        lambda v: f"{100 * v:.0f} % of the sound sits on multiples of tooth passing.",
    ),
    Piece(
        "prior_form",
        "Cutter and chip load as stated",
        "",
        0.0,
        1.0,
        -1.0,
        1.0,
        "0 when nothing is stated",
        _more(
            0.2,
            "A disc cutter without side relief, or a chip load below the range, invites rubbing.",
            "Nothing stated about the cutter invites rubbing.",
        ),
    ),
)
