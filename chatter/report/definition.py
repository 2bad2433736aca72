"""What a verdict means rules out as a sign of it: such evidence is never listed as one.

The fit may find that a measure goes along with a cause in some company of others, though by itself
it says the opposite: noise that swells at every tooth is no sign of sides that rub.  What the fit
counted is still told, in these words, and behind what can be understood as a sign.
"""

from __future__ import annotations

import re

from chatter.findings import Evidence
from chatter.report.words import verdict_name

#: Verdict -> what a sentence may not say and be a sign of it.  See "What the verdicts mean" in the
#: README: hiss that swells once a turn rather than with each tooth; a tone between the multiples of
#: tooth passing; strokes that rise and fall every turn; what is there while idling too.
_AGAINST = {
    "side_rubbing": r"at every tooth|with each tooth|with the teeth|teeth shape|strokes",
    "chatter": r"repeats? (itself )?turn after turn|sits on a multiple of (tooth|the mains)|"
    r"is there while idling|teeth's own lines are",
    "uneven_teeth": r"the sides make it|the turn shapes the noise",
    "normal": r"chatter family|throws the teeth out|feeds itself|the sides make it",
    "machine_only": r"the cut makes (it|them)|teeth are heard clearly",
}
#: A sentence that denies the thing.
_DENIED = re.compile(r"\b(not|no|hardly|nothing|never)\b", re.IGNORECASE)


def contradicts(cause: str, sentence: str) -> bool:
    """Whether what a piece of evidence says is the opposite of what the verdict means.

    Examples
    --------
    >>> contradicts("side_rubbing", "The noise swells at every tooth, 12 dB above chance.")
    True
    >>> contradicts("side_rubbing", "The noise does not swell with the teeth (2 dB).")
    False
    """
    said = re.search(_AGAINST[cause], sentence, re.IGNORECASE) if cause in _AGAINST else None
    return said is not None and not _DENIED.search(sentence)


def listed_oddly(piece: Evidence) -> bool:
    """Whether a piece counted for a cause that it contradicts."""
    return (
        piece.weight > 0
        and piece.speaks_for is not None
        and contradicts(piece.speaks_for, piece.sentence)
    )


def speaks(piece: Evidence) -> str:
    """What a piece of evidence speaks for, in words; "" when for nothing."""
    if piece.speaks_for is None or not piece.weight:
        return ""
    name = verdict_name(piece.speaks_for).lower()
    if listed_oddly(piece):
        return f"no sign of {name} by itself; counted in company of others"
    return f"{'for' if piece.weight > 0 else 'against'} {name}"
