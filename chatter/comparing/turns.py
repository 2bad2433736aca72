"""Turn by turn: what swells with the turn and with the teeth, one row for each whole revolution.

All later figures come from sums over rows, so that drawing rows again (the bootstrap) costs
one matrix product.  The power that repeats is taken as the product of a revolution's spectrum
with those of its neighbours: noise, which does not repeat, has mean zero in it, and a short
take is no more biased than a long one.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from chatter.sound.angle import to_angle, turns_at
from chatter.sound.bands import band_power
from chatter.sound.modulation import moving_mean
from chatter.sound.spectrum import Reader, middle_of

#: Orders of the turn that make up the shape of its swelling; a tooth more or less is finer.
SWELL_ORDERS = 3
#: The swelling is taken from the levels of so many parts of a turn.  Levels in dB, not power: a
#: wedged chip or a hard spot is loud for once, and a mean of powers would be all about it.
_PARTS = 16
#: The level is taken out over this many whole turns: a mean over whole turns keeps all orders.
_LEVEL_TURNS = 3
#: A thump would swamp a mean: power is held below this many times its local mean.
_MOST = 8.0
_TOOTH_ORDERS = 3
_SIDE_REACH = 3
#: Rows this much louder or fainter, or this differently coloured, are not like the rest.
_FAR_DB = 9.0
_OTHER_COLOUR_DB = 6.0
#: Of a longer pass the middle is compared: more turns tell nothing new, and take memory.
_MOST_TURNS = 3000
#: Revolutions are held against their neighbours in windows of this many; further the angle
#: cannot be carried without losing count of the teeth.
_WINDOW = 8


@dataclass(frozen=True)
class Turns:
    """One row per revolution, or per few revolutions of a quick spindle.

    Attributes
    ----------
    bands_hz : ndarray, shape (bands, 2)
        Lower and upper edge of each carrier band.
    time_s : ndarray, shape (rows, 2)
        Start and end in the recording.
    level : ndarray, shape (rows, bands)
        Mean power.
    swell : ndarray, shape (rows, bands, orders), complex
        Low orders (from 0) of the level [dB] over the shaft's angle.
    tooth, side : ndarray, shape (rows, bands)
        Squared depth of swelling that repeats with the teeth, and beside the tooth orders by
        up to three revolutions; NaN when the teeth cannot be parted.
    """

    bands_hz: np.ndarray
    time_s: np.ndarray
    level: np.ndarray
    swell: np.ndarray
    tooth: np.ndarray
    side: np.ndarray

    @property
    def rows(self) -> int:
        """Number of rows."""
        return len(self.level)

    def picked(self, keep: np.ndarray) -> Turns:
        """Only some rows."""
        return Turns(self.bands_hz, *(getattr(self, f.name)[keep] for f in fields(self)[1:]))


def turn_rows(
    read: Reader,
    start: int,
    stop: int,
    rate_hz: int,
    *,
    course: tuple[tuple[float, float], ...],
    teeth: int | None,
    fastest_hz: float,
    row_s: float,
) -> Turns | None:
    """Measure samples [start, stop); None when there are fewer than four revolutions.

    Parameters
    ----------
    read : callable
        ``read(a, b)`` yields mono samples.
    start, stop : int [samples]
    rate_hz : int
    course : sequence of (time [s], spindle frequency [Hz])
    teeth : int or None
        None when the speed is not known well enough to part them: depths are NaN then.
    fastest_hz : float [Hz]
        Fastest tooth passing among the takes compared: it sets the frames, which must be the
        same for all.
    row_s : float [s]
        Least length of a row: revolutions are put together until they last as long.
    """
    spindle_hz = float(np.mean([f for _, f in course]))
    start, stop = middle_of(start, stop, int(_MOST_TURNS / spindle_hz * rate_hz))
    time_s, bands, power = band_power(read, start, stop, rate_hz, fastest_hz=fastest_hz)
    if time_s.size < 16:
        return None
    rate = 1.0 / (time_s[1] - time_s[0])
    turns = turns_at(time_s, course)
    points = max(int(np.ceil(rate / spindle_hz)), 2 * (teeth or 1), _PARTS)
    points += -points % _PARTS
    plain = to_angle(power, turns, points)
    revolutions = plain.shape[1]
    if revolutions < 4:
        return None
    if teeth is None:
        tooth = side = np.full((revolutions, len(bands)), np.nan)
    else:
        width = max(3, round(_LEVEL_TURNS * rate / spindle_hz))
        relative = np.minimum(power / np.maximum(moving_mean(power, width), 1e-20), _MOST)
        tooth, side = _depths(to_angle(relative, turns, points), teeth)
    bounds = np.interp(turns[0] + np.arange(revolutions + 1), turns, time_s)
    return _grouped(
        Turns(
            bands,
            np.stack([bounds[:-1], bounds[1:]], axis=1),
            plain.mean(axis=2).T,
            _swell(plain),
            tooth,
            side,
        ),
        max(1, int(np.ceil(row_s * spindle_hz - 1e-9))),
    )


def _depths(cycles: np.ndarray, teeth: int) -> tuple[np.ndarray, np.ndarray]:
    """Squared depths at the tooth orders and beside them, each of shape (revolutions, bands)."""
    spectra = np.fft.rfft(cycles, axis=2) / cycles.shape[2]
    again = repeating(align_revolutions(spectra, teeth)) * 4.0  # squared amplitude of a cosine

    def total(wanted: list[int]) -> np.ndarray:
        kept = [m for m in wanted if 0 < m < again.shape[2]]
        return again[:, :, kept].sum(axis=2).T

    tooth = [k * teeth for k in range(1, _TOOTH_ORDERS + 1)] if teeth > 1 else []
    reach = min(_SIDE_REACH, (teeth - 1) // 2)
    side = [o + s * m for o in tooth for m in range(1, reach + 1) for s in (-1, 1)]
    return total(tooth), total(side)


def _swell(cycles: np.ndarray) -> np.ndarray:
    """Low orders of the level [dB], from cycles of power; shape (revolutions, bands, orders)."""
    bands, revolutions, points = cycles.shape
    parts = cycles.reshape(bands, revolutions * _PARTS, points // _PARTS).mean(axis=2)
    level = 10.0 * np.log10(np.maximum(parts, 1e-20))
    level = (level - moving_mean(level, _LEVEL_TURNS * _PARTS)).reshape(bands, revolutions, _PARTS)
    return np.fft.rfft(level, axis=2)[:, :, : SWELL_ORDERS + 1].transpose(1, 0, 2) / _PARTS


def align_revolutions(spectra: np.ndarray, teeth: int) -> np.ndarray:
    """Spectra of the revolutions with the shaft's angle set right by the teeth.

    A speed that is off by a share e turns the phase of order m by 2 pi m e from one
    revolution to the next.  The share that brings the tooth orders of neighbouring
    revolutions into line is found in windows of some revolutions, so that chance has little
    to gain by it.

    Parameters
    ----------
    spectra : ndarray, shape (bands, revolutions, orders), complex
    teeth : int
    """
    orders = spectra.shape[2]
    tooth = [k * teeth for k in range(1, _TOOTH_ORDERS + 1) if k * teeth < orders]
    if not tooth or teeth < 2:
        return spectra
    seen = spectra[:, :, tooth]
    seen = (seen[:, 1:] * seen[:, :-1].conj()).sum(axis=0)  # (revolutions - 1, k)
    tried = np.linspace(-0.4, 0.4, 81) / teeth
    gain = (seen @ np.exp(-2j * np.pi * np.outer(tooth, tried))).real
    off = tried[np.argmax(moving_mean(gain.T, _WINDOW).T, axis=1)]
    angle = np.r_[0.0, np.cumsum(off)]
    return spectra * np.exp(-2j * np.pi * np.outer(angle, np.arange(orders)))[None]


def repeating(spectra: np.ndarray) -> np.ndarray:
    """Power of each revolution that its neighbours have too, same shape, real.

    The product with the mean of the other revolutions in a window round it.
    """
    turns, reach = spectra.shape[1], _WINDOW // 2
    at = np.arange(turns)
    first, last = np.maximum(at - reach, 0), np.minimum(at + reach, turns - 1) + 1
    total = np.concatenate([np.zeros_like(spectra[:, :1]), np.cumsum(spectra, axis=1)], axis=1)
    others = total[:, last] - total[:, first] - spectra
    count = (last - first - 1)[None, :, None]
    return (spectra * others.conj()).real / count


def _grouped(turns: Turns, count: int) -> Turns:
    """Rows of ``count`` revolutions each; what is left over at the end is dropped."""
    rows = turns.rows // count
    if count == 1 or rows == 0:
        return turns

    def mean(x: np.ndarray) -> np.ndarray:
        return x[: rows * count].reshape(rows, count, *x.shape[1:]).mean(axis=1)

    time_s = np.stack([turns.time_s[: rows * count : count, 0],
                       turns.time_s[count - 1 : rows * count : count, 1]], axis=1)  # fmt: skip
    return Turns(
        turns.bands_hz,
        time_s,
        mean(turns.level),
        mean(turns.swell),
        mean(turns.tooth),
        mean(turns.side),
    )


def like_the_rest(turns: Turns) -> np.ndarray:
    """Which rows sound like the middle of the pass, shape (rows,), bool.

    Entry, exit, a stretch of idling taken for cutting: their level or the colour of their
    noise is another than in the middle half of the pass.
    """
    level = 10.0 * np.log10(np.maximum(turns.level, 1e-20))
    middle = np.median(level[turns.rows // 4 : max(1, turns.rows - turns.rows // 4)], axis=0)
    off = level - middle
    whole = off.mean(axis=1)
    colour = np.sqrt(np.mean((off - whole[:, None]) ** 2, axis=1))
    return (np.abs(whole) < _FAR_DB) & (colour < _OTHER_COLOUR_DB)
