"""Decibels of single ratios; what cannot be had stays missing."""

from __future__ import annotations

import math

NAN = float("nan")


def decibels(ratio: float) -> float:
    """Power ratio in decibel; nothing at all is -200."""
    return 10.0 * math.log10(max(ratio, 1e-20))


def nan_decibels(ratio: float) -> float:
    """The same; NaN stays NaN."""
    return decibels(ratio) if ratio == ratio else NAN
