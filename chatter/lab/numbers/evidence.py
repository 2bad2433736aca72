"""Measured once a recording, whatever is stated of it, and kept."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path

import numpy as np

from chatter.lab.evaluate.code import code_digest
from chatter.lab.evaluate.parallel import spread_calls, watched
from chatter.lab.numbers.cases import NumbersCase
from chatter.listening.clocks import Gains
from chatter.listening.rates import Rates
from chatter.listening.track import Track

#: What decides what is measured.
_MEASURING = ("sound", "listening/clocks.py", "listening/rates.py")


def rates_of(cases: Sequence[NumbersCase], cache: Path, *, jobs: int = 1) -> tuple[Rates, ...]:
    """What was measured of each case, in their order; what is kept is not measured again."""
    place = cache / f"rates-{code_digest(_MEASURING)}"
    place.mkdir(parents=True, exist_ok=True)
    kept = [place / f"{key_of(one.path)}.npz" for one in cases]
    todo = [(one.path, to) for one, to in zip(cases, kept, strict=True) if not to.is_file()]
    done = len(cases) - len(todo)
    for _ in watched(
        spread_calls(measure_evidence, todo, jobs=jobs), "measuring", len(cases), done=done
    ):
        pass
    return tuple(load_evidence(one) for one in kept)


def key_of(path: Path) -> str:
    """A recording by its content."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:24]


def measure_evidence(path: Path, to: Path) -> None:
    """Measure a recording and keep it.  Raises RecordingError."""
    from chatter.listening.rates import measure_rates
    from chatter.sound.intake import take_in

    sound = take_in(path, frames=True)
    with sound.spool as spool:
        save_evidence(measure_rates(Track.of(spool), sound.frames), to)


def save_evidence(rates: Rates, to: Path) -> None:
    """Write what was measured; half a file is none."""
    made = {"length_s": np.array(rates.length_s)}
    for kind in ("sound", "apart", "slow", "fast"):
        for length, gains in getattr(rates, kind).items():
            made[f"{kind}|{length}"] = gains.gain.astype(np.float32)
            made[f"{kind}|{length}|"] = np.array([gains.step_hz, gains.mean])
    half = to.with_suffix(".half.npz")
    np.savez(half, **made)
    half.replace(to)


def load_evidence(path: Path) -> Rates:
    """Read what ``save_evidence`` wrote."""
    by: dict[str, dict[float, Gains]] = {
        one.name: {} for one in fields(Rates) if one.name != "length_s"
    }
    with np.load(path) as kept:
        for name in kept.files:
            kind, _, length = name.partition("|")
            if not length or length.endswith("|"):
                continue
            step, mean = kept[f"{name}|"]
            by[kind][float(length)] = Gains(kept[name], float(step), float(mean))
        return Rates(**by, length_s=float(kept["length_s"]))
