"""Pictures that may fail without taking the answer with them."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import ParamSpec, TypeVar

Drawn = TypeVar("Drawn")
P = ParamSpec("P")


class Drawing:
    """Draws one picture after the other and remembers those that could not be drawn.

    A picture is made from numbers that nobody foresaw, by libraries with faults of their own;
    the verdict beside it stands without it.

    Attributes
    ----------
    lacking : list of str
        What could not be drawn, in words.
    """

    def __init__(self) -> None:
        """Nothing is lacking yet."""
        self.lacking: list[str] = []

    def of(
        self, what: str, draw: Callable[P, Drawn], *given: P.args, **more: P.kwargs
    ) -> Drawn | None:
        """What ``draw(*given, **more)`` gives; None when it fails.

        With CHATTER_DEBUG=1 the failure is raised, to be looked into.
        """
        try:
            return draw(*given, **more)
        except Exception:
            if os.environ.get("CHATTER_DEBUG") == "1":
                raise
            if what not in self.lacking:
                self.lacking.append(what)
            return None

    @property
    def note(self) -> str:
        """One sentence on what is lacking; empty when nothing is."""
        if not self.lacking:
            return ""
        return (
            f"Could not be drawn: {', '.join(self.lacking)}. The answer does not depend on it; run "
            "again with CHATTER_DEBUG=1 set and report what it prints."
        )
