"""The sections of the evaluation: each makes its run, prints, and writes page and JSON."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from datetime import date

from chatter.lab.evaluate.code import code_digest
from chatter.lab.evaluate.corpus import Corpus
from chatter.lab.evaluate.outcome import RecordingOutcome
from chatter.lab.evaluate.page import Section, write
from chatter.lab.evaluate.run import run_corpus

#: Recordings when no --count is given: section -> (full, quick).
COUNTS = {
    "score": (2000, 60), "robust": (40, 12), "no_cutting": (300, 30),
    "missing": (120, 24),
}  # fmt: skip

WORST_WORDS = (
    "Answers that name no cause that holds, the most confident first, one per recording. "
    "--item N --keep DIR makes recording N again and keeps it."
)
BOUNDARY_WORDS = (
    "The line is the boundary of the published benchmark: above it the cut chatters. A full dot "
    "is a cut in which chatter was named, an open one a cut with another verdict, a cross one "
    "without a verdict."
)
ROBUST_WORDS = (
    "Each recording is listened to as it is and again after a change that does not touch the "
    "cut. A verdict is flipped when two different verdicts are given; it comes or goes when one "
    "of the two is no verdict."
)
MISSING_WORDS = (
    "The same scenes, simulated again with one hindrance taken away, judged by the same model. "
    "What is gained is the information the hindrance hid; what is still lacking when all is taken "
    "away is not in the sound, or not in what is measured of it."
)


def count_of(options: argparse.Namespace, section: str) -> int:
    """How many recordings are asked for."""
    return options.count or COUNTS[section][1 if options.quick else 0]


def run_section(
    options: argparse.Namespace, corpus: Corpus, count: int
) -> tuple[list[RecordingOutcome], str]:
    """Run a corpus; also say in one line what was run."""
    code = code_digest()
    indices = options.item or range(count)
    outcomes = run_corpus(
        corpus, indices, jobs=options.jobs, cache=options.cache, keep=options.keep
    )
    made = (
        f"Corpus {corpus.name} (fingerprint {corpus.fingerprint()}), {len(outcomes)} recordings, "
        f"code {code}, {date.today()}."
    )
    if code_digest() != code:
        print("The code changed during the run: these figures mix two states.", file=sys.stderr)
        made += " The code changed during the run."
    for one in outcomes:
        if one.crash:
            print(f"\nitem {one.index} crashed:\n{one.crash}")
    return outcomes, made


def score_section(options: argparse.Namespace) -> int:
    """Score a corpus, or the recordings without cutting."""
    from chatter.lab.evaluate.cases import judged_cases
    from chatter.lab.evaluate.score import score_run
    from chatter.lab.evaluate.text import score_lines, split_lines
    from chatter.lab.evaluate.worst import worst_lines

    name = "no_cutting" if options.no_cutting else "score"
    mixture = "no_cutting" if options.no_cutting else "mixture"
    corpus = Corpus(options.ranges or "reporting", mixture, options.seed)
    count = count_of(options, name)
    outcomes, made = run_section(options, corpus, count)
    scored = score_run(outcomes)
    wrong = worst_lines(judged_cases(outcomes).cases)
    what = "recordings without cutting" if options.no_cutting else "recordings"
    title = f"How right the verdicts are: {corpus.ranges} corpus, {len(outcomes)} {what}"
    print(score_lines(scored, title))
    print(split_lines(scored))
    print(f"\nworst answers, one per recording\n{wrong}")
    section = Section("The worst answers", (WORST_WORDS,), "", wrong)
    out = "evaluation-no-cutting" if options.no_cutting else "evaluation"
    return _written(write(options.out, out, title, made, scored, (section,), {"corpus": corpus}))


def robust_section(options: argparse.Namespace) -> int:
    """How often a change that must not matter changes a verdict."""
    from chatter.lab.evaluate.robust import robust, robust_lines

    corpus, indices = _some(options, "robust")
    title = f"What must not change a verdict: {len(indices)} recordings, {corpus.ranges} corpus"
    changes = robust(corpus, indices, jobs=options.jobs)
    section = Section("Changes", (ROBUST_WORDS,), "", robust_lines(changes))
    return _table(options, "evaluation-robust", corpus, title, section, {"changes": changes})


def missing_section(options: argparse.Namespace) -> int:
    """Which information is missing."""
    from chatter.lab.evaluate.missing import judge_missing, missing_lines

    corpus, indices = _some(options, "missing")
    title = f"What is missing: {len(indices)} recordings, {corpus.ranges} corpus"
    ways = judge_missing(corpus, indices, jobs=options.jobs)
    section = Section("Hindrances", (MISSING_WORDS,), "", missing_lines(ways))
    return _table(options, "evaluation-missing", corpus, title, section, {"ways": ways})


def _some(options: argparse.Namespace, section: str) -> tuple[Corpus, Sequence[int]]:
    """The corpus, and which of its recordings."""
    corpus = Corpus(options.ranges or "reporting", base_seed=options.seed)
    return corpus, options.item or range(count_of(options, section))


def _table(
    options: argparse.Namespace, out: str, corpus: Corpus, title: str, section: Section, data: dict
) -> int:
    """Print one table and write its page."""
    print(title)
    print(section.lines)
    made = f"Corpus {corpus.name}, code {code_digest()}, {date.today()}."
    return _written(write(options.out, out, title, made, None, (section,), data))


def boundary_section(options: argparse.Namespace) -> int:
    """The stability boundary of the milling benchmark, traced by verdicts."""
    from chatter.lab.evaluate.boundary import boundary, boundary_lines, boundary_svg

    grid = boundary(jobs=options.jobs, quick=options.quick)
    title = "Verdicts over speed and depth of a published milling benchmark"
    print(title)
    print(boundary_lines(grid))
    made = f"code {code_digest()}, {date.today()}."
    section = Section(
        "Where it chatters",
        (grid.about, BOUNDARY_WORDS, *boundary_lines(grid).splitlines()),
        boundary_svg(grid),
    )
    return _written(
        write(options.out, "evaluation-boundary", title, made, None, (section,), {"grid": grid})
    )


def _written(paths: tuple) -> int:
    print("\n" + "\n".join(str(path) for path in paths))
    return 0
