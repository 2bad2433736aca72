"""Made signals with the spectra of real cuts: what was measured, not the sound itself.

Line frequencies, their levels over the floor about them (mean spectrum of Hann windows of one
second), their wander, and the floor by octaves were read off real recordings; everything else
is drawn.  Each function returns (samples, rate_hz, job): float32 of shape (n,), and the job as
it was stated.  The lines are the evidence; the tests say what must be made of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.job.cut import Cut, Job
from chatter.job.cutter import Cutter

RATE_HZ = 48_000
#: Half of it is what a Hann window of a second lets through of noise, per hertz.
_NOISE_BINS = 1.5
#: Octaves whose floor was read, lower edges [Hz].
_OCTAVES = np.array([31.0, 62.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0])

Made = tuple[np.ndarray, int, Job]


@dataclass(frozen=True)
class Line:
    """One line: frequency [Hz], level over the floor [dB], wander as a share, r.m.s."""

    hz: float
    db: float
    wander: float = 0.0002


class Tape:
    """A recording in the making: a floor, and lines and swelling noise laid on it.

    Parameters
    ----------
    seconds : float
    floor_db : sequence of float
        By octaves from 31 Hz, re the octave at 1 kHz.
    seed : int
    """

    def __init__(self, seconds: float, floor_db: tuple[float, ...], seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.n = int(seconds * RATE_HZ)
        self.t = np.arange(self.n) / RATE_HZ
        self._floor_db = np.array(floor_db)
        self.sound = self.noise()

    def gain(self, hz: np.ndarray) -> np.ndarray:
        """Floor at a frequency, as an amplitude: 1 at 1 kHz."""
        middle = np.log2(_OCTAVES * np.sqrt(2))
        level = np.interp(np.log2(np.maximum(hz, 8.0)), middle, self._floor_db)
        return 10 ** (level / 20)

    def noise(self) -> np.ndarray:
        """Noise with the floor's colour, one unit per sample before it."""
        from scipy.fft import irfft, next_fast_len, rfft

        size = next_fast_len(self.n, real=True)
        hz = np.fft.rfftfreq(size, 1 / RATE_HZ)
        white = rfft(self.rng.standard_normal(size))
        return irfft(white * self.gain(hz), size)[: self.n]

    def clock(self, wander: float) -> np.ndarray:
        """Seconds as a shaft tells them whose speed wanders, over about a second each way."""
        knots = max(4, int(self.n / RATE_HZ * 2))
        slow = self.rng.standard_normal(knots)
        slow = np.interp(self.t, np.linspace(0, self.t[-1], knots), slow - slow.mean())
        return np.cumsum(1 + wander * slow) / RATE_HZ

    def tone(self, hz: float, db: float, cycles: np.ndarray) -> np.ndarray:
        """A line ``db`` over the floor at ``hz``; ``cycles`` is its phase in whole turns."""
        # Noise of unit variance has 2 / rate per hertz; a sine of amplitude A has A^2 / 2.
        floor = 2.0 / RATE_HZ * float(self.gain(np.array([hz]))[0]) ** 2 * _NOISE_BINS
        amplitude = np.sqrt(2 * floor * 10 ** (db / 10))
        return amplitude * np.sin(2 * np.pi * (cycles + self.rng.random()))

    def lay(self, lines: list[Line], gate: np.ndarray | float = 1.0) -> None:
        """Lay lines that wander each for itself, where ``gate`` is open (0..1)."""
        for one in lines:
            cycles = one.hz * self.clock(one.wander)
            self.sound += gate * self.tone(one.hz, one.db, cycles)

    def lay_orders(
        self,
        turn_hz: float,
        orders: dict[float, float],
        wander: float,
        gate: np.ndarray | float = 1.0,
    ) -> None:
        """Lay lines at orders of one shaft, order -> level, that wander with it."""
        clock = self.clock(wander)
        for order, db in orders.items():
            hz = order * turn_hz
            self.sound += gate * self.tone(hz, db, hz * clock)

    def lay_strokes(
        self, stroke_hz: float, depth: float, db: float, gate: np.ndarray | float = 1.0
    ) -> None:
        """Lay the hiss of chips: noise that swells by ``depth`` with each stroke."""
        swell = 1 + depth * np.cos(2 * np.pi * stroke_hz * self.t)
        self.sound += gate * 10 ** (db / 20) * swell * self.noise()

    def gate(self, *spans: tuple[float, float], ramp_s: float = 0.08) -> np.ndarray:
        """1 within the spans [s], with ramps, else 0."""
        out = np.zeros(self.n)
        for start, end in spans:
            rise = np.clip((self.t - start) / ramp_s, 0, 1)
            out = np.maximum(out, np.minimum(rise, np.clip((end - self.t) / ramp_s, 0, 1)))
        return out

    def made(self, rev_min: float, teeth: int, form: str) -> Made:
        """The recording with its loudest sample at half of full scale, and the job."""
        scaled = self.sound * (0.5 / np.max(np.abs(self.sound)))
        return scaled.astype(np.float32), RATE_HZ, Job(Cutter(teeth, form=form), Cut(rev_min))


