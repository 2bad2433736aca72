"""What the table of remedies may ask about a pass: named facts, and words for them.

Facts are for conditions and ranking; words are the same things written for people, for the
action and reason templates.  A fact that is not known is None.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from chatter import findings
from chatter.job import show
from chatter.job.cut import Job
from chatter.trade import advised, teeth_map
from chatter.trade.engagement import ARBOR_FORMS, DISC_FORMS, cutting_speed_m_s
from chatter.trade.modes import Mode, mode_below
from chatter.trade.rules import Value
from chatter.trade.saws import depth_limits
from chatter.trade.speed_choice import ASSUMED_DAMPING

#: The vocabulary of conditions.  Ratios are plain numbers.
FACTS = {
    "probability": "probability of the rule's cause in the worst pass",
    "share": "share of the pass that chatters, 0..1",
    "revolutions": "length of the pass in revolutions",
    "purpose": "roughing or finishing, as stated",
    "form": "form of the cutter, as stated",
    "disc": "yes when the cutter is a disc on an arbor (saw, side-and-face, staggered tooth)",
    "holding": "what holds the tool: arbor, collet, tool_post, bar, drill_chuck or band",
    "one_edge": "yes when one edge cuts alone",
    "crowded": "yes when a slot is deeper than its teeth can carry the chips out of in one pass",
    "pass_ratio": "depth of a pass that the cutter bears / depth of cut",
    "iron": "yes when the work is cast iron",
    "side_relief": "yes or no, as stated or as the form implies",
    "teeth": "number of teeth",
    "material": "key of the work material, as stated",
    "cutter_material": "hss or carbide, as stated",
    "direction": "conventional or climb, as stated",
    "backlash": "yes or no, as stated for the machine",
    "chip_load_ratio": "chip load / low end of the advised range",
    "chip_load_over": "chip load / high end of the advised range",
    "speed_ratio": "cutting speed / high end of the advised range",
    "speed_low_ratio": "cutting speed / low end of the advised range",
    "above_ceiling": "yes when the present speed may not be recommended",
    "speed_wrong": "yes when the speed has to change whatever is heard",
    "speed_now": "present spindle speed as dialled [rev/min]",
    "faster_step": "slowest usable spindle speed [rev/min] when the present one is too slow",
    "ceiling_step": "fastest spindle speed [rev/min] that may be used",
    "next_slower": "the machine's next usable slower spindle speed [rev/min]",
    "chip_speed": "a slower spindle speed [rev/min] at which a feed of the machine is enough",
    "marked_ratio": "spindle speed / the maximum marked on the cutter",
    "feed_target": "table feed [m/s] that brings the chip load into its range",
    "feed_less": "table feed [m/s] at the start of the chip-load table",
    "feed_more": "next faster table feed [m/s] that the chip still allows",
    "feed_now": "present table feed [m/s]",
    "depth_ratio": "depth of cut / thickness of a disc cutter",
    "overhang_ratio": "overhang / diameter of the arbor or end mill",
    "waves_per_tooth": "chatter frequency / tooth-passing frequency",
    "chatter_kind": "hopf or flip",
    "teeth_in_cut": "teeth in the work at once",
    "steps": "how many spindle speeds the machine is stated to have",
    "usable_steps": "how many of them are within the range and the cutter's marking",
    "step": "a better spindle speed of the machine [rev/min]",
    "step_gain": "1 - 1 / (depth limit there / depth limit now)",
    "slower_step": "the next useful slower spindle speed [rev/min]",
    "slower_told": "yes when a slower speed is advised for process damping",
    "slower_gain": "the same as step_gain for it, by process damping",
    "exact": "the best exact spindle speed [rev/min], when no list is stated",
    "exact_gain": "the same as step_gain for it",
    "pitch_difference": "difference of neighbouring pitches that breaks the waves, relative",
    "pitch_gain": "1 - 1 / (depth limit with that difference / with equal pitch)",
    "tapped_mode": "frequency of the tapped mode nearest below the chatter [Hz]",
    "squeal": "frequency of the loudest squeal line [Hz]",
    "machine_line": "frequency of the loudest line of the machine's own [Hz]",
    "hum_only": "yes when all of the machine's own lines are mains hum",
    "resonant_hz": "frequency of a tooth-passing multiple that stands far above its neighbours",
    "resonant_k": "its multiple",
    "runout_limit": "total runout [m] above which the teeth share the work unevenly",
    "high_tooth_db": "level of the loudest tooth over the mean of the others [dB]",
    "swing_db": "once-per-turn swing of the tooth levels, amplitude [dB]",
    "contradiction": "yes when the sound contradicts the stated speed or tooth count",
    "speed_heard": "yes when the sound tells the spindle speed",
    "reason": "why it cannot tell",
    "complaint": "name of a fault of the recording",
    "complaint_gain": "how much mending it would help, 0..1",
}

_RELIEVED = {"side_and_face": True, "staggered_tooth": True}
IRONS = (
    *("grey_cast_iron_soft", "grey_cast_iron_medium", "grey_cast_iron_hard"),
    *("ductile_iron", "chilled_iron"),
)
_HOLDING = {
    **dict.fromkeys(ARBOR_FORMS, "arbor"),
    **dict.fromkeys(("end_mill", "face_mill", "fly_cutter"), "collet"),
    **dict.fromkeys(("single_point", "parting_tool"), "tool_post"),
    "boring_bar": "bar",
    **dict.fromkeys(("drill", "reamer"), "drill_chuck"),
    "band_saw": "band",
}
#: Speeds this far above the range, or marked limits passed, are wrong whatever is heard.
OVERSPEED = 1.2


@dataclass(frozen=True)
class Situation:
    """Facts and words for one cause, from the pass that shows it best."""

    facts: dict[str, Value]
    words: dict[str, str]


def of_pass(
    one_pass: findings.Pass, job: Job, modes: Sequence[Mode] = (), system: str = "metric"
) -> Situation:
    """Gather what is known of a pass and its job.

    Parameters
    ----------
    one_pass : findings.Pass
    job : Job
    modes : sequence of Mode
        From a tap test of this set-up, if there was one.
    system : str
        "metric" or "inch", for the words.

    Returns
    -------
    Situation
        Every name of ``FACTS`` has a value; those of single steps and complaints are None.
    """
    cutter, cut = job.cutter, job.cut
    facts: dict[str, Value] = dict.fromkeys(FACTS)
    words: dict[str, str] = {}
    facts.update(
        revolutions=one_pass.revolutions,
        purpose=cut.purpose,
        form=cutter.form,
        disc=None if cutter.form is None else cutter.form in DISC_FORMS,
        side_relief=_RELIEVED.get(cutter.form or "", cutter.side_relief),
        teeth=cutter.teeth,
        material=cut.material,
        cutter_material=cutter.material,
        direction=cut.direction,
        backlash=job.machine.table_backlash,
        holding=_HOLDING.get(cutter.form or ""),
        one_edge=cutter.teeth == 1,
        iron=None if cut.material is None else cut.material in IRONS,
        speed_now=cut.speed_rev_min,
        feed_now=cut.feed_m_s,
        depth_ratio=_over(cut.depth_m, cutter.width_m),
        overhang_ratio=_over(cut.overhang_m, _shank(job)),
        teeth_in_cut=advised.teeth_in_cut(job),
        steps=len(job.machine.speeds_rev_min) or None,
        contradiction=one_pass.spindle.contradiction is not None,
        speed_heard=one_pass.spindle.heard,
        reason=one_pass.reason,
        marked_ratio=_over(one_pass.spindle.rev_min, cutter.max_rev_min),
    )
    words.update(
        speed=show.show_spindle_speed(one_pass.spindle.rev_min),
        teeth=str(cutter.teeth),
        tooth_passing=show.show_frequency(one_pass.tooth_passing_hz, 3),
        revolutions=f"{one_pass.revolutions:.1f}",
        reason=one_pass.reason or "",
        seconds_needed=f"{math.ceil(8 * 60.0 / one_pass.spindle.rev_min)} s",
        contradiction=one_pass.spindle.contradiction or "",
        two_thirds_depth=_in_brackets(cut.depth_m, 2.0 / 3.0, system),
        half_depth=_in_brackets(cut.depth_m, 0.5, system),
    )
    for part in (
        advised.advised_facts(job, one_pass.spindle.rev_min, system),
        teeth_map.teeth_facts(one_pass.teeth, job.chip_load_m, system),
        _line_facts(one_pass),
        _depth_facts(job, system),
        _chatter_facts(one_pass, job, modes, system),
    ):
        facts.update(part[0])
        words.update(part[1])
    _speed_bounds(facts, words, job, system)
    return Situation(facts, words)


def _depth_facts(job: Job, system: str) -> tuple[dict[str, Value], dict[str, str]]:
    """Whether a slot is deeper than one pass of this cutter bears."""
    cutter, depth_m = job.cutter, job.cut.depth_m
    limits = [x for x in depth_limits(cutter, job.cut.material) if x.name != "collars"]
    if depth_m is None or not limits:
        return {}, {}
    ratio = limits[0].depth_m / depth_m
    count = max(2, math.ceil(1.0 / ratio - 1e-9))
    return (
        {"pass_ratio": ratio, "crowded": ratio < 1.0},
        {
            "pass_count": str(count),
            "pass_depth": show.show_length(depth_m / count, system, 2),
        },
    )


def _speed_bounds(facts: dict[str, Value], words: dict[str, str], job: Job, system: str) -> None:
    """Whether the speed has to change whatever is heard, and to which of the machine's."""
    over, under = facts["speed_ratio"], facts["speed_low_ratio"]
    slow = job.cutter.material == "carbide" and under is not None and float(under) < 0.95
    fast = (over is not None and float(over) > OVERSPEED) or float(facts["marked_ratio"] or 0) > 1
    facts["speed_wrong"] = bool(slow or fast)
    facts["above_ceiling"] = job.cut.speed_rev_min > 1.001 * advised.ceiling_rev_min(job)
    usable = advised.usable_steps(job)
    present = job.cut.speed_rev_min
    below = [s for s in usable if s < 0.97 * present]
    if below:
        facts["next_slower"] = below[-1]
        words["next_slower"] = show.show_spindle_speed(below[-1])
        words["next_slower_feed"] = advised.feed_beside(job, below[-1], system)
    ceiling = (
        max(usable, default=None) if job.machine.speeds_rev_min else (advised.ceiling_rev_min(job))
    )
    if fast and ceiling is not None and ceiling < present:
        facts["ceiling_step"] = ceiling
        words["ceiling_feed"] = advised.feed_beside(job, ceiling, system)
    above = [s for s in usable if s > 1.03 * present]
    if slow and above:
        facts["faster_step"] = above[0]
        words["faster_step"] = show.show_spindle_speed(above[0])
        words["faster_feed"] = advised.feed_beside(job, above[0], system)


