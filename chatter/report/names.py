"""Names of files that are made from the names of recordings."""

from __future__ import annotations

import re
from pathlib import Path

#: Names that no file on Windows can have, whatever its ending.
_DEVICES = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{kind}{n}" for kind in ("com", "lpt") for n in range(10)),
}


def safe_stem(name: str) -> str:
    """A file name without its ending, and without what file systems or shells dislike."""
    stem = re.sub(r"[^\w.+-]+", "-", Path(name).stem, flags=re.UNICODE).strip("-.")[:80]
    if stem.partition(".")[0].lower() in _DEVICES:
        return f"{stem}-"
    return stem or "recording"
