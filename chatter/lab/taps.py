"""How steady a tap test is: one strong ring in rising noise, and sounds that are no taps.

``python -m chatter.lab.taps`` prints for each level of noise, over twelve draws of it, how often
the strong ring is named, how many modes are, how many of them are none of those made, and how
far frequency and damping are off; then what is said of sounds that only seem to be taps.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.tapping.findings import TapFindings
from chatter.tapping.taps import analyse
from chatter.threads import one_thread

RATE_HZ = 44100
#: The strong ring, with 78 % of the energy of all, and its company: frequency [Hz], damping
#: ratio, amplitude.
STRONG = (795.0, 0.0035, 1.0)
OTHERS = (
    *((131.0, 0.03, 0.24), (310.0, 0.012, 0.32), (1210.0, 0.006, 0.4), (1702.0, 0.004, 0.32)),
    *((2230.0, 0.005, 0.32), (2950.0, 0.004, 0.24), (3480.0, 0.005, 0.32), (4120.0, 0.004, 0.19)),
    *((4900.0, 0.005, 0.19), (5600.0, 0.006, 0.16), (6400.0, 0.005, 0.16)),
)
#: Noise re full scale; the blow peaks at -6 dB.
LEVELS_DB = (-80, -70, -60, -50, -40)
DRAWS, BLOWS = 12, 10
#: A mode within this of one that was made is that one.
NEAR = 0.01


def blow(rng: np.random.Generator, seconds: float = 2.0, loud: float = 0.5) -> NDArray[np.float64]:
    """One hammer blow: rings, and a click that bounces for a millisecond or two."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    x = 0.8 * rng.standard_normal(t.size) * np.exp(-t / 1.2e-3)
    for f, z, a in (STRONG, *OTHERS):
        w = 2.0 * np.pi * f
        x += a * np.exp(-z * w * t) * np.sin(w * t + rng.uniform(-0.4, 0.4))
    return loud * x / np.abs(x).max()