def _over(top: float | None, bottom: float | None) -> float | None:
    return None if top is None or bottom is None else top / bottom


def _in_brackets(length_m: float | None, times: float, system: str) -> str:
    return "" if length_m is None else f" ({show.show_length(times * length_m, system, 2)})"


def _shank(job: Job) -> float | None:
    """Diameter that carries the cutter: the tool's own, or the only arbor's."""
    if job.cutter.form in ("end_mill", "boring_bar", "drill"):
        return job.cutter.diameter_m
    arbors = job.machine.arbor_diameters_m
    return arbors[0] if len(arbors) == 1 else None


def _loudest(one_pass: findings.Pass, name: str) -> findings.Line | None:
    lines = [line for line in one_pass.lines if line.name == name]
    return max(lines, key=lambda line: line.level_db, default=None)


def _line_facts(one_pass: findings.Pass) -> tuple[dict[str, Value], dict[str, str]]:
    facts: dict[str, Value] = {}
    words: dict[str, str] = {}
    for name, fact in (("squeal", "squeal"), ("machine", "machine_line")):
        line = _loudest(one_pass, name)
        facts[fact] = None if line is None else line.frequency_hz
        words[fact] = "" if line is None else show.show_frequency(line.frequency_hz)
    own = {line.name for line in one_pass.lines} & {"machine", "mains"}
    facts["hum_only"] = own == {"mains"} if own else None
    resonant = resonant_multiple(one_pass)
    if resonant is not None:
        facts.update(resonant_k=resonant[0], resonant_hz=resonant[1])
        words.update(resonant_k=str(resonant[0]), resonant=show.show_frequency(resonant[1]))
    return facts, words


