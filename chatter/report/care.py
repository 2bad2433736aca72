"""Which two of the cautions fit this cut best: the first that always holds, and its own danger."""

from __future__ import annotations

from collections.abc import Iterable

#: What makes a caution belong to one cut, the gravest danger first.
_GRAVEST = ("backlash", "direction", "marked_speed", "form", "reground", "material")


def two_that_fit(cautions: Iterable[str]) -> tuple[str, ...]:
    """The two cautions to show where there is no room for all.

    Parameters
    ----------
    cautions : iterable of str
        As in ``Findings.cautions``.

    Returns
    -------
    tuple of str
        The first that always holds, and the gravest that was chosen for this very cut; the
        second that always holds where none was.
    """
    given = list(cautions)
    always = [one for one in given if _rank(one) is None]
    ranked = ((rank, one) for one in given if (rank := _rank(one)) is not None)
    own = [one for _, one in sorted(ranked, key=lambda each: each[0])]
    guards = [one for one in always[1:] if "guards" in one] or always[1:]
    return tuple((always[:1] + own[:1] + guards)[:2])


def on_terminal(cautions: Iterable[str], where: str) -> list[str]:
    """The two that fit, and in brackets where the rest stand.

    Parameters
    ----------
    cautions : iterable of str
    where : str
        "in the report and with --cautions".
    """
    given = list(cautions)
    fitting = list(two_that_fit(given))
    left = len(given) - len(fitting)
    return [*fitting, f"({left} more {where})"] if left else fitting


def _rank(caution: str) -> int | None:
    """Place of a caution's gravest condition; None when it always holds."""
    from chatter.trade.cautions import caution_table

    for row in caution_table():
        if caution.startswith(row["text"].partition("{")[0]):
            ranks = [at for at, name in enumerate(_GRAVEST) if name in row]
            return min(ranks, default=None)
    return None