def repeated_blow(noise_db: float, draw: int, blows: int = BLOWS) -> NDArray[np.float64]:
    """The same blow, ten times, two seconds apart, in a draw of white noise."""
    one = blow(np.random.default_rng(7))
    rng = np.random.default_rng(1000 + draw)
    x = np.concatenate([np.zeros(RATE_HZ // 2), np.tile(one, blows)])
    return x + 10 ** (noise_db / 20) * rng.standard_normal(x.size)


def tap_track(x: NDArray[np.float64]) -> TapFindings:
    """The tap test of a track at ``RATE_HZ``."""
    with one_thread():
        return analyse(lambda a, b: x[a:b], x.size, RATE_HZ)


# ------------------------------------------------------------- what only seems to be taps


def ticking_clock(rng: np.random.Generator) -> NDArray[np.float64]:
    """A clock: each tick rings alike, and all come as evenly as no hand taps."""
    return _placed([0.6 + 0.5 * k for k in range(20)], lambda _: blow(rng_of(3), 0.45, 0.2), rng)


def fire(rng: np.random.Generator) -> NDArray[np.float64]:
    """A fire: short bursts of noise at any time."""
    times = np.cumsum(rng.uniform(0.3, 1.2, 20)) + 0.4

    def crack(_: int) -> NDArray[np.float64]:
        t = np.arange(int(0.1 * RATE_HZ)) / RATE_HZ
        return 0.3 * rng.standard_normal(t.size) * np.exp(-t / rng.uniform(2e-3, 1e-2))

    return _placed(times, crack, rng)


def cafe(rng: np.random.Generator) -> NDArray[np.float64]:
    """A cafe: cups and spoons, each of which rings at its own frequencies, over babble."""
    times = np.cumsum(rng.uniform(0.6, 1.8, 12)) + 0.4

    def cup(_: int) -> NDArray[np.float64]:
        t = np.arange(int(0.5 * RATE_HZ)) / RATE_HZ
        parts = zip(rng.uniform(800, 6000, 4), rng.uniform(0.002, 0.01, 4), strict=True)
        rings = (np.exp(-z * 2 * np.pi * f * t) * np.sin(2 * np.pi * f * t) for f, z in parts)
        return 0.1 * sum(rings)

    return _placed(times, cup, rng, noise=2e-3)


def telephone(rng: np.random.Generator) -> NDArray[np.float64]:
    """A telephone: two tones at once, twenty times a second, for a second, again and again."""
    t = np.arange(RATE_HZ) / RATE_HZ
    tone = (np.sin(2 * np.pi * 1100 * t) + np.sin(2 * np.pi * 1420 * t)) * (
        np.sin(40 * np.pi * t) > 0
    )
    return _placed([0.5, 3.5, 6.5, 9.5, 12.5], lambda _: 0.1 * tone, rng)


SEEMING = {"a clock": ticking_clock, "a fire": fire, "a cafe": cafe, "a telephone": telephone}


def rng_of(seed: int) -> np.random.Generator:
    """A stream of chance of its own."""
    return np.random.default_rng(seed)


def _placed(
    times_s,
    make: Callable[[int], NDArray[np.float64]],
    rng: np.random.Generator,
    noise: float = 3e-4,
) -> NDArray[np.float64]:
    x = noise * rng.standard_normal(int((max(times_s) + 1.5) * RATE_HZ))
    for k, time_s in enumerate(times_s):
        one, at = make(k), int(time_s * RATE_HZ)
        x[at : at + one.size] += one
    return x


# ------------------------------------------------------------------------------ the table


@dataclass(frozen=True)
class NoiseRow:
    """One level of noise."""

    noise_db: float
    strong: int  # draws in which the strong ring is a mode
    draws: int
    modes: tuple[int, int]  # fewest and most modes
    wrong: int  # modes, over all draws, that were not made
    off_hz: float  # greatest error of the strong ring
    off_damping: float  # relative


def row(noise_db: float, draws: int = DRAWS, blows: int = BLOWS) -> NoiseRow:
    """What the tap test says at one level of noise."""
    counts, strong, wrong, off_hz, off_z = [], 0, 0, 0.0, 0.0
    for draw in range(draws):
        modes = tap_track(repeated_blow(noise_db, draw, blows)).modes
        counts.append(len(modes))
        wrong += sum(
            all(abs(m.frequency_hz / f - 1.0) > NEAR for f, *_ in (STRONG, *OTHERS)) for m in modes
        )
        near = [m for m in modes if abs(m.frequency_hz / STRONG[0] - 1.0) < NEAR]
        strong += bool(near)
        for mode in near:
            off_hz = max(off_hz, abs(mode.frequency_hz - STRONG[0]))
            off_z = max(off_z, abs(mode.damping_ratio / STRONG[1] - 1.0))
    return NoiseRow(noise_db, strong, draws, (min(counts), max(counts)), wrong, off_hz, off_z)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--draws", type=int, default=DRAWS)
    draws = parser.parse_args().draws
    print(
        f"One blow repeated {BLOWS} times; {1 + len(OTHERS)} rings made, the strong one at 795 Hz"
    )
    print("  noise   strong ring named   modes      not made   error of frequency, damping")
    for level in LEVELS_DB:
        one = row(level, draws)
        print(
            f"  {level:4d} dB     {one.strong:3d} of {one.draws:<3d}        {one.modes[0]:2d} to "
            f"{one.modes[1]:2d}   {one.wrong:6d}     {one.off_hz:.2f} Hz, {one.off_damping:.1%}",
            flush=True,
        )
    print("Sounds that only seem to be taps: recordings with a mode")
    for name, make in SEEMING.items():
        said = [tap_track(make(rng_of(draw))) for draw in range(draws)]
        told = max((f.reason or "" for f in said), key=len).partition(". ")[0].partition("? ")[0]
        print(f"  {name:12s} {sum(bool(f.modes) for f in said)} of {draws}   {told}", flush=True)


if __name__ == "__main__":
    main()
