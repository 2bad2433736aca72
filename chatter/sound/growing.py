"""Arrays that grow at their end: many small blocks kept without an object for each."""

from __future__ import annotations

import numpy as np


class Growing:
    """An array that grows along its first axis."""

    def __init__(self, dtype: type, width: int | None = None) -> None:
        """Start with nothing.

        Parameters
        ----------
        dtype : type
            Of the numbers.
        width : int, optional
            Numbers in a row; a plain row of numbers without.
        """
        self._row = () if width is None else (width,)
        self._kept = np.empty((1024, *self._row), dtype)
        self._n = 0

    def add(self, block: np.ndarray) -> None:
        """Append a block, shape (n,) or (n, width)."""
        stop = self._n + len(block)
        if stop > len(self._kept):
            larger = np.empty((max(stop, len(self._kept) * 3 // 2), *self._row), self._kept.dtype)
            larger[: self._n] = self._kept[: self._n]
            self._kept = larger
        self._kept[self._n : stop] = block
        self._n = stop

    def all(self) -> np.ndarray:
        """What was added so far; not to be added to while it is in use."""
        return self._kept[: self._n]
