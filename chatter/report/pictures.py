"""Pixel pictures of the report, as data URIs: spectrogram and modulation map."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass

import numpy as np

from chatter.listening.exhibits import ModulationMap, Overview
from chatter.report.palette import palette

#: Largest picture; a laptop screen shows no more.
COLUMNS, ROWS = 1600, 420


@dataclass(frozen=True)
class Picture:
    """A picture with the values of its darkest and lightest colour."""

    uri: str
    low: float
    high: float


def spectrogram(overview: Overview) -> Picture:
    """The whole recording, low pitches at the bottom.

    Returns
    -------
    Picture
        WebP; ``low`` and ``high`` in dB re full scale.
    """
    pixels, low, high = spectrogram_pixels(overview, columns=COLUMNS, rows=ROWS)
    return Picture(_encode(pixels, "WEBP", quality=72, method=3), low, high)


def spectrogram_pixels(
    overview: Overview, *, columns: int, rows: int
) -> tuple[np.ndarray, float, float]:
    """The spectrogram in colour, at most ``columns`` wide and ``rows`` high.

    The darkest colour is the middle of the noise, the lightest the loudest two hundredth;
    the range is kept between 25 and 60 dB.

    Returns
    -------
    (ndarray of uint8, shape (rows, columns, 3), float, float)
        Low pitches at the bottom; darkest and lightest level [dB re full scale].
    """
    level = _fewer(_fewer(np.asarray(overview.level_db, dtype=np.float32), columns, 1), rows, 0)
    finite = level[np.isfinite(level)]
    if finite.size == 0:
        finite = np.zeros(1, dtype=np.float32)
    low, high = (
        float(v) for v in np.quantile(finite[:: max(1, finite.size // 200_000)], (0.3, 0.995))
    )
    high = max(high, low + 25)
    low = max(low, high - 60)
    level = np.nan_to_num(level, nan=low, neginf=low, posinf=high)
    return _colour(level[::-1], low, high), low, high


def modulation(swelling: ModulationMap, order_edges: np.ndarray) -> Picture:
    """The modulation map on the given order axis, the strongest cell within each column.

    Parameters
    ----------
    swelling : ModulationMap
    order_edges : ndarray, shape (columns + 1,)
        Edges of the picture's columns, in turns.

    Returns
    -------
    Picture
        Lossless WebP, one pixel per carrier band and column; cells that chance explains
        are dark.  ``low`` is 0, ``high`` the depth of the lightest colour.
    """
    depth = np.nan_to_num(np.asarray(swelling.depth, dtype=np.float32))
    order = np.asarray(swelling.modulation_order)
    high = float(max(depth.max(initial=0.0), 2 * swelling.significant_depth, 0.05))
    first = np.clip(np.searchsorted(order, order_edges[:-1]), 0, order.size - 1)
    last = np.clip(np.searchsorted(order, order_edges[1:]), 0, order.size)
    drawn = np.empty((depth.shape[0], first.size), dtype=np.float32)
    for column, (a, b) in enumerate(zip(first, last, strict=True)):
        if b <= a:  # between two samples: take the nearer one
            middle = (order_edges[column] + order_edges[column + 1]) / 2
            a = int(np.argmin(np.abs(order - middle)))
            b = a + 1
        drawn[:, column] = depth[:, a:b].max(axis=1)
    padded = np.pad(drawn, ((0, 0), (1, 1)), mode="edge")  # a narrow ridge stays visible
    drawn = np.maximum(drawn, np.maximum(padded[:, :-2], padded[:, 2:]))
    drawn = np.where(drawn < swelling.significant_depth, 0.35 * drawn, drawn)
    image = _colour(drawn[::-1] ** 0.7, 0.0, high**0.7)
    return Picture(_encode(image, "WEBP", lossless=True, method=3), 0.0, high)


def _fewer(level: np.ndarray, most: int, axis: int) -> np.ndarray:
    """At most ``most`` cells along an axis, the maximum within each."""
    have = level.shape[axis]
    if have <= most:
        return level
    return np.maximum.reduceat(level, np.linspace(0, have, most, endpoint=False).astype(int), axis)


def _colour(level: np.ndarray, low: float, high: float) -> np.ndarray:
    index = np.clip((level - low) / (high - low), 0, 1) * 255
    return palette()[index.astype(np.uint8)]


def _encode(pixels: np.ndarray, kind: str, **settings: object) -> str:
    from PIL import Image

    encoded = io.BytesIO()
    Image.fromarray(pixels).save(encoded, kind, **settings)
    return f"data:image/{kind.lower()};base64," + base64.b64encode(encoded.getvalue()).decode()
