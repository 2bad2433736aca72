"""Phone: microphone, automatic gain, noise suppression, limiter, and the hand."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.radiation import rms
from chatter.lab.simulate.scene import Phone


def through_phone(
    sound: np.ndarray, rate_hz: int, phone: Phone, rng: np.random.Generator
) -> np.ndarray:
    """What the phone hands to its encoder.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Sound at the phone, any scale.
    rate_hz : int
        Rate of ``sound``.
    phone : Phone
        Where ``peak`` sets the level; above 1 the recording clips.

    Returns
    -------
    ndarray, float32, shape (m,)
        At ``phone.rate_hz``, within -1..1.
    """
    import soxr

    heard = _colour(sound, rate_hz, phone)
    heard += _thumps(len(heard), rate_hz, phone, rng) * np.float32(max(rms(heard), 1e-9))
    if phone.rate_hz != rate_hz:
        heard = soxr.resample(heard, rate_hz, phone.rate_hz, quality="HQ")
    rate = phone.rate_hz
    top = float(np.quantile(np.abs(heard), 0.9999)) if len(heard) else 0.0
    heard = heard * np.float32(phone.peak / top) if top > 0 else heard
    heard = heard + rng.standard_normal(len(heard), dtype=np.float32) * np.float32(
        10 ** (phone.noise_db / 20)
    )
    if phone.agc_db > 0:
        heard = _automatic_gain(heard, rate, phone)
    if phone.suppression_db > 0:
        heard = _suppress(heard, rate, phone.suppression_db)
    return np.clip(heard, -1.0, 1.0).astype(np.float32)


def _colour(sound: np.ndarray, rate_hz: int, phone: Phone) -> np.ndarray:
    """Roll-off below, band limit above, and a straight tilt in dB per octave."""
    from scipy.fft import irfft, next_fast_len, rfft

    n = len(sound)
    size = next_fast_len(n + rate_hz // 10, real=True)
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    s = 1j * hz / phone.roll_off_hz
    high_pass = (s / (1 + s)) ** phone.roll_off_order
    tilt = (np.maximum(hz, 30.0) / 1000.0) ** (phone.tilt_db_octave / 6.0206)
    gain = high_pass * tilt
    if phone.band_limit_hz is not None:
        gain = gain / (1 + (hz / phone.band_limit_hz) ** 24)
    spectrum = rfft(sound.astype(np.float32), size)
    return irfft(spectrum * gain.astype(np.complex64), size)[:n].astype(np.float32)


def _thumps(n: int, rate_hz: int, phone: Phone, rng: np.random.Generator) -> np.ndarray:
    """Knocks of the hand on the case: short, low and dull."""
    out = np.zeros(n, np.float32)
    for _ in range(rng.poisson(phone.thumps_per_s * n / rate_hz)):
        length = int(rng.uniform(0.03, 0.15) * rate_hz)
        at = int(rng.integers(0, max(1, n - length)))
        t = np.arange(min(length, n - at)) / rate_hz
        f = rng.uniform(40, 250)
        knock = np.exp(-t * rng.uniform(30, 120)) * np.sin(2 * np.pi * f * t)
        out[at : at + len(t)] += (rng.uniform(2, 8) * knock).astype(np.float32)
    return out


def _automatic_gain(x: np.ndarray, rate_hz: int, phone: Phone) -> np.ndarray:
    """Gain that drops fast when it gets loud and creeps back when it is quiet."""
    hop = max(1, rate_hz // 200)
    blocks = len(x) // hop + 1
    level = np.sqrt(np.mean(np.pad(x, (0, blocks * hop - len(x))).reshape(blocks, hop) ** 2, 1))
    target = np.quantile(level, 0.7) + 1e-9
    fast = np.exp(-hop / rate_hz / phone.attack_s)
    slow = np.exp(-hop / rate_hz / phone.release_s)
    gains = np.zeros(blocks)
    follow = level[0] if blocks else 0.0
    for i in range(blocks):
        keep = fast if level[i] > follow else slow
        follow = keep * follow + (1 - keep) * level[i]
        gains[i] = np.clip(20 * np.log10(target / (follow + 1e-9)), -phone.agc_db, phone.agc_db)
    at = (np.arange(blocks) + 0.5) * hop
    return (x * 10 ** (np.interp(np.arange(len(x)), at, gains * 0.7) / 20)).astype(np.float32)


def _suppress(x: np.ndarray, rate_hz: int, depth_db: float) -> np.ndarray:
    """Spectral gating: bins near their own long-time floor are turned down.

    The floor follows the minimum over about a second and a half, as phones do; a steady
    hum, and a steady cut, thus fade into it.
    """
    from scipy.ndimage import minimum_filter1d, uniform_filter1d
    from scipy.signal import istft, stft

    size = 512 if rate_hz >= 16_000 else 256
    _, _, spec = stft(x, rate_hz, nperseg=size, noverlap=size // 2)
    power = uniform_filter1d(np.abs(spec) ** 2, 5, axis=1)
    floor = minimum_filter1d(power, max(3, int(1.5 * rate_hz / (size // 2))), axis=1)
    over = power / (4.0 * floor + 1e-20)
    least = 10 ** (-depth_db / 20)
    gate = uniform_filter1d(np.clip(over / (1 + over), least, 1.0), 3, axis=1)
    _, y = istft(spec * gate, rate_hz, nperseg=size, noverlap=size // 2)
    return np.pad(y, (0, max(0, len(x) - len(y))))[: len(x)].astype(np.float32)
