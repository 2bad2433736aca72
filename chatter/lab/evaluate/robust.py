"""Robust: changes that do not touch the cut must not change the verdict."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from chatter.errors import ChatterError
from chatter.findings import Findings
from chatter.lab.evaluate.corpus import Corpus, draw_item
from chatter.lab.evaluate.parallel import spread_calls, watched
from chatter.lab.simulate import simulate
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.scene import Format

#: Loudest sample of the untouched recording re full scale, so that a gain of ten up to it
#: from a tenth neither clips nor sinks under the 16-bit steps.
_PEAK = 0.7
_WAV = Format("wav")


@dataclass(frozen=True)
class WrittenTake:
    """A recording about to be written."""

    signal: np.ndarray  # (n,) or (n, channels)
    rate_hz: int
    form: Format = _WAV


@dataclass(frozen=True)
class HeardAnswer:
    """What matters of the answer."""

    verdict: str
    passes: tuple[tuple[float, float, str, float], ...]  # start, end, verdict, p(chatter)


@dataclass(frozen=True)
class Change:
    """One recording, as it was and changed."""

    index: int
    name: str
    before: str
    after: str
    passes_before: int
    passes_after: int
    chatter_shift: float  # largest change of p(chatter) over passes that overlap

    @property
    def outcome(self) -> str:
        """ "same", "flipped", or "came or went"."""
        if self.before == self.after:
            return "same"
        return "came or went" if "cannot_tell" in (self.before, self.after) else "flipped"


def _gain(take: WrittenTake) -> WrittenTake:
    return replace(take, signal=take.signal * np.float32(0.1))


def _polarity(take: WrittenTake) -> WrittenTake:
    return replace(take, signal=-take.signal)


def _rate(take: WrittenTake) -> WrittenTake:
    """To a rate at which nothing is lost."""
    import soxr

    rate = 44_100 if take.rate_hz == 48_000 else 48_000
    return replace(take, signal=soxr.resample(take.signal, take.rate_hz, rate, "VHQ"), rate_hz=rate)


def _stereo(take: WrittenTake) -> WrittenTake:
    """A second microphone further off: the pair that ``_mirrored`` swaps."""
    one = take.signal if take.signal.ndim == 1 else take.signal[:, 0]
    return replace(take, signal=np.stack([one, 0.7 * np.roll(one, 9)], axis=1))


def _mirrored(take: WrittenTake) -> WrittenTake:
    return replace(take, signal=_stereo(take).signal[:, ::-1])


def _tilt(db_per_octave: float) -> Callable[[WrittenTake], WrittenTake]:
    def tilted(take: WrittenTake) -> WrittenTake:
        """About 1 kHz, flat below 50 Hz; then back to the same loudest sample."""
        n = len(take.signal)
        hz = np.maximum(np.fft.rfftfreq(n, 1 / take.rate_hz), 50.0)
        gain = (hz / 1000.0) ** (db_per_octave / (20 * np.log10(2)))
        spectrum = np.fft.rfft(take.signal, axis=0)
        signal = np.fft.irfft((spectrum.T * gain).T, n, axis=0)
        return replace(take, signal=_levelled(signal))

    return tilted


def _codec(name: str, bit_rate: int) -> Callable[[WrittenTake], WrittenTake]:
    return lambda take: replace(take, form=Format(name, bit_rate))


#: Name -> (what it is compared with, the change).
CHANGES: dict[
    str, tuple[Callable[[WrittenTake], WrittenTake] | None, Callable[[WrittenTake], WrittenTake]]
] = {
    "gain x 10": (None, _gain),
    "polarity turned": (None, _polarity),
    "other sample rate": (None, _rate),
    "AAC 96 kbit/s": (None, _codec("m4a", 96_000)),
    "Opus 64 kbit/s": (None, _codec("ogg", 64_000)),
    "mirrored stereo": (_stereo, _mirrored),
    "tilt +2 dB/octave": (None, _tilt(2.0)),
    "tilt -2 dB/octave": (None, _tilt(-2.0)),
}


def robust(corpus: Corpus, indices: Sequence[int], *, jobs: int = 0) -> list[Change]:
    """Listen to each recording as it is and after every change.

    Parameters
    ----------
    corpus : Corpus
    indices : sequence of int
    jobs : int
        Processes; 0 means one per core.
    """
    results = spread_calls(changes_of, [(corpus, index) for index in indices], jobs=jobs)
    found = [one for many in watched(results, "changes", len(indices)) for one in many]
    return sorted(found, key=lambda one: (one.index, list(CHANGES).index(one.name)))


def changes_of(corpus: Corpus, index: int, names: Sequence[str] = ()) -> list[Change]:
    """The changes of one recording.

    Parameters
    ----------
    corpus : Corpus
    index : int
    names : sequence of str
        Keys of ``CHANGES``; all when empty.
    """
    scene, seed = draw_item(corpus, index)
    signal, rate_hz, truth = simulate(scene, seed)
    take = WrittenTake(_levelled(signal), rate_hz)
    plain = _hear(take, truth.job)
    found = []
    for name in names or CHANGES:
        first, change = CHANGES[name]
        before = plain if first is None else _hear(first(take), truth.job)
        after = _hear(change(take), truth.job)
        found.append(
            Change(
                index, name, before.verdict, after.verdict, len(before.passes),
                len(after.passes), _shift(before, after),
            )
        )  # fmt: skip
    return found


def _levelled(signal: np.ndarray) -> np.ndarray:
    return (signal * (_PEAK / max(float(np.abs(signal).max()), 1e-9))).astype(np.float32)


def _hear(take: WrittenTake, job) -> HeardAnswer:
    from chatter.listening.front import listen

    with tempfile.TemporaryDirectory(prefix="chatter-robust-") as folder:
        path, _ = write_recording(Path(folder) / "take", take.signal, take.rate_hz, take.form)
        try:
            found: Findings = listen(path, job).findings
        except ChatterError:
            return HeardAnswer("cannot_tell", ())
    return HeardAnswer(
        found.verdict,
        tuple((p.start_s, p.end_s, p.verdict, p.probabilities["chatter"]) for p in found.passes),
    )


def _shift(before: HeardAnswer, after: HeardAnswer) -> float:
    """Largest change of p(chatter) over pairs of passes that mostly overlap; 0 for none."""
    shifts = [0.0]
    for a in before.passes:
        for b in after.passes:
            shared = min(a[1], b[1]) - max(a[0], b[0])
            if shared > 0.8 * max(a[1] - a[0], b[1] - b[0]):
                shifts.append(abs(a[3] - b[3]))
    return max(shifts)


def robust_lines(changes: Sequence[Change]) -> str:
    """A table: how often each change changed the verdict."""
    lines = [
        f"{'change':20s} {'same':>6s} {'came or went':>13s} {'flipped':>8s} {'passes differ':>14s} "
        f"{'p(chatter) 90 %':>16s}"
    ]
    for name in CHANGES:
        some = [c for c in changes if c.name == name]
        if not some:
            continue
        kinds = [c.outcome for c in some]
        shift = float(np.quantile([c.chatter_shift for c in some], 0.9))
        lines.append(
            f"{name:20s} {kinds.count('same'):6d} {kinds.count('came or went'):13d} "
            f"{kinds.count('flipped'):8d} "
            f"{sum(c.passes_before != c.passes_after for c in some):14d} {shift:16.3f}"
        )
    flips = [c for c in changes if c.outcome == "flipped"]
    lines += [f"  item {c.index}, {c.name}: {c.before} -> {c.after}" for c in flips]
    return "\n".join(lines)