def drowned_teeth() -> Made:
    """Six teeth at 1656 rev/min: chatter at 899.4 Hz, its family, and no tooth comb at all.

    Lines as read; 899.4 - 732.4 and 1063.5 - 899.4 are 167 and 164.1 Hz: members lie within
    one and a half hertz of f_c -+ f_tp (165.6 Hz).
    """
    tape = Tape(14.0, (2, 3, 4, 2, 1, 0, -3, -8, -20), seed=1)
    cut = tape.gate((2.0, 13.0), ramp_s=0.4)
    tape.lay([Line(99.8, 14), Line(49.9, 12), Line(298.0, 9)])  # the machine, throughout
    family = [(899.4, 29.0), (732.4, 17.0), (1063.5, 18.0), (1798.8, 16.0)]
    clock = tape.clock(0.0004)
    for hz, db in family:
        tape.sound += cut * tape.tone(hz, db, hz * clock)
    tape.lay_strokes(165.6, 0.2, 0.0, cut)
    return tape.made(1656.0, 6, "end_mill")


def twenty_passes() -> Made:
    """An end mill near 5000 rev/min: a strong comb of the turn, twenty passes 0.6 s apart.

    The passes rise 4 to 6 dB over the running machine, in some bands only.
    """
    turn_hz, teeth = 83.6, 4
    passes = tuple((1.0 + 1.8 * i, 2.2 + 1.8 * i) for i in range(20))
    tape = Tape(38.0, (4, 5, 6, 3, 2, 0, -2, -8, -24), seed=2)
    running = {1: 24, 2: 17, 3: 15, 4: 22, 5: 10, 6: 12, 8: 19, 10: 9, 11: 13, 12: 15, 16: 11}
    tape.lay_orders(turn_hz, running, 0.0003)
    cut = tape.gate(*passes)
    rise = {1: 20, 2: 18, 3: 21, 4: 29, 5: 15, 6: 16, 7: 13, 8: 25, 9: 12, 12: 22, 16: 17, 20: 14}
    tape.lay_orders(turn_hz, rise, 0.0003, cut)
    tape.lay_strokes(turn_hz * teeth, 0.5, 1.0, cut)
    return tape.made(5000.0, teeth, "end_mill")


def forced_then_chatter() -> Made:
    """Two teeth at 6460 rev/min: loud on turn order 10.00, then chatter at 9.91 turns.

    The chatter's family stands a tooth passing apart: 852.4, 637.0, 1283.1 Hz and on.
    """
    turn_hz = 107.69
    tape = Tape(22.0, (-7, -4, -2, -5, -2, 0, -4, -11, -30), seed=3)
    tape.lay([Line(1770.5, 20), Line(2329.0, 18), Line(621.0, 14), Line(62.0, 16)])
    forced = {10: 41, 8: 34, 12: 30, 4: 28, 6: 25, 14: 25, 20: 25, 18: 22, 1: 14, 2: 19}
    tape.lay_orders(turn_hz, forced, 0.0003, tape.gate((7.2, 9.4)))
    chatter = tape.gate((10.5, 16.2))
    free = {9.915: 39, 11.915: 32, 19.83: 31, 7.915: 26, 5.915: 25, 17.915: 23, 13.915: 22}
    tape.lay_orders(turn_hz, free, 0.0003, chatter)
    tape.lay_orders(turn_hz, {4: 28, 8: 25, 10: 10, 2: 12}, 0.0003, chatter)
    both = tape.gate((7.2, 9.4), (10.5, 16.2))
    tape.lay_strokes(2 * turn_hz, 0.5, 2.0, both)
    return tape.made(6460.0, 2, "end_mill")


def gear_of_239() -> Made:
    """A lathe's drive through three speeds: 722.0, 817.5 and 626.8 Hz, each 239 times its
    spindle's turns, with side lines at the turn.  Nothing is cut."""
    tape = Tape(45.0, (2, 5, 9, 7, 3, 0, 4, 2, -1), seed=4)
    for index, turn_hz in enumerate((3.0209, 3.4205, 2.6226)):
        span = tape.gate((15.0 * index, 15.0 * (index + 1) - 0.4), ramp_s=0.3)
        mesh = {239: 36.0, 238: 22.0, 240: 21.0, 237: 12.0, 241: 12.0, 478: 12.0, 90: 12, 76.7: 11}
        tape.lay_orders(turn_hz, mesh, 0.0004, span)
    return tape.made(181.0, 1, "single_point")


