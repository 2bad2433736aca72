"""Names of files that are made from the names of recordings."""

from __future__ import annotations

import re
from pathlib import Path


def safe_stem(name: str) -> str:
    """A file name without its ending, and without what file systems or shells dislike."""
    stem = re.sub(r"[^\w.+-]+", "-", Path(name).stem, flags=re.UNICODE).strip("-.")
    return stem[:80] or "recording"
