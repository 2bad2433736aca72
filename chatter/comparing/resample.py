"""Block bootstrap over rows of whole revolutions.

Neighbouring revolutions are alike (the speed wanders, the grain of the work changes), so
blocks of several are drawn together, on a circle (D. N. Politis, J. P. Romano, "A circular
block-resampling procedure for stationary data", 1992; from memory).
"""

from __future__ import annotations

import numpy as np

#: Rows drawn together: at least this many, and more in long takes, as the cube root of the
#: number of rows (the rate at which the best length grows for a mean; from memory).
LEAST_BLOCK = 2


def block_length(rows: int) -> int:
    """Rows drawn together."""
    return int(min(max(LEAST_BLOCK, round(rows ** (1.0 / 3.0))), max(1, rows // 2)))


def block_weights(
    rows: int, draws: int, rng: np.random.Generator, *, length: int | None = None
) -> np.ndarray:
    """How much each row counts in each drawing.

    Parameters
    ----------
    rows, draws : int
    rng : Generator
    length : int, optional
        Rows in a block; :func:`block_length` if left out.

    Returns
    -------
    ndarray, shape (draws + 1, rows)
        Lines sum to one; the first has equal weights, the data as they are.
    """
    length = block_length(rows) if length is None else length
    blocks = -(-rows // length)
    starts = rng.integers(0, rows, (draws, blocks))
    drawn = (starts[:, :, None] + np.arange(length)) % rows
    drawn = drawn.reshape(draws, -1)[:, :rows]
    counts = np.zeros((draws, rows))
    np.add.at(counts, (np.arange(draws)[:, None], drawn), 1.0)
    return np.vstack([np.ones(rows), counts]) / rows