def resonant_multiple(
    one_pass: findings.Pass, stands_out_db: float = 10.0
) -> tuple[int, float] | None:
    """Find a tooth-passing multiple (k, Hz) that stands far above both neighbours.

    The force of a steady cut falls off smoothly over k, so one multiple that stands
    ``stands_out_db`` above k - 1 and k + 1 is amplified by something: a mode of the set-up
    (or the room).  Neighbours that were not found count as lying at the noise floor (0 dB).
    """
    levels: dict[int, findings.Line] = {}
    for line in one_pass.lines:
        if line.name == "tooth_passing":
            levels[round(line.frequency_hz / one_pass.tooth_passing_hz)] = line
    best: tuple[float, int, float] | None = None
    for k, line in levels.items():
        if k < 2:
            continue  # the first is expected to be the strongest, or is inaudible
        beside = max(levels[j].level_db if j in levels else 0.0 for j in (k - 1, k + 1))
        above = line.level_db - beside
        if above >= stands_out_db and (best is None or above > best[0]):
            best = (above, k, line.frequency_hz)
    return None if best is None else best[1:]


def _chatter_facts(
    one_pass: findings.Pass, job: Job, modes: Sequence[Mode], system: str
) -> tuple[dict[str, Value], dict[str, str]]:
    heard = one_pass.chatter
    if heard is None:
        return {}, {}
    below = mode_below(modes, heard.frequency_hz)
    waves = heard.frequency_hz / one_pass.tooth_passing_hz
    facts: dict[str, Value] = {
        "share": heard.share,
        "waves_per_tooth": waves,
        "chatter_kind": heard.kind,
        "tapped_mode": None if below is None else below.frequency_hz,
    }
    words = {
        "chatter": show.show_frequency(heard.frequency_hz),
        "waves": f"{waves:.1f}",
        "share": f"{100 * heard.share:.0f} %",
        "tapped_mode": "" if below is None else show.show_frequency(below.frequency_hz),
        "damping": f"{ASSUMED_DAMPING if below is None else below.damping_ratio:.3f}"
        + (" (assumed: tap the set-up to measure it)" if below is None else " (from the tap test)"),
    }
    if job.cut_diameter_m is not None:
        speed = cutting_speed_m_s(one_pass.spindle.rev_min, job.cut_diameter_m)
        words["wavelength"] = show.show_length(speed / heard.frequency_hz, system, 2)
    return facts, words
