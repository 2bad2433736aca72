"""A plan in sentences: what is advised, how to go on, what was not stated."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chatter.job import show
from chatter.job.cutter import BORED_OR_TURNED, Cutter
from chatter.job.machine import Machine
from chatter.job.words import material_name
from chatter.planning.band import band_lines
from chatter.planning.checks import SLOW
from chatter.planning.passes import Passes, pass_lines
from chatter.planning.setting import Setting, Wish, cut_width_m
from chatter.planning.steps import MORE_FEED, MORE_SPEED
from chatter.trade import cutting_data as data
from chatter.trade import observed
from chatter.trade.engagement import ARBOR_FORMS, MILL_FORMS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from chatter.planning.front import Plan

_TOOLS = {"carbide": "carbide", "carbon_steel": "carbon steel"}


def title_of(plan: Plan) -> str:
    """What is cut, and with what: "Grey cast iron, high-speed steel cutter"."""
    tool = _TOOLS.get(plan.cutter.material or "", "high-speed steel")
    return f"{material_name(plan.wish.material).capitalize()}, {tool} cutter"


def advice_lines(plan: Plan, units: str) -> list[str]:
    """Cutting speed, starting speed, chip load, depth of a pass, as far as they are known.

    Parameters
    ----------
    plan : Plan
    units : str
        "metric" or "inch".

    Returns
    -------
    list of str
        Without full stops.
    """
    if plan.cutter.form == "band_saw":
        return band_lines(plan.cutter, plan.wish, plan.speeds, units)
    lines = []
    if plan.speeds is not None:
        ends = (plan.speeds.low_m_s, plan.speeds.high_m_s)
        line = _range("Advised cutting speed", (show.show_cutting_speed(e, units) for e in ends))
        if plan.rev_min_range is not None:
            line += _range(
                ", which is", (show.show_spindle_speed(e, 3) for e in plan.rev_min_range)
            )
        lines.append(line)
    if plan.rev_min_target is not None:
        lines.append(f"Careful starting speed {show.show_spindle_speed(plan.rev_min_target, 3)}")
    if plan.chips is not None:
        low, start, high = (
            show.show_chip_load(value, units)
            for value in (plan.chips.low_m, plan.chips.start_m, plan.chips.high_m)
        )
        end = (
            f"breaks above {high}"
            if plan.chips.breaks_above
            else f"the starting tables end at {high}"
        )
        lines.append(f"Chip load: start at {start}; rubs below {low}, {end}")
    lines += pass_lines(plan.cutter, plan.wish, plan.passes, units)
    if plan.contact is not None and plan.cutter.form in MILL_FORMS:
        lines.append(f"Teeth in the cut at once: {plan.contact.teeth:.1f}")
    return lines


def _range(words: str, ends: Iterable[str]) -> str:
    return f"{words} {' to '.join(ends)}"


def in_passes(wish: Wish, depth: Passes, unmotored: Passes, system: str) -> str:
    """Why the cut is planned in several passes."""
    why = "at the right chip load, the motor does not carry more"
    if depth.count == unmotored.count:
        names = {one.name: _PLAIN[one.name] for one in depth.limits if one.name in _PLAIN}
        why = next(iter(names.values()), why)
    return (
        f"{show.show_length(wish.depth_m or 0.0, system, 3)} is too deep for one pass: take "
        f"{depth.count} of {show.show_length(depth.depth_m or 0.0, system, 3)}; {why}."
    )


_PLAIN = {
    "teeth": "more teeth in the slot at once clog",
    "gullet": "the gullets hold no more chip",
    "width": "a saw wanders when it goes in many times its width",
    "stiffness": "so thin a plate buckles under the feed",
    "axial": "an end mill bends and breaks deeper than that",
    "fly": "a fly cutter takes light cuts",
}


def step_up(
    settings: list[Setting],
    first: Setting | None,
    chips: data.ChipRow | None,
    wish: Wish,
    cutter: Cutter,
    system: str,
) -> tuple[str, ...]:
    """How to go on from the first choice."""
    if first is None:
        return ()
    said = ["Take the first cut at the first choice, record it, and look at the chips."]
    if any(SLOW not in problem for problem in first.problems):
        other = (
            "use high-speed steel, or another speed or depth, before cutting."
            if any("carbide needs" in problem for problem in first.problems)
            else "take another cutter, depth or gear before cutting."
        )
        said[0] = f"No setting is free of problems, and the first choice is the least bad: {other}"
    before = observed.comfort(wish.observed, first.rev_min, wish.depth_m, system)
    said += [] if before is None else [before]
    for setting in settings:
        if (
            setting.label == MORE_FEED
            and setting.feed_m_s is not None
            and setting.chip_load_m is not None
        ):
            said.append(
                f"If it runs quietly, raise the feed to {show.show_feed(setting.feed_m_s, system)} "
                f"({show.show_chip_load(setting.chip_load_m, system)})."
            )
        if setting.label == MORE_SPEED and setting.cutting_speed_m_s is not None:
            said.append(
                f"Only then raise the speed to {show.show_spindle_speed(setting.rev_min)} "
                f"({show.show_cutting_speed(setting.cutting_speed_m_s, system)}) and listen again."
            )
    if chips is not None:
        said.append(
            f"Stay below {show.show_chip_load(chips.high_m, system)}, and go back a step as soon "
            "as it chatters, smokes or the chips change colour."
        )
    if cutter.form in BORED_OR_TURNED and wish.work_diameter_m is not None:
        said.append("Work the speed out anew when the diameter has changed by a quarter.")
    return tuple(said)


def unstated_words(cutter: Cutter, wish: Wish, machine: Machine) -> tuple[str, ...]:
    """What was not stated, and what it would give."""
    lathe = cutter.form in BORED_OR_TURNED
    cut_on = wish.work_diameter_m if lathe else cutter.diameter_m
    what = (
        "diameter that is cut, of the work or the bore (not of the tool or bar)"
        if lathe
        else "cutter diameter"
    )
    needs = [
        (wish.material, "work material: no cutting speed, chip load or power without it"),
        (cut_on, f"{what}: no spindle speed without it"),
        (cutter.form, "cutter form: no chip load without it"),
        (cutter.material, "cutter material: high-speed steel is assumed"),
        (wish.depth_m, "depth of cut: no teeth in the cut, chip thickness or power without it"),
        (cut_width_m(cutter, wish), "width of cut: no power without it"),
        (wish.length_m, "length of cut: no cutting time without it"),
        (machine.speeds_rev_min, "the machine's speeds: exact speeds are shown instead"),
        (machine.feeds_m_s, "the machine's feeds: exact feeds are shown instead"),
        (machine.motor_power_w, "motor power: no comparison with the power of the cut"),
    ]
    if cutter.form in ("drill", "reamer", "parting_tool"):
        needs = [n for n in needs if not n[1].startswith("depth of cut")]
    if cutter.form in ("drill", "reamer", "single_point", "boring_bar"):
        needs = [n for n in needs if not n[1].startswith("width of cut")]
    if cutter.form in MILL_FORMS:
        needs.append((wish.direction, "milling direction: conventional or climb"))
    if cutter.form == "boring_bar":
        needs += [
            (cutter.diameter_m, "diameter of the bar: not told whether it is stiff enough"),
            (wish.overhang_m, "overhang of the bar: not told whether it is stiff enough"),
        ]
    if wish.material == "bronze":
        needs.append((None, "which bronze: gunmetal, phosphor and aluminium bronze differ much"))
    saw = cutter.form == "slitting_saw" and cutter.width_m is None
    disc = cutter.form in ARBOR_FORMS and cutter.form != "slab"
    if disc and cutter.collar_diameter_m is None:
        needs.append((None, "collar diameter: not told how deep the cutter reaches"))
    return (
        *(sentence for value, sentence in needs if value in (None, ())),
        *(("saw width: the chip load of the thinnest saws is used",) if saw else ()),
    )


def band_missing(cutter: Cutter, wish: Wish) -> tuple[str, ...]:
    """What a band saw's plan lacks."""
    needs = (
        (wish.material, "work material: no blade speed without it"),
        (cutter.material, "blade: bimetal or high-speed steel is assumed"),
        (wish.depth_m, "thickness of the work (as depth of cut): no teeth to the inch without it"),
        (cutter.pitch_m, "tooth pitch, for example '10 tpi': no tooth passing without it"),
    )
    return tuple(sentence for value, sentence in needs if value is None)


def sources(
    speeds: data.SpeedRow | None,
    chips: data.ChipRow | None,
    energy: data.EnergyRow | None,
    settings: list[Setting],
) -> tuple[str, ...]:
    """One line per table row that was used."""
    if not any(one.power_w for one in settings):
        energy = None
    rows = (("cutting speed", speeds), ("chip load", chips), ("power", energy))
    return tuple(
        f"{what} ({row.status}): {'; '.join(data.source_titles(row.sources))}."
        for what, row in rows
        if row is not None
    )
