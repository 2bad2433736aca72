"""Distractors: everything a workshop phone hears that is not this cut."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from chatter.lab.simulate.radiation import convolve, mode_bank, rms
from chatter.lab.simulate.scene import Distractor

Rng = np.random.Generator


def add_distractors(
    heard: np.ndarray, distractors: tuple[Distractor, ...], rate_hz: int, rng: Rng
) -> np.ndarray:
    """Mix each over its span, at its level re the loudest second of ``heard``."""
    blocks = heard[: len(heard) // rate_hz * rate_hz].reshape(-1, rate_hz)
    reference = max((rms(block) for block in blocks), default=0.0) or rms(heard) or 1.0
    out = heard.copy()
    for one in distractors:
        start = int(one.start_s * rate_hz)
        n = min(len(heard), int(one.end_s * rate_hz)) - start
        if n < rate_hz // 5:
            continue
        sound = MAKERS[one.name](n, rate_hz, rng)
        edge = min(n // 4, rate_hz // 20)
        sound[:edge] *= np.linspace(0, 1, edge, dtype=np.float32)
        sound[n - edge :] *= np.linspace(1, 0, edge, dtype=np.float32)
        gain = reference * 10 ** (one.level_db / 20) / max(rms(sound), 1e-12)
        out[start : start + n] += sound * np.float32(gain)
    return out


def speech(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """Speech-like syllables: a glottal pulse train or hiss through moving formants."""
    out = np.zeros(n, np.float32)
    pitch = rng.uniform(85, 230)
    at = 0
    while at < n:
        length = int(rng.uniform(0.08, 0.3) * rate_hz)
        t = np.arange(min(length, n - at)) / rate_hz
        if len(t) < 64:
            break
        shape = np.sin(np.pi * np.arange(len(t)) / len(t)) ** 0.6
        if rng.random() < 0.75:
            glide = pitch * (1 + rng.uniform(-0.15, 0.15) * t / t[-1]) * np.exp(rng.normal(0, 0.08))
            phase = np.cumsum(glide) / rate_hz
            source = np.diff(np.floor(phase), prepend=0.0) - 0.02
            formants = rng.uniform((300, 900, 2200, 3200), (850, 2300, 3000, 4000))
        else:
            source = rng.standard_normal(len(t)) * 0.1
            formants = rng.uniform((2500, 4000), (4500, 7500))
        ring = _formants(formants, rate_hz)
        out[at : at + len(t)] += convolve((source * shape).astype(np.float32), ring)
        at += length + int(rng.exponential(0.03) * rate_hz)
        if rng.random() < 0.1:
            at += int(rng.uniform(0.2, 0.9) * rate_hz)
    return out


def _formants(hz: np.ndarray, rate_hz: int) -> np.ndarray:
    t = np.arange(int(0.03 * rate_hz)) / rate_hz
    return sum(
        np.exp(-2 * np.pi * 60 * (1 + i) * t) * np.sin(2 * np.pi * f * t) / (1 + i)
        for i, f in enumerate(hz)
    ).astype(np.float32)


def radio(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """Music-like: a beat, a bass and chords from a scale, through a small loudspeaker."""
    beat_s = 60 / rng.uniform(80, 150)
    out = np.zeros(n, np.float32)
    root = rng.uniform(110, 220)
    scale = root * 2 ** (np.array([0, 2, 4, 5, 7, 9, 11, 12]) / 12)
    for beat in range(int(n / rate_hz / beat_s) + 1):
        at = int(beat * beat_s * rate_hz)
        t = np.arange(min(int(beat_s * 1.5 * rate_hz), n - at)) / rate_hz
        if len(t) < 64:
            break
        for f in rng.choice(scale, 3, replace=False):
            decay = np.exp(-t * rng.uniform(2, 6))
            for harmonic in range(1, 6):
                out[at : at + len(t)] += (
                    decay * np.sin(2 * np.pi * f * harmonic * t) / harmonic**1.3
                ).astype(np.float32)
        snare = rng.standard_normal(len(t)) * np.exp(-t * 25) * (2.0 if beat % 2 else 0.7)
        out[at : at + len(t)] += snare.astype(np.float32)
    spectrum = np.fft.rfft(out)
    hz = np.fft.rfftfreq(n, 1 / rate_hz)
    spectrum *= (hz > 150) * (hz < 6000)
    return np.fft.irfft(spectrum, n).astype(np.float32)


def music(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """Instruments near the phone: notes of a scale, plucked or held, of one voice or several."""
    out = np.zeros(n, np.float32)
    steps = np.cumsum(rng.choice([1, 2, 2, 3], 20))
    for _ in range(int(rng.integers(1, 4))):
        out += rng.uniform(0.3, 1.0) * _voice(n, rate_hz, rng, steps)
    if rng.random() < 0.5:
        beat = int(rng.uniform(0.3, 0.8) * rate_hz)
        loud = rng.uniform(0.3, 2.0) * float(np.abs(out).max())
        for at in range(0, n - beat, beat):
            tap = rng.standard_normal(beat) * np.exp(-np.arange(beat) / rate_hz * 30)
            out[at : at + beat] += (loud * rng.uniform(0.3, 1.0) * tap).astype(np.float32)
    return out


def _voice(n: int, rate_hz: int, rng: Rng, steps: np.ndarray) -> np.ndarray:
    """One instrument: where its notes lie, how long they are held, how bright it is."""
    root = np.exp(rng.uniform(np.log(60), np.log(700)))
    held_s = np.exp(rng.uniform(np.log(0.12), np.log(2.0)))
    bright, fading = rng.uniform(0.6, 2.5), rng.choice([0.0, rng.uniform(0.5, 6.0)])
    vibrato, attack_s = rng.choice([0.0, 0.008]) * rng.random(), rng.uniform(0.005, 0.1)
    out, at, step = np.zeros(n, np.float32), 0, len(steps) // 2
    while at < n:
        length = int(held_s * rng.choice([0.5, 1.0, 1.0, 2.0]) * rate_hz)
        step = int(np.clip(step + rng.integers(-3, 4), 0, len(steps) - 1))
        t = np.arange(min(length, n - at)) / rate_hz
        turns = root * 2 ** (steps[step] / 12) * (t + vibrato * np.sin(2 * np.pi * 5.5 * t) / 35)
        shape = np.exp(-fading * t) * np.minimum(1.0, t / attack_s)
        shape *= np.minimum(1.0, (length / rate_hz - t) / 0.03)
        if rng.random() < 0.9:  # else a rest
            for order in range(1, 11):
                if turns.size and order * turns[-1] / max(t[-1], 1e-9) < 0.45 * rate_hz:
                    note = shape * np.sin(2 * np.pi * order * turns) / order**bright
                    out[at : at + len(t)] += note.astype(np.float32)
        at += length
    return out


def hammering(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """Blows at an unsteady rhythm on something that rings."""
    hits = np.zeros(n, np.float32)
    at = rng.uniform(0, 0.5)
    pace = rng.uniform(0.3, 1.2)
    while at * rate_hz < n:
        hits[int(at * rate_hz)] = np.exp(rng.normal(0, 0.3))
        at += pace * np.exp(rng.normal(0, 0.12)) + (rng.random() < 0.08) * rng.uniform(1, 3)
    return convolve(hits, mode_bank(rng, rate_hz, 20, (250, 7000), (0.001, 0.02), -2.0))


def second_machine(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """Another machine at work: its own tooth comb, chips and hum, unlocked from ours."""
    tooth_hz = np.exp(rng.uniform(np.log(15), np.log(400)))
    phase = np.cumsum(tooth_hz * (1 + 0.002 * np.sin(np.arange(n) / rate_hz / 2.0))) / rate_hz
    hits = np.diff(np.floor(phase), prepend=0.0) * np.exp(0.2 * rng.standard_normal(n))
    out = convolve(
        hits.astype(np.float32), mode_bank(rng, rate_hz, 30, (150, 8000), (0.005, 0.05), -3.0)
    )
    noise = convolve(
        rng.standard_normal(n, dtype=np.float32),
        mode_bank(rng, rate_hz, 30, (80, 6000), (0.1, 0.4), -4.0),
    )
    return out / np.float32(rms(out) + 1e-9) + noise * np.float32(0.5)


def hiss(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """Coolant or an air line: steady wide-band noise with a slow flutter."""
    noise = rng.standard_normal(n, dtype=np.float32)
    flutter = 1 + 0.2 * np.sin(2 * np.pi * rng.uniform(0.2, 4) * np.arange(n) / rate_hz)
    ring = mode_bank(rng, rate_hz, 30, (800, 14000), (0.1, 0.4), rng.uniform(-1, 3))
    return convolve((noise * flutter).astype(np.float32), ring)


def silence(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """A quiet room: faint low noise only."""
    noise = rng.standard_normal(n, dtype=np.float32)
    return convolve(noise, mode_bank(rng, rate_hz, 30, (40, 2000), (0.2, 0.5), -6.0))


def file_scraping(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """Hand filing: strokes of noise about twice a second."""
    pace = rng.uniform(1.2, 2.5)
    t = np.arange(n) / rate_hz
    stroke = np.maximum(0, np.sin(2 * np.pi * pace * t + 0.4 * np.sin(0.7 * t))) ** 0.7
    noise = rng.standard_normal(n, dtype=np.float32) * stroke.astype(np.float32)
    return convolve(noise, mode_bank(rng, rate_hz, 25, (1000, 9000), (0.02, 0.2), 0.0))


def beeps(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """A reversing fork-lift or a ringing phone: steady tones, on and off."""
    t = np.arange(n) / rate_hz
    f = rng.uniform(700, 3000)
    on = (t * rng.uniform(0.8, 3.0)) % 1.0 < 0.5
    return (np.sin(2 * np.pi * f * t) * on).astype(np.float32)


def engine(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """A chainsaw, a moped, a rotor overhead: a dense comb that glides as it is throttled."""
    t = np.arange(n) / rate_hz
    base = np.exp(rng.uniform(np.log(12), np.log(160)))
    throttle = 1 + rng.uniform(0.02, 0.3) * np.sin(2 * np.pi * rng.uniform(0.05, 0.5) * t)
    phase = np.cumsum(base * throttle) / rate_hz
    fires = np.diff(np.floor(phase), prepend=0.0) * np.exp(0.15 * rng.standard_normal(n))
    pipe = mode_bank(rng, rate_hz, 30, (60, 6000), (0.02, 0.2), -4.0)
    rough = convolve(rng.standard_normal(n, dtype=np.float32), pipe)
    out = convolve(fires.astype(np.float32), pipe)
    return out / np.float32(rms(out) + 1e-9) + rough * np.float32(0.3 / (rms(rough) + 1e-9))


def rain(n: int, rate_hz: int, rng: Rng) -> np.ndarray:
    """Rain on a roof: drops by the hundred over a wash of noise."""
    drops = np.zeros(n, np.float32)
    hits = rng.integers(0, n, int(rng.uniform(30, 400) * n / rate_hz))
    drops[hits] = rng.exponential(1.0, len(hits)).astype(np.float32)
    out = convolve(drops, mode_bank(rng, rate_hz, 20, (400, 9000), (0.02, 0.2), -1.0))
    wash = convolve(
        rng.standard_normal(n, dtype=np.float32),
        mode_bank(rng, rate_hz, 30, (300, 14000), (0.1, 0.5), rng.uniform(-3, 1)),
    )
    return out / np.float32(rms(out) + 1e-9) + wash * np.float32(0.7 / (rms(wash) + 1e-9))


MAKERS: dict[str, Callable[[int, int, Rng], np.ndarray]] = {
    "speech": speech,
    "radio": radio,
    "hammering": hammering,
    "second_machine": second_machine,
    "hiss": hiss,
    "silence": silence,
    "filing": file_scraping,
    "beeps": beeps,
    "engine": engine,
    "rain": rain,
    "music": music,
}
