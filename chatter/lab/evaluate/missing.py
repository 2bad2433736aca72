"""Missing: what the phone, the shop and the shortness of a take keep from the listener.

The same scenes are simulated again with one hindrance taken away at a time, and judged by
the same model.  What the verdicts gain is the information that the hindrance hid; what
they still lack when all is taken away is not in the sound, or not in the measures.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from chatter.errors import ChatterError
from chatter.lab.evaluate.corpus import Corpus, draw_item
from chatter.lab.evaluate.figures import Proportion, figures
from chatter.lab.evaluate.outcome import RecordingOutcome, recording_outcome
from chatter.lab.evaluate.parallel import spread_calls, watched
from chatter.lab.simulate import Scene, simulate
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.scene import Format, SimulatedRoom

_NAMES = ("coverage", "accuracy", "balanced_accuracy", "chatter_recall", "confident_wrong")


def _best_phone(scene: Scene) -> Scene:
    """Flat from 20 Hz, no gain control, no gating, nothing lost in coding."""
    phone = replace(
        scene.phone, rate_hz=48_000, roll_off_hz=20.0, roll_off_order=1, tilt_db_octave=0.0,
        noise_db=-90.0, peak=0.7, agc_db=0.0, suppression_db=0.0, band_limit_hz=None,
        thumps_per_s=0.0, channels=1,
    )  # fmt: skip
    return replace(scene, phone=phone, format=Format("wav"))


def _still_shop(scene: Scene) -> Scene:
    """Nothing else is heard, and the machine itself 40 dB below the cut."""
    machine = scene.machine
    if machine is not None and scene.passes:
        machine = replace(machine, level_db=-40.0)
    return replace(scene, machine=machine, distractors=() if scene.passes else scene.distractors)


def _no_room(scene: Scene) -> Scene:
    """The phone hangs in the open."""
    return replace(scene, room=SimulatedRoom(0.05, -40.0))


def _true_job(scene: Scene) -> Scene:
    """Speed and tooth count are stated as they are."""
    said = replace(scene.stated, rev_min=scene.rev_min, teeth=scene.teeth.count)
    return replace(scene, stated=said)


def _all(scene: Scene) -> Scene:
    return _true_job(_no_room(_still_shop(_best_phone(scene))))


#: Name -> what is taken away.
WAYS: dict[str, Callable[[Scene], Scene]] = {
    "as it is": lambda scene: scene,
    "the best phone": _best_phone,
    "a still shop": _still_shop,
    "no room": _no_room,
    "speed and teeth known": _true_job,
    "all of these": _all,
}


@dataclass(frozen=True)
class Way:
    """The figures with one hindrance taken away."""

    name: str
    figures: dict[str, Proportion]
    causes: dict[str, float]  # share right of the passes whose gravest cause it is


def judge_missing(corpus: Corpus, indices: Sequence[int], *, jobs: int = 0) -> list[Way]:
    """Judge the scenes of a corpus in every way of ``WAYS``.

    Parameters
    ----------
    corpus : Corpus
    indices : sequence of int
    jobs : int
        Processes; 0 means one per core.
    """
    from chatter.lab.evaluate.cases import judged_cases

    made = spread_calls(outcomes_of, [(corpus, index) for index in indices], jobs=jobs)
    heard: dict[str, list[RecordingOutcome]] = {name: [] for name in WAYS}
    for many in watched(made, "hindrances", len(indices)):
        for name, outcome in many.items():
            heard[name].append(outcome)
    found = []
    for name, outcomes in heard.items():
        cases = judged_cases(outcomes).cases
        found.append(Way(name, figures(cases, names=_NAMES, draws=200), _by_cause(cases)))
    return found


def outcomes_of(corpus: Corpus, index: int) -> dict[str, RecordingOutcome]:
    """One scene in every way."""
    scene, seed = draw_item(corpus, index)
    return {name: _outcome(change(scene), seed, index) for name, change in WAYS.items()}


def _outcome(scene: Scene, seed: int, index: int) -> RecordingOutcome:
    from chatter.listening.front import listen

    began = time.perf_counter()
    signal, rate_hz, truth = simulate(scene, seed)
    heard = error = None
    with tempfile.TemporaryDirectory(prefix="chatter-missing-") as folder:
        path, _ = write_recording(Path(folder) / "take", signal, rate_hz, scene.format)
        made = time.perf_counter()
        try:
            heard = listen(path, truth.job)
        except ChatterError as refused:
            error = str(refused)
    done = time.perf_counter()
    return recording_outcome(
        index, truth, heard, make_s=made - began, listen_s=done - made, error=error
    )


def _by_cause(cases: Sequence) -> dict[str, float]:
    """Share of each true cause's weight that is rightly told, unanswered counting as not."""
    told = {}
    for name in ("normal", "side_rubbing", "chatter", "uneven_teeth"):
        some = [c for c in cases if c.truth == name]
        whole = sum(c.weight for c in some)
        told[name] = sum(c.weight for c in some if c.right) / whole if whole else float("nan")
    return told


def missing_lines(ways: Sequence[Way]) -> str:
    """The table."""
    heads = ("answered", "right", "balanced", "chatter", "sure, wrong")
    lines = [
        f"{'taken away':24s}" + "".join(f"{head:>19s}" for head in heads),
    ]
    for way in ways:
        shares = [way.figures[name] for name in _NAMES]
        cells = (f"{100 * s.value:5.1f}% ({100 * s.low:3.0f}-{100 * s.high:3.0f})" for s in shares)
        lines.append(f"{way.name:24s}" + "".join(f"{cell:>19s}" for cell in cells))
    lines.append("\nrightly told, of all passes with that cause")
    causes = list(ways[0].causes) if ways else []
    lines.append(f"{'taken away':24s}" + "".join(f"{c.replace('_', ' '):>15s}" for c in causes))
    for way in ways:
        cells = "".join(f"{100 * way.causes[c]:14.1f}%" for c in causes)
        lines.append(f"{way.name:24s}{cells}")
    return "\n".join(lines)
