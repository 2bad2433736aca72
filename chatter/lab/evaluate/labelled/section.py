"""The section of the command: read the folders, listen, score, print, write."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from chatter.lab.evaluate.code import HEARING, code_digest
from chatter.lab.evaluate.labelled import text
from chatter.lab.evaluate.labelled.hearing import Answer, hear_collection
from chatter.lab.evaluate.labelled.listeners import agreements
from chatter.lab.evaluate.labelled.reading import LabelledRecording, read_folder
from chatter.lab.evaluate.labelled.scoring import PartFigures, score_labelled
from chatter.lab.evaluate.labelled.units import of_passes, of_recordings
from chatter.lab.evaluate.page import Section, write
from chatter.lab.evaluate.pictures import reliability_svg

_ABOUT = (
    "Columns are parts of what was heard; cells are hits/of how many, per cent, and Wilson's "
    "95 % interval. A recording counts once; its passes share its weight. A pass counts as found "
    "when it and a labelled one overlap over half of what either covers. The probability that a "
    "recording chatters is that of its likeliest pass, and of a pass that was not found zero."
)
_CURVE = "Bounds for fixed false alarms are set on the same recordings that they are scored on."


def labelled_section(options: argparse.Namespace) -> int:
    """Score every folder, all together, and what runs below 300 rev/min apart."""
    folders = [read_folder(Path(one)) for one in options.labelled]
    recordings = [one for folder in folders for one in folder]
    if options.count:
        recordings = recordings[:: max(1, len(recordings) // options.count)][: options.count]
    answers = hear_collection(recordings, jobs=options.jobs, cache=options.cache)
    parts = figures_by_folder(recordings, answers)
    units = of_recordings(recordings, answers)
    agreed = agreements([*of_passes(recordings, answers), *units])
    title = f"Labelled recordings: {', '.join(dict.fromkeys(one.folder for one in recordings))}"
    made = f"code {code_digest(HEARING)}, {date.today()}."
    figures = text.figures_table(parts)
    confusions = "\n\n".join(text.confusion_table(part) for part in parts)
    worst = text.worst_recording_lines(recordings, units, options.worst)
    broken = "\n".join(
        f"{one.folder}/{one.path.name}: {(a.error or a.crash or '').strip().splitlines()[-1]}"
        for one, a in zip(recordings, answers, strict=True)
        if a.error or a.crash
    )
    print(title, _ABOUT, _CURVE, "", confusions, "", figures, sep="\n")
    print("", text.agreement_lines(agreed), "", worst, "", broken, sep="\n")
    sections = (
        Section("Figures", (_ABOUT, _CURVE), "", figures),
        *(
            Section(f"How sure, how right: {part.title}", (), reliability_svg(kept), "")
            for part in parts
            if (kept := {k: v for k, v in part.reliability.items() if v.bins})
        ),
        Section("Labelled against answered", (), "", confusions),
        Section("Listeners", (), "", text.agreement_lines(agreed)),
        Section("The worst", (), "", worst),
    )
    data = {
        "parts": parts,
        "agreements": agreed,
        "answers": [
            {"file": f"{one.folder}/{one.path.name}", "label": one.said.label, **_short(a)}
            for one, a in zip(recordings, answers, strict=True)
        ],
    }
    paths = write(options.out, "evaluation-labelled", title, made, None, sections, data)
    print("\n" + "\n".join(str(path) for path in paths))
    return 0


def figures_by_folder(
    recordings: Sequence[LabelledRecording], answers: Sequence[Answer]
) -> list[PartFigures]:
    """Each folder, all of them together when there are several, and each below 300 rev/min."""
    pairs = list(zip(recordings, answers, strict=True))
    folders = list(dict.fromkeys(one.folder for one in recordings))
    made = []
    for name in [*folders, *(["all"] if len(folders) > 1 else [])]:
        of = [pair for pair in pairs if name in (pair[0].folder, "all")]
        slow = [pair for pair in of if pair[0].slow]
        for title, some in ((name, of), (f"{name}, below 300", slow)):
            if some and (title == name or len(slow) < len(of)):
                made.append(score_labelled(title, *zip(*some, strict=True)))
    return made


def _short(answer: Answer) -> dict:
    plain = replace(answer, passes=()).__dict__
    passes = [
        {
            "start_s": one.start_s,
            "end_s": one.end_s,
            "verdict": one.verdict,
            "confidence": one.confidence,
            "probabilities": one.probabilities,
            "rev_min": one.rev_min,
            "chatter_hz": one.chatter_hz,
        }
        for one in answer.passes
    ]
    return {**plain, "p_chatter": answer.p_chatter, "passes": passes}
