"""Where a logbook lies, and what lies beside it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

#: Names a book for the whole session, where ``--book`` does not.
VARIABLE = "CHATTER_BOOK"


@dataclass(frozen=True)
class Places:
    """A book and the folders beside it, named after it."""

    book: Path

    @property
    def files(self) -> Path:
        """Kept recordings and photographs."""
        return self.book.with_name(f"{self.book.stem}.files")

    @property
    def backups(self) -> Path:
        """Copies of the book from before each change of its form."""
        return self.book.with_name(f"{self.book.stem}.backups")


def places(path: str | Path | None = None) -> Places:
    """The book at ``path``; without one that of CHATTER_BOOK, else the user's own."""
    stated = path if path is not None else os.environ.get(VARIABLE) or None
    if stated is not None:
        return Places(Path(stated).expanduser().absolute())
    from platformdirs import user_data_path

    return Places(user_data_path("chatter", appauthor=False) / "logbook.db")
