"""How one run of the page is set up."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from chatter.page.limits import PageLimits

DEFAULT_PORT = 8137


@dataclass(frozen=True)
class Settings:
    """Where the page keeps things, and to whom it is open.

    Attributes
    ----------
    data : Path
        The data folder: nothing outside it is written, and only the book may lie elsewhere.
    book : Path
        The logbook.
    port : int
    lan : bool
        Open to the shop's network; every request then needs a key.
    untaught : bool
        Leave out what the logbook has learned from labels and idle recordings.
    limits : PageLimits
    certificate : Path or None
        Certificate and key of an encrypted line, in one file.
    """

    data: Path
    book: Path
    port: int = DEFAULT_PORT
    lan: bool = False
    untaught: bool = False
    limits: PageLimits = field(default_factory=PageLimits)
    certificate: Path | None = None
