"""Run: each case is simulated and heard once, then once more for every remedy that fired."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path

from chatter.findings import Suggestion
from chatter.job.cut import Job
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.recording import simulate
from chatter.lab.simulate.scene import Scene
from chatter.lab.trials.judge import TrialTake, confirmed, improved
from chatter.lab.trials.levers import NOT_TRIED, RULES_NOT_TRIED, Turned, turn
from chatter.lab.trials.scenes import attentive_job, deepening, drawn, retimed
from chatter.listening.front import listen
from chatter.trade.modes import Mode
from chatter.trade.remedies import suggest
from chatter.trade.rules import rule_table


@dataclass(frozen=True)
class TrialGroup:
    """A sort of case, and the rules that are to be tried on it."""

    name: str
    kind: str  # of chatter.lab.simulate.draw
    regime: str
    rules: tuple[str, ...]
    chatters: bool = False
    tapped: bool = False  # a faultless tap test is at hand
    overhang: float | None = None  # over the cutter's diameter
    side_relief: bool | None = None
    peak: float = 0.4  # of the phone; above 1 clips
    turns: float | None = None  # length of the pass, when it is not the usual one
    deepens: float = 0.0  # how much wider the chip is at the end of the pass than at its start


_DISC = ("staggered_high_lobe", "slower_for_damping", "fewer_teeth", "check_arbor_support")
_ANY = ("half_depth", "support_thin_work", "climb_without_backlash")
_UNEVEN = (
    "quarter_turn",
    "indicate_runout",
    "one_high_tooth",
    "eccentric_cutter",
    "regrind_even",
)

GROUPS = (
    TrialGroup(
        "end mill chatters",
        "chatter_hopf",
        "end_mill",
        ("speed_step", "unequal_end_mill", "check_tool_holding", "long_tool", *_ANY),
        chatters=True,
        overhang=4.0,
    ),
    TrialGroup(
        "end mill chatters, tapped",
        "chatter_hopf",
        "end_mill",
        ("speed_step", "unequal_end_mill", "stiffen_tapped_mode", *_ANY),
        chatters=True,
        tapped=True,
    ),
    TrialGroup("saw chatters", "chatter_hopf", "saw", (*_DISC, *_ANY), chatters=True),
    TrialGroup(
        "side mill chatters, tapped",
        "chatter_hopf",
        "side_mill",
        (*_DISC, "stiffen_tapped_mode", *_ANY),
        chatters=True,
        tapped=True,
    ),
    TrialGroup(
        "end mill runs deeper and chatters",
        "chatter_hopf",
        "end_mill",
        ("less_depth",),
        chatters=True,
        deepens=2.0,
    ),
    TrialGroup(
        "side mill runs deeper and chatters",
        "chatter_hopf",
        "side_mill",
        ("less_depth",),
        chatters=True,
        deepens=2.0,
    ),
    TrialGroup("plain saw rubs", "side_rubbing", "saw", ("relieved_cutter",), side_relief=False),
    TrialGroup("saw rubs", "side_rubbing", "saw", ("look_for_relief",)),
    TrialGroup("uneven saw", "uneven_teeth", "saw", _UNEVEN),
    TrialGroup("uneven side mill", "uneven_teeth", "side_mill", _UNEVEN),
    TrialGroup("clipped", "side_rubbing", "saw", ("mend_recording",), side_relief=False, peak=25.0),
    TrialGroup("short pass", "normal", "side_mill", ("longer_pass",), turns=5.0),
)


@dataclass(frozen=True)
class TrialOutcome:
    """What came of one remedy in one case."""

    rule: str
    lever: str
    quantity: float | None
    group: str
    seed: int
    fired: bool
    improved: bool = False
    confirmed: bool = False
    untold: bool = False  # the next recording was heard as "can't tell"
    note: str = ""


def run_trials(
    cases: int, *, seed: int = 7, jobs: int = 2, groups: Sequence[TrialGroup] = GROUPS
) -> Iterator[TrialOutcome]:
    """Try all groups.

    Parameters
    ----------
    cases : int
        Scenes per group.
    seed : int
        The same seed gives the same outcomes.
    jobs : int
        Processes.
    groups : sequence of TrialGroup

    Yields
    ------
    Outcome
        One for each rule of each case, in order.
    """
    work = [(group, seed + 1000 * i + k) for i, group in enumerate(groups) for k in range(cases)]
    if jobs <= 1:
        yield from chain.from_iterable(try_case(*one) for one in work)
        return
    with ProcessPoolExecutor(max_workers=jobs) as pool:
        yield from chain.from_iterable(pool.map(try_case, *zip(*work, strict=True)))


def try_case(group: TrialGroup, seed: int) -> list[TrialOutcome]:
    """Simulate, listen, and try each remedy that fired; nothing where the cut tore itself out of
    the work, for then there is no recording."""
    scene = drawn(seed, group.kind, group.regime, chatters=group.chatters)
    scene = replace(scene, phone=replace(scene.phone, peak=group.peak))
    if group.turns is not None:
        scene = retimed(scene, turns=group.turns, least_s=0.0)
    if group.deepens:
        scene = deepening(scene, group.deepens)
    modes = tuple(Mode(m.frequency_hz, m.damping) for m in scene.modes) if group.tapped else ()
    with tempfile.TemporaryDirectory() as folder:
        try:
            first = _take(scene, group, seed, Path(folder))
        except ValueError:
            return []
        fired = _fired(first, _job(scene, group), modes)
        return [_try(name, fired, first, group, seed, Path(folder)) for name in group.rules]


def _job(scene: Scene, group: TrialGroup) -> Job:
    job = attentive_job(scene, overhang=group.overhang)
    if group.kind == "side_rubbing":
        job = replace(job, cutter=replace(job.cutter, side_relief=group.side_relief))
    return job


def _take(scene: Scene, group: TrialGroup, seed: int, folder: Path) -> TrialTake:
    signal, rate_hz, truth = simulate(scene, seed)
    path, _ = write_recording(folder / "take", signal, rate_hz, scene.format)
    return TrialTake(scene, truth, listen(path, _job(scene, group)).findings)


def _fired(take: TrialTake, job: Job, modes: Sequence[Mode]) -> dict[str, Suggestion]:
    """All suggestions by rule, the best of each; a listen shows the first few of these."""
    found = take.findings
    made = suggest(found.passes, job, complaints=found.fitness.complaints, modes=modes, most=10_000)
    return {one.name: one for one in reversed(made)}


def _try(
    name: str,
    fired: dict[str, Suggestion],
    first: TrialTake,
    group: TrialGroup,
    seed: int,
    folder: Path,
) -> TrialOutcome:
    rule = next(one for one in rule_table().rules if one.name == name)
    made = fired.get(name)
    if made is None:
        note = f"true: {first.truth.verdict}; heard: {first.findings.verdict}"
        return TrialOutcome(name, rule.lever, None, group.name, seed, fired=False, note=note)
    quantity = made.quantity if made.quantity is None else round(made.quantity, 9)
    done = TrialOutcome(name, rule.lever, quantity, group.name, seed, fired=True)
    how = Turned(rule.lever, made.quantity, first.true_pass.chatter_hz, rule.cost == "regrind")
    try:
        second = _take(turn(first.scene, how), group, seed + 1, folder)
    except ValueError as torn:  # the simulator refuses cuts that no structure would survive
        return replace(done, note=str(torn).split(":")[0])
    return replace(
        done,
        improved=improved(rule.cause, first, second),
        confirmed=confirmed(rule.cause, rule.lever, first, second),
        untold=second.findings.verdict == "cannot_tell",
        note=f"true: {first.truth.verdict} -> {second.truth.verdict}; "
        f"heard: {first.findings.verdict} -> {second.findings.verdict}",
    )


def tried_rules() -> frozenset[str]:
    """Rules that some group tries."""
    return frozenset(chain.from_iterable(group.rules for group in GROUPS))


def why_not_tried() -> dict[str, str]:
    """Every other rule with the reason; KeyError for one that has none."""
    reasons = {}
    for rule in rule_table().rules:
        if rule.name not in tried_rules():
            reasons[rule.name] = RULES_NOT_TRIED.get(rule.name) or NOT_TRIED[rule.lever]
    return reasons
