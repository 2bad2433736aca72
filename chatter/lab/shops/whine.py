"""Cuts on machines that whine, recorded without idling: held against one idle recording or not,
and beside the same cuts on a machine that is still.

Each trial has a machine of its own: two to four tones geared to the spindle with side lines one
turn apart, and one or two that stay where they are.  The same tones sound in the cut and in a
recording of idling, each time waxing and waning anew.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from chatter.errors import ChatterError
from chatter.findings import Findings
from chatter.job.cut import Job
from chatter.job.machine import Machine
from chatter.lab.simulate import draw_scene, ranges_development, simulate
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.scene import Format
from chatter.teaching.shares import Share

_IDLE_S = 15.0


@dataclass(frozen=True)
class MachineTone:
    """One tone of a machine; level re the cutting sound, or re the idling machine."""

    order: float  # 0: it stays where it is
    hz: float
    level_db: float
    swell: float  # once a turn


@dataclass(frozen=True)
class Trial:
    """One cut, heard without and with the book's idle recording."""

    kind: str
    bare: bool  # chatter was named in the same cut without the machine's tones
    without: bool  # with them
    with_voice: bool  # and with one idle recording in the book
    p_bare: float
    p_without: float
    p_with: float
    named: int  # lines named as the machine's own


def voice_trial(seed: int, index: int, kind: str) -> Trial | None:
    """Make a cut and an idle recording of one whining machine, and listen; None when this cut
    tore itself out of the work."""
    rng = np.random.default_rng([seed, index, len(kind)])
    try:
        scene = draw_scene(rng, kind, ranges_development)
        signal, rate, truth = simulate(replace(scene, distractors=()), int(rng.integers(2**31)))
    except ValueError:
        return None
    signal = signal if signal.ndim == 1 else signal[:, 0]
    one = truth.passes[0]
    bare = signal[int((one.start_s + 0.3) * rate) : int((one.end_s - 0.3) * rate)]
    tones = _tones(rng, one.rev_min / 60.0)
    cut = _with(rng, bare, rate, tones, one.rev_min / 60.0)
    idle_hz = one.rev_min / 60.0 * (1.0 + 0.02 * rng.random())  # free of the load, a little faster
    hum = _hiss(rng, int(_IDLE_S * rate))
    idle = _with(rng, hum, rate, [replace(t, level_db=t.level_db + 9.0) for t in tones], idle_hz)
    with tempfile.TemporaryDirectory(prefix="chatter-whine-") as folder:
        place = Path(folder)
        plain, _ = write_recording(place / "bare", bare, rate, Format("wav"))
        path, _ = write_recording(place / "cut", cut, rate, Format("wav"))
        beside, _ = write_recording(place / "idle", idle, rate, Format("wav"))
        try:
            return _listened(kind, plain, path, beside, truth.job)
        except ChatterError:
            return None


def _tones(rng: np.random.Generator, turning_hz: float) -> list[MachineTone]:
    made = []
    for i in range(int(rng.integers(3, 6))):
        hz = float(np.exp(rng.uniform(np.log(250.0), np.log(3500.0))))
        geared = i < 2 or rng.random() < 0.5
        order = round(hz / turning_hz) + rng.choice([0.0, 0.31, 0.47]) if geared else 0.0
        made.append(
            MachineTone(
                float(order), hz, float(rng.uniform(-18.0, 3.0)), float(rng.uniform(0, 0.4))
            )
        )
    return made


def _with(
    rng: np.random.Generator,
    x: np.ndarray,
    rate: int,
    tones: Sequence[MachineTone],
    turning_hz: float,
) -> np.ndarray:
    """A recording with the tones in it, held below clipping."""
    t = np.arange(len(x)) / rate
    level = float(np.sqrt(np.mean(np.square(x, dtype=np.float64))))
    slow = np.interp(t, np.arange(0, t[-1] + 1, 0.5), rng.normal(0, 1, int(2 * t[-1]) + 3)[
        : len(np.arange(0, t[-1] + 1, 0.5))])  # fmt: skip
    made = x.astype(np.float64)
    for tone in tones:
        hz = tone.order * turning_hz if tone.order else tone.hz
        phase = 2 * np.pi * (hz * t + rng.random())
        turn = 1 + tone.swell * np.cos(2 * np.pi * (turning_hz * t + rng.random()))
        gain = level * 10 ** ((tone.level_db + 1.5 * slow) / 20) * np.sqrt(2)
        made += gain * turn * np.sin(phase)
    return (0.5 * made / np.abs(made).max()).astype(np.float32)


def _hiss(rng: np.random.Generator, n: int) -> np.ndarray:
    """Belt, fan and oil: noise that falls towards the high notes."""
    noise = np.fft.rfft(rng.standard_normal(n))
    noise /= np.sqrt(1.0 + np.arange(len(noise)) / (0.01 * len(noise)))
    return np.fft.irfft(noise, n).astype(np.float32)


def _listened(kind: str, bare: Path, cut: Path, idle: Path, job: Job) -> Trial:
    from chatter.listening.front import listen, listen_to, taken_in
    from chatter.logbook import add_machine, open_book
    from chatter.runin.book import add_to_book
    from chatter.teaching.telling import listen_taught, taught

    rev_min = job.cut.speed_rev_min
    with open_book(cut.with_name("book.db")) as opened:
        mill = add_machine(opened, Machine(name="mill that whines"))
        add_to_book(
            opened,
            mill.uid,
            {"kind": "idle", "file": str(idle), "speed": f"{rev_min:g}", "date": "2025-03-01"},
        )
        learned = taught(opened, mill, job)

    alone = listen(bare, job).findings
    plain = listen(cut, job).findings
    with taken_in(cut) as sound:
        told = listen_taught(listen_to, sound, job, learned).findings
    own = sum("known since" in line.label for one in told.passes for line in one.lines)
    return Trial(
        kind, *map(_named, (alone, plain, told)), *map(_p, (alone, plain, told)), named=own
    )


def _named(found: Findings) -> bool:
    return any("chatter" in (one.verdict, *one.also) for one in found.passes)


def _p(found: Findings) -> float:
    return max((one.probabilities["chatter"] for one in found.passes), default=0.0)


def voice_lines(found: Sequence[Trial | None]) -> list[str]:
    """The table as text."""
    trials = [one for one in found if one is not None]
    made = ["chatter named in cuts without idling, on machines that whine; 95 % intervals (Wilson)"]
    for kind, words in (("normal", "quiet cuts (false)"), ("chatter_hopf", "chattering cuts")):
        of = [one for one in trials if one.kind == kind]
        for name, hits, p in (
            ("without the whine", [o.bare for o in of], [o.p_bare for o in of]),
            ("no book", [o.without for o in of], [o.p_without for o in of]),
            ("one idle recording", [o.with_voice for o in of], [o.p_with for o in of]),
        ):
            mean = float(np.mean(p)) if p else float("nan")
            told = Share(sum(hits), len(hits)).words
            made.append(f"  {words:20s} {name:20s} {told:28s} mean probability {mean:.3f}")
    lines = sum(one.named for one in trials)
    made.append(f"  lines named as the machine's own: {lines} in {len(trials)} cuts")
    return made