def whine_in_a_normal_cut() -> Made:
    """Four teeth at 2000 rev/min: a whine at 2155.1 Hz (order 64.65) over the turn's comb.

    It has a third of the power and no family, and is there whether or not is cut.
    """
    turn_hz = 2000 / 60
    tape = Tape(13.0, (-19, -13, -6, 3, 5, -2, -6, -18, -22), seed=5)
    tape.lay([Line(2155.1, 38, 0.0001), Line(3080.5, 18), Line(3086.0, 16), Line(3025.0, 15)])
    comb = {4: 39, 8: 19, 12: 17, 14: 14, 22: 14, 10: 15, 20: 9, 21: 10, 23: 11, 24: 10, 18: 10}
    comb |= {28: 12, 29: 15, 32: 16, 16: 10, 19: 8, 37: 11, 46: 14, 92: 14, 93: 16}
    tape.lay_orders(turn_hz, comb, 0.0002, tape.gate((2.5, 12.0), ramp_s=0.3))
    tape.lay_strokes(4 * turn_hz, 0.5, -1.0, tape.gate((2.5, 12.0), ramp_s=0.3))
    return tape.made(2000.0, 4, "end_mill")


def gliding_tone() -> Made:
    """Turning at 1219 rev/min: a tone falls from 2319 over 2239 to 2201 Hz, its side lines
    fixed at 20.31 Hz, twice and three times it present; half of the power."""
    tape = Tape(30.0, (-11, -8, -2, 3, 1, -6, -9, -15, -22), seed=6)
    cut = tape.gate((3.0, 28.0), ramp_s=0.3)
    hz = np.interp(tape.t, (3.0, 15.0, 28.0), (2319.0, 2239.0, 2201.0))
    cycles = np.cumsum(hz) / RATE_HZ
    turn = 20.31 * tape.clock(0.0001)
    for beside, db in ((0, 36), (1, 27), (-1, 28), (2, 17), (-2, 18)):
        tape.sound += cut * tape.tone(2240.0, db, cycles + beside * turn)
    tape.sound += cut * tape.tone(4480.0, 22, 2 * cycles)
    tape.sound += cut * tape.tone(6720.0, 15, 3 * cycles)
    tape.lay([Line(438.5, 24), Line(877.0, 18), Line(351.5, 19), Line(1206.0, 21)])
    tape.lay_strokes(20.31, 0.3, 0.0, cut)
    return tape.made(1219.0, 1, "single_point")


def all_orders() -> Made:
    """Four teeth at 1501 rev/min (1500 stated): nearly all lines on orders of the turn."""
    turn_hz = 1501 / 60
    tape = Tape(20.0, (-7, -2, -3, 1, 3, -4, -1, 1, -10), seed=7)
    comb = {4: 41, 8: 32, 12: 34, 16: 31, 20: 30, 24: 23, 28: 26, 32: 28, 36: 25, 44: 23}
    comb |= {3: 26, 5: 28, 9: 25, 11: 21, 15: 25, 17: 25, 19: 20, 21: 16, 23: 20, 25: 18}
    comb |= {30: 15, 31: 21, 33: 19, 34: 15, 1: 12, 2: 17, 6: 15, 7: 16, 10: 15, 13: 16}
    cut = tape.gate((2.0, 18.5), ramp_s=0.3)
    tape.lay_orders(turn_hz, comb, 0.0001, cut)
    tape.lay_orders(turn_hz, {1: 12, 2: 10, 10: 9}, 0.0001, 1.0 - cut)
    tape.lay_strokes(4 * turn_hz, 0.6, 2.0, cut)
    return tape.made(1500.0, 4, "face_mill")


def pump_only() -> Made:
    """A pump's comb at 49.52 Hz beside a machine stated to cut with 4 teeth at 1000 rev/min."""
    tape = Tape(13.0, (-10, 3, 9, 6, 1, -6, -15, -22, -26), seed=8)
    comb = {2: 28, 8: 25, 4: 21, 3: 22, 5: 17, 16: 22, 7: 17, 24: 20, 12: 18, 9: 14, 15: 17}
    comb |= {11: 16, 18: 16, 20: 16}
    tape.lay_orders(49.52, comb, 0.0002)
    tape.lay([Line(130.0, 12)])
    return tape.made(1000.0, 4, "end_mill")
