"""Courses over time, besides the level, that part cutting from idling.

A phone's automatic gain lifts the idling until it is as loud as the cut, but it lifts all
bands alike: the shape of the spectrum still changes when the cutter enters.  The course
that shows most of what changes is the leading principal component of the band levels;
once of the levels as they are, once with each moment's own mean taken away, which is free
of gain.
"""

from __future__ import annotations

import numpy as np

_ENOUGH = 4000  # moments that tell the shares of an hour as well as all of them do


def leading_courses(bands_db: np.ndarray) -> tuple[np.ndarray, ...]:
    """Leading component of the band levels, and of their shape, each with both signs.

    Parameters
    ----------
    bands_db : ndarray, shape (bands, n)
        Band levels over time.

    Returns
    -------
    tuple of ndarray, shape (n,)
        In dB, root mean square over the bands, about the recording's mean.
    """
    courses = []
    for part in (_centred(bands_db), _shape(bands_db)):
        _, vectors = np.linalg.eigh(part @ part.T)
        course = vectors[:, -1] @ part / np.sqrt(part.shape[0])
        courses += [course, -course]
    return tuple(courses)


def explained(bands_db: np.ndarray, inside: np.ndarray) -> float:
    """Share of all change over time that a split into two kinds of stretches explains.

    The mean of two shares: of the band levels, and of their shape.  A sound that comes and
    goes in a few bands or for a moment explains little of either.

    Parameters
    ----------
    bands_db : ndarray, shape (bands, n)
    inside : ndarray, shape (n,), bool
    """
    bands_db, inside = _thinned(bands_db, inside)
    part = float(inside.mean())
    if part in (0.0, 1.0):
        return 0.0
    shares = []
    for values in (_centred(bands_db), _shape(bands_db)):
        step = values[:, inside].mean(axis=1) / (1.0 - part)  # the mean of all is zero
        total = max(float(np.mean(values**2, axis=1).sum()), 1e-12)
        shares.append(part * (1.0 - part) * float(step @ step) / total)
    return float(np.mean(shares))


def rises_db(bands_db: np.ndarray, inside: np.ndarray) -> tuple[float, float]:
    """How much louder the inside is than the outside [dB]: in the middlemost band, and in
    all power together; zeros where there is no outside."""
    bands_db, inside = _thinned(bands_db, inside)
    if inside.all() or not inside.any():
        return 0.0, 0.0
    bands = bands_db[:, inside].mean(axis=1) - bands_db[:, ~inside].mean(axis=1)
    total = 10.0 * np.log10(np.mean(10.0 ** (bands_db / 10.0), axis=0))
    return float(np.median(bands)), float(total[inside].mean() - total[~inside].mean())


def _thinned(bands_db: np.ndarray, inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    step = max(1, inside.size // _ENOUGH)
    return bands_db[:, ::step], inside[::step]


def _centred(values: np.ndarray) -> np.ndarray:
    return values - values.mean(axis=1, keepdims=True)


def _shape(bands_db: np.ndarray) -> np.ndarray:
    values = _centred(bands_db)
    return values - values.mean(axis=0)
