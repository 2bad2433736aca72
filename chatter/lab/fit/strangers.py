"""Whole listens to makers left out: what a user with a recording of a new kind would be told."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from chatter.job.cut import Job
from chatter.lab.evaluate.labelled import text
from chatter.lab.evaluate.labelled.hearing import Answer, hear_collection, hear_labelled
from chatter.lab.evaluate.labelled.reading import LabelledRecording, read_folder
from chatter.lab.evaluate.labelled.section import figures_by_folder
from chatter.lab.evaluate.model_file import write_model
from chatter.lab.fit.left_out import LeftOutAnswer, fit_calibration, limits
from chatter.lab.fit.stages import Models
from chatter.lab.fit.steps import lost_lines, lost_steps
from chatter.listening.trees import use_model

#: Tells the processes that listen where the model of the maker left out lies.
_MODEL = "CHATTER_LAB_MODEL"


def hear_left_out(place: int, path: Path, job: Job) -> tuple[int, Answer]:
    """Listen by the model that ``_MODEL`` names."""
    use_model(Path(os.environ[_MODEL]))
    return hear_labelled(place, path, job)


def score_left_out(
    folders: Mapping[str, Path],
    models: Mapping[str, Models],
    told: Sequence[LeftOutAnswer],
    *,
    jobs: int,
    cache: Path,
    worst: int = 20,
) -> str:
    """Listen to each maker's folder with the model fitted without it; the table of figures.

    Parameters
    ----------
    folders : dict
        Maker -> folder with labels that the scorer of labelled collections reads.
    models : dict
        Maker -> models fitted without it.
    told : sequence of LeftOutAnswer
        Sureness and limits of a maker come from the answers about the others.
    jobs : int
        Processes; 0 means one per core.
    cache : Path
        Where what is measured is kept.
    worst : int
        So many of each maker's worst answers are gone through step by step.
    """
    recordings: list[LabelledRecording] = []
    answers: list[Answer] = []
    lost: list[str] = []
    with tempfile.TemporaryDirectory(prefix="chatter-fit-") as folder:
        for maker, labelled in folders.items():
            others = [one for one in told if one.one.truth.maker != maker]
            calibration = fit_calibration(others)
            place = Path(folder) / f"{maker}.json"
            write_model(
                {
                    "code": f"without {maker}",
                    "calibration": calibration,
                    "limits": limits(others, calibration),
                    "forests": models[maker].plain,
                },
                place,
            )
            os.environ[_MODEL] = str(place)
            mine = read_folder(labelled)
            heard = hear_collection(mine, jobs=jobs, work=hear_left_out)
            recordings += mine
            answers += heard
            steps = lost_steps(mine, heard, told, models[maker], calibration, cache, worst)
            lost.append(lost_lines(steps))
    parts = figures_by_folder(recordings, answers)
    confusions = "\n\n".join(text.confusion_table(part) for part in parts)
    return "\n\n".join((confusions, text.figures_table(parts), *lost))
