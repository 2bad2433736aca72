"""A palette whose steps look equally large: dark slate, through green, to pale yellow.

Lightness rises evenly in the OKLab colour space, so that equal steps in level look like
equal steps in brightness, also in a black-and-white print and to colour-blind eyes.
The conversion matrices are those published with OKLab (B. Ottosson, 2020).
"""

from __future__ import annotations

import numpy as np

_TO_LMS = np.array(
    [
        [1.0, 0.3963377774, 0.2158037573],
        [1.0, -0.1055613458, -0.0638541728],
        [1.0, -0.0894841775, -1.2914855480],
    ]
)
_TO_RGB = np.array(
    [
        [4.0767416621, -3.3077115913, 0.2309699292],
        [-1.2684380046, 2.6097574011, -0.3413193965],
        [-0.0041960863, -0.7034186147, 1.7076147010],
    ]
)


def palette(steps: int = 256) -> np.ndarray:
    """The palette, dark to light.

    Parameters
    ----------
    steps : int
        Number of colours.

    Returns
    -------
    ndarray of uint8, shape (steps, 3)
        sRGB.
    """
    at = np.linspace(0, 1, steps)
    light = 0.17 + 0.79 * at
    chroma = 0.035 + 0.10 * np.sin(np.pi * at**0.9) ** 0.8
    hue = np.deg2rad(255 - 155 * at)
    lab = np.stack([light, chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)
    linear = np.clip((lab @ _TO_LMS.T) ** 3 @ _TO_RGB.T, 0, 1)
    srgb = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.round(255 * srgb).astype(np.uint8)


def as_hex(colours: np.ndarray) -> list[str]:
    """Colours as CSS text."""
    return ["#" + "".join(f"{v:02x}" for v in row) for row in colours]
