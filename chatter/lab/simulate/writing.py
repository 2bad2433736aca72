"""Writing: one simulated recording as three files (sound, truth, job card)."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from chatter.job.cards import save_job
from chatter.job.cut import Job
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.recording import simulate
from chatter.lab.simulate.scene import Scene
from chatter.lab.simulate.truth import Truth
from chatter.plain import from_plain, to_json

#: What the truth's file is called, beside the recording.
TRUTH_SUFFIX = ".truth.json"


def write_case(
    stem: str | Path, scene: Scene, seed: int, job: Job | None = None
) -> tuple[Path, Path, Truth]:
    """Simulate and write ``stem`` + sound suffix, ``.toml`` and ``.truth.json``.

    Parameters
    ----------
    stem : path
        Without a suffix; its folder is made when it is missing.
    scene, seed
        As for :func:`simulate`.
    job : Job, optional
        Stated instead of the job that the scene gives (with more detail, say).

    Returns
    -------
    recording, card : Path
    truth : Truth
        With the rate that stands in the file.
    """
    stem = Path(stem)
    stem.parent.mkdir(parents=True, exist_ok=True)
    signal, rate_hz, truth = simulate(scene, seed)
    recording, rate_hz = write_recording(stem, signal, rate_hz, scene.format)
    truth = replace(truth, rate_hz=rate_hz, job=job or truth.job)
    card = stem.with_suffix(".toml")
    save_job(truth.job, card)
    save_truth(truth, stem.with_suffix(TRUTH_SUFFIX))
    return recording, card, truth


def save_truth(truth: Truth, path: str | Path) -> None:
    """Write the truth as JSON."""
    text = to_json(truth, indent=1)
    Path(path).write_text(text + "\n", encoding="utf-8")


def load_truth(path: str | Path) -> Truth:
    """Read what :func:`save_truth` wrote."""
    return from_plain(Truth, json.loads(Path(path).read_text(encoding="utf-8")))
