"""Chatter lines: frequency, family and course of chatter in the motion, beside its forced twin."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.cutting import Motion


def actual_line(voice: np.ndarray, rate_hz: float, near_hz: float) -> tuple[float, float]:
    """Frequency and equivalent width [Hz] of the motion within 6 % of ``near_hz``.

    The width is (sum P)^2 / sum P^2 over bins of about a hertz: under 3 Hz for a steady
    tone, tens of hertz where the teeth jump clear at random and the phase is lost.
    """
    from scipy.fft import next_fast_len

    late = voice[len(voice) // 3 :].astype(float)
    size = int(min(len(late), rate_hz))
    if size < 64:
        return near_hz, 0.0
    power = mean_power(late, size, 4 * size)
    hz = np.fft.rfftfreq(4 * size, 1 / rate_hz)
    band = np.flatnonzero((hz > 0.94 * near_hz) & (hz < 1.06 * near_hz))
    inside = power[band]
    width = float(inside.sum() ** 2 / np.sum(inside**2) * hz[1])
    # Where it lies to a small part of a turn: the whole of it at once, near that line.
    rough = float(hz[band[np.argmax(inside)]])
    size = next_fast_len(len(late), real=True)
    power = mean_power(np.pad(late, (0, size - len(late))), size)
    step = rate_hz / size
    low, high = (int((rough + side * 2.0) / step) for side in (-1, 1))
    top = max(low, 1) + int(np.argmax(power[max(low, 1) : high + 1]))
    return peak_place(power, top) * step, width


def family_of(
    voice: np.ndarray, forced: np.ndarray, rate_hz: float, hz: float
) -> tuple[float, ...]:
    """Lines that regeneration makes: over ten times the forced twin, within 20 dB of the top.

    At most twelve, the strongest first; ``hz`` where nothing can be resolved.
    """
    size = int(min(len(voice) * 2 // 3, 2 * rate_hz))
    if size < 256:
        return (hz,)
    real, twin = (mean_power(one[len(one) // 3 :], size) for one in (voice, forced))
    bins = np.fft.rfftfreq(size, 1 / rate_hz)
    able = (bins > 60) & (bins < 0.45 * rate_hz)
    # Heard where the twin has little: neither its lines nor their skirts (three bins).
    wide = np.max([np.roll(twin, shift) for shift in range(-3, 4)], axis=0)
    peak = able & (real >= np.roll(real, 1)) & (real > np.roll(real, -1)) & (real > 10 * wide)
    if not peak.any():
        return (hz,)
    at = np.flatnonzero(peak)
    at = at[real[at] > 0.01 * real[at].max()]
    at = at[np.argsort(real[at])[::-1]][:12]
    return tuple(round(peak_place(real, int(one)) * float(bins[1]), 3) for one in at)


def peak_place(power: np.ndarray, top: int) -> float:
    """Place of a peak between bins, by a parabola through the logarithms about it."""
    if not 0 < top < len(power) - 1:
        return float(top)
    a, b, c = np.log(power[top - 1 : top + 2] + 1e-300)
    bend = a - 2 * b + c
    return top + (float(0.5 * (a - c) / bend) if bend < 0 else 0.0)


def mean_power(x: np.ndarray, size: int, fine: int | None = None) -> np.ndarray:
    """Power of Hann windows of ``size`` samples that overlap by half, summed.

    ``fine`` is the length they are filled up to with zeros.
    """
    from scipy.fft import rfft

    window = np.hanning(size)
    starts = range(0, len(x) - size + 1, max(1, size // 2))
    return sum(np.abs(rfft(x[i : i + size] * window, fine or size)) ** 2 for i in starts)


def course_of_chatter(
    motion: Motion, forced: Motion, span: slice, rate_hz: float, hz: float, tooth_hz: float
) -> tuple[float | None, float]:
    """Onset [s] and share of the pass in which motion near ``hz`` dwarfs the forced twin's.

    Active: more than four times the twin's median power and more than a tenth of the
    90th percentile of its own.
    """
    # Chatter may die between teeth: a block must span two tooth passings, within reason.
    block_s = max(20 / hz, min(2 / tooth_hz, 0.4))
    real = _band_power(motion.voice[span], rate_hz, hz, block_s)
    twin = _band_power(forced.voice[span], rate_hz, hz, block_s)
    if len(real) < 4:
        return None, 0.0
    active = (real > 4 * np.median(twin)) & (real > 0.1 * np.quantile(real, 0.9))
    if not active.any():
        return None, 0.0
    # Exact to one block, the remainder of under a block being spread over the others.
    spread_s = (span.stop - span.start) / rate_hz / len(real)
    return span.start / rate_hz + float(np.argmax(active)) * spread_s, float(active.mean())


def _band_power(x: np.ndarray, rate_hz: float, hz: float, block_s: float) -> np.ndarray:
    """Power within about 6 % of ``hz`` per block, over pieces of twenty cycles in it."""
    pieces = max(1, round(block_s * hz / 20))
    power = _piece_power(x, rate_hz, hz)
    whole = len(power) // pieces * pieces
    return power[:whole].reshape(-1, pieces).mean(axis=1)


def _piece_power(x: np.ndarray, rate_hz: float, hz: float) -> np.ndarray:
    """Power at 0.97, 1 and 1.03 times ``hz`` together, in pieces of twenty cycles."""
    hop = max(64, int(20 * rate_hz / hz))
    count = len(x) // hop
    if count < 1:
        return np.zeros(0)
    blocks = x[: count * hop].reshape(count, hop).astype(float)
    at = np.arange(hop) / rate_hz
    window = np.hanning(hop)
    probe = np.exp(-2j * np.pi * np.outer((0.97 * hz, hz, 1.03 * hz), at)) * window
    return (np.abs(blocks @ probe.T) ** 2).sum(axis=1)
