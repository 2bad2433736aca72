"""Recordings of one maker, reworked: ``python -m chatter.lab.fit.mixed OUT --cuts FOLDER
--rests FOLDER``.

No simulator draws real machines, rooms and phones as they are, and a model fitted on few makers
learns their habits.  This takes what is heard beside the passes of one labelled folder (idling
machines, rooms, everyday sound), lays it under the recordings of another at a chance level, plays
the whole faster or slower (all frequencies and times go with it), through a chance response, and
sometimes keeps only what lies inside a pass, as if nobody had recorded the idling, and sometimes
states a lever that stands elsewhere or teeth that were miscounted.  The truth goes along.  In a
fit such a folder's maker is written CUTS+RESTS, and is left out with either.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from chatter.lab.evaluate.folder import save_index
from chatter.lab.fit.layouts import (
    CLEAR_S,
    begun_and_ended,
    beside,
    laid_out,
    repeated,
    rms,
    through_gears,
)
from chatter.lab.fit.truths import FitPass, TrueRecording, read_truths
from chatter.listening.track import Track
from chatter.sound.intake import take_in

#: Stands in a name between that of the cut and that of the rest.
OVER = "-over-"
#: A rest is worth taking from here on [s].
_SHORTEST_S = 1.5
#: Level of the rest under the recording's loudest half second [dB].
_LEVEL_DB = (-22.0, 2.0)
#: Speed of playing, as a ratio and its inverse.
_MOST_FASTER = 1.3
#: Response: tilt [dB an octave], and so many broad peaks or dips [dB].
_TILT_DB, _BENDS, _BEND_DB = 1.5, 5, 4.0
#: Share of recordings of which only what lies inside a pass is kept, if that is long enough [s].
_INSIDE_SHARE, _INSIDE_S = 0.3, 4.0
#: Shares of recordings without a cut in which only the one sound is heard, as it was, or only
#: the other, while gears are changed.
_ALONE_SHARE, _GEARS_SHARE = 0.3, 0.3
#: Share of recordings that are stated wrongly, how many of these by the lever, and how far that
#: stands off [log].
_WRONG_SHARE, _LEVER_SHARE, _LEVER_OFF = 0.15, 0.6, (0.1, 0.5)


@dataclass(frozen=True)
class Rest:
    """A stretch in which nothing is cut."""

    path: Path
    start_s: float
    end_s: float


def rests_of(folder: Path) -> tuple[Rest, ...]:
    """The stretches of a labelled folder in which nothing is cut.

    Raises
    ------
    RecordingError
        The folder holds no table, or a recording cannot be heard.
    """
    found = []
    for truth in read_truths(folder, "rests"):
        if truth.cutting is not False and not truth.known:
            continue
        with _Sound(truth.path) as sound:
            length = sound.length_s
        spans = beside(truth.passes, length, _SHORTEST_S)
        found += [Rest(truth.path, start, end) for start, end in spans]
    return tuple(found)


def lay_under(cut: np.ndarray, rest: np.ndarray, rate_hz: int, level_db: float) -> np.ndarray:
    """A recording with a rest under all of it.

    Parameters
    ----------
    cut : ndarray, shape (n,)
    rest : ndarray, shape (m,)
        At the same rate; repeated, forwards and backwards in turn, where it is shorter.
    rate_hz : int
    level_db : float
        Of the rest against the recording's loudest half second.

    Returns
    -------
    ndarray, shape (n,)
    """
    under = repeated(rest, cut.size)
    half = min(rate_hz // 2, cut.size)
    blocks = cut[: cut.size // half * half].reshape(-1, half)
    loudest = float(np.sqrt((blocks**2).mean(axis=1).max()))
    own = max(rms(under), 1e-9)
    return cut + under * (loudest * 10.0 ** (level_db / 20.0) / own)


def through_response(x: np.ndarray, rate_hz: int, rng: np.random.Generator) -> np.ndarray:
    """Sound through a tilt and a few broad peaks and dips, by chance, shape (n,)."""
    spectrum = np.fft.rfft(x)
    octave = np.log2(np.maximum(np.fft.rfftfreq(x.size, 1.0 / rate_hz), 20.0) / 1000.0)
    gain_db = rng.normal(0.0, _TILT_DB) * octave
    for _ in range(_BENDS):
        bend = np.exp(-(((octave - rng.uniform(-3.5, 3.0)) / rng.uniform(0.1, 0.6)) ** 2))
        gain_db += rng.normal(0.0, _BEND_DB) * bend
    return np.fft.irfft(spectrum * 10.0 ** (gain_db / 20.0), x.size)


def faster(truth: TrueRecording, ratio: float) -> TrueRecording:
    """The truth of a recording that is played ``ratio`` times as fast."""
    passes = tuple(
        replace(
            one,
            start_s=one.start_s / ratio,
            end_s=one.end_s / ratio,
            rev_min=one.rev_min * ratio,
            chatter_hz=tuple(f * ratio for f in one.chatter_hz),
        )
        for one in truth.passes
    )
    return replace(truth, rev_min=truth.rev_min * ratio, passes=passes)


def inside(truth: TrueRecording, one: FitPass) -> tuple[TrueRecording, float, float]:
    """The truth of what lies inside one pass; from and to when that is [s]."""
    start, end = one.start_s + CLEAR_S, one.end_s - CLEAR_S
    kept = replace(one, start_s=0.0, end_s=end - start)
    chatter = None if one.causes is None else one.chatters
    return replace(truth, passes=(kept,), chatter=chatter), start, end


def stated_wrongly(truth: TrueRecording, rng: np.random.Generator) -> TrueRecording:
    """The same recording with the lever read wrongly, or the teeth miscounted."""
    if rng.random() < _LEVER_SHARE:
        off = rng.choice((-1.0, 1.0)) * rng.uniform(*_LEVER_OFF)
        return replace(truth, rev_min=truth.rev_min * float(np.exp(off)))
    teeth = truth.teeth
    counts = [one for one in (teeth - 1, teeth + 1, teeth // 2, 2 * teeth) if one not in (0, teeth)]
    return replace(truth, teeth=int(rng.choice(counts)))


def label_row(truth: TrueRecording, file: str) -> dict:
    """One row of the table."""
    passes = []
    for one in truth.passes:
        first, *also = sorted(one.causes or ()) or ["normal"]
        passes.append(
            {
                "start_s": round(one.start_s, 4), "end_s": round(one.end_s, 4), "verdict": first,
                "also": also, "marginal": one.causes is None, "rev_min": one.rev_min,
                "chatter_hz": list(one.chatter_hz),
            }
        )  # fmt: skip
    verdict = passes[0]["verdict"] if passes else "machine_only"
    return {
        "file": file, "verdict": verdict, "stated_rev_min": truth.rev_min,
        "teeth": truth.teeth, "true_teeth": truth.true_teeth, "passes": passes,
    }  # fmt: skip


def make_mixed(
    cuts: Path, rests: Path, out: Path, *, count: int, seed: int, layouts: bool = False
) -> int:
    """Write up to ``count`` recordings and their table; return how many.

    ``layouts`` puts passes and idling together in another order; what has none is passed over.

    Raises
    ------
    RecordingError
        A folder holds no table, or a recording cannot be heard.
    """
    rng = np.random.default_rng(seed)
    places = rests_of(rests)
    truths = [one for one in read_truths(cuts, "cuts") if one.passes or one.cutting is False]
    out.mkdir(parents=True, exist_ok=True)
    rows = []
    for at in rng.permutation(len(truths)):
        if len(rows) == count:
            break
        truth, place = truths[at], places[int(rng.integers(len(places)))]
        reworked = _reworked(truth, place, rng, layouts=layouts)
        if reworked is None:
            continue
        x, rate, truth = reworked
        name = f"{truth.path.stem}{OVER}{place.path.stem}.flac"
        _write(out / name, x, rate)
        if rng.random() < _WRONG_SHARE:
            truth = stated_wrongly(truth, rng)
        rows.append(label_row(truth, name))
    save_index(out, rows)
    return len(rows)


def make_rests(cuts: Path, rests: Path, out: Path, *, count: int, seed: int) -> int:
    """Write ``count`` recordings in which nothing is cut: what lies beside the passes of one
    folder goes on at one speed or several, or that of the other comes and goes in it; return
    how many.

    Stated are speeds and tooth counts of ``cuts``.

    Raises
    ------
    RecordingError
        A folder holds no table, or a recording cannot be heard.
    """
    rng = np.random.default_rng(seed)
    lasting, coming = rests_of(cuts), rests_of(rests)
    stated = read_truths(cuts, "cuts")
    out.mkdir(parents=True, exist_ok=True)
    rows = []
    for number in range(count):
        first, second = (one[int(rng.integers(len(one)))] for one in (lasting, coming))
        x, rate = _stretch(first)
        other = _at_rate(*_stretch(second), rate)
        kind = rng.random()
        if kind < _ALONE_SHARE:
            x = other
        elif kind < _ALONE_SHARE + _GEARS_SHARE:
            x = through_gears(x, rate, rng)
        else:
            x = begun_and_ended(x, other, rate, rng)
        x = through_response(x, rate, rng)
        x = _at_rate(x, _other_rate(rate, rng), rate)
        name = f"{first.path.stem}{OVER}{second.path.stem}{OVER}{number}.flac"
        _write(out / name, x, rate)
        truth = stated[int(rng.integers(len(stated)))]
        rows.append(label_row(replace(truth, passes=(), cutting=False), name))
    save_index(out, rows)
    return len(rows)


def _stretch(rest: Rest) -> tuple[np.ndarray, int]:
    with _Sound(rest.path) as sound:
        return sound.read(rest.start_s, rest.end_s), sound.rate_hz


def _reworked(
    truth: TrueRecording, place: Rest, rng: np.random.Generator, *, layouts: bool
) -> tuple[np.ndarray, int, TrueRecording] | None:
    with _Sound(truth.path) as sound:
        rate = sound.rate_hz
        x = sound.read(0.0, sound.length_s)
    if layouts:
        other = laid_out(x, rate, truth, rng)
        if other is None:
            return None
        x, truth = other
    rest = _at_rate(*_stretch(place), rate)
    x = through_response(lay_under(x, rest, rate, rng.uniform(*_LEVEL_DB)), rate, rng)
    only = not layouts and rng.random() < _INSIDE_SHARE
    long = [one for one in truth.passes if one.end_s - one.start_s > _INSIDE_S]
    if only and long:
        truth, start, end = inside(truth, long[int(rng.integers(len(long)))])
        x = x[int(start * rate) : int(end * rate)]
    said = _other_rate(rate, rng)
    return _at_rate(x, said, rate), rate, faster(truth, said / rate)


def _other_rate(rate_hz: int, rng: np.random.Generator) -> int:
    """To play a recording faster or slower its samples stay and are said to have this rate; then
    they are brought back to the first."""
    return round(rate_hz * float(np.exp(rng.uniform(-1.0, 1.0) * np.log(_MOST_FASTER))))


def _write(path: Path, x: np.ndarray, rate_hz: int) -> None:
    """Write a recording, softer where it would clip."""
    import soundfile

    x = x * min(1.0, 0.98 / max(float(np.abs(x).max()), 1e-9))
    soundfile.write(path, x.astype(np.float32), rate_hz, subtype="PCM_16")


class _Sound:
    """A recording, open for reading."""

    def __init__(self, path: Path) -> None:
        self._taken = take_in(path)
        self._track = Track.of(self._taken.spool)
        self.rate_hz = int(self._track.rate_hz)
        self.length_s = self._track.n / self._track.rate_hz

    def read(self, start_s: float, end_s: float) -> np.ndarray:
        first, last = int(start_s * self.rate_hz), int(end_s * self.rate_hz)
        return np.asarray(self._track.read(first, min(last, self._track.n)), np.float64)

    def __enter__(self) -> _Sound:
        return self

    def __exit__(self, *_: object) -> None:
        self._taken.spool.close()


def _at_rate(x: np.ndarray, rate_hz: int, wanted_hz: int) -> np.ndarray:
    if rate_hz == wanted_hz:
        return x
    import soxr

    return soxr.resample(x, rate_hz, wanted_hz)


def main(arguments: list[str] | None = None) -> int:
    """Run the command and return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.fit.mixed", description=__doc__)
    parser.add_argument("out", type=Path, help="folder to write into")
    parser.add_argument("--cuts", type=Path, required=True, help="folder whose cuts are heard")
    parser.add_argument("--rests", type=Path, required=True, help="folder whose rests lie under")
    parser.add_argument("--count", type=int, default=100, help="how many (default: %(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="another number, other pairs")
    parser.add_argument("--layouts", action="store_true", help="passes and idling in another order")
    parser.add_argument(
        "--nothing-cut", action="store_true", help="only rests of both, with no cut in them"
    )
    options = parser.parse_args(arguments)
    places = (options.cuts, options.rests, options.out)
    if options.nothing_cut:
        count = make_rests(*places, count=options.count, seed=options.seed)
    else:
        count = make_mixed(*places, count=options.count, seed=options.seed, layouts=options.layouts)
    print(f"{count} recordings")
    return 0


if __name__ == "__main__":
    sys.exit(main())
