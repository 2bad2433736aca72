"""``chatter plan``: options in, tables on the terminal out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.table import Table

    from chatter.planning.front import Plan
    from chatter.planning.setting import Setting

Text = str | None
_COLUMNS = 4  # settings side by side on a terminal of 80 columns


def plan_command(
    card: Annotated[Path | None, typer.Argument(help="Job card (TOML) to start from.")] = None,
    machine: Annotated[Path | None, typer.Option(help="Machine card (TOML).")] = None,
    material: Annotated[Text, typer.Option(help="Work material: 'cast iron', '1018' ...")] = None,
    teeth: Annotated[Text, typer.Option(help="Number of teeth.")] = None,
    form: Annotated[Text, typer.Option(help="saw, end mill, drill, boring bar ...")] = None,
    diameter: Annotated[Text, typer.Option(help="Of the cutter, or of the boring bar.")] = None,
    cutter_width: Annotated[Text, typer.Option(help="Cutter width: '1/8 in'.")] = None,
    cutter_material: Annotated[Text, typer.Option(help="hss, carbide or carbon_steel.")] = None,
    helix: Annotated[Text, typer.Option(help="Helix of a slab mill: '25 deg'.")] = None,
    pitch: Annotated[Text, typer.Option(help="Band saw: '10 tpi'.")] = None,
    side_relief: Annotated[Text, typer.Option(help="yes or no: sides relieved.")] = None,
    collar: Annotated[Text, typer.Option(help="Diameter of the arbor collars.")] = None,
    max_speed: Annotated[Text, typer.Option(help="Greatest speed marked on the cutter.")] = None,
    depth: Annotated[Text, typer.Option(help="Depth of cut: '1 in', '25 mm'.")] = None,
    width: Annotated[Text, typer.Option(help="Width of cut; of a saw, its own.")] = None,
    work_diameter: Annotated[
        Text, typer.Option(help="Turning, boring: diameter of the work or the bore.")
    ] = None,
    overhang: Annotated[Text, typer.Option(help="How far bar or end mill stands out.")] = None,
    blade_speed: Annotated[Text, typer.Option(help="Band saw: '150 ft/min'.")] = None,
    length: Annotated[Text, typer.Option(help="Length of cut.")] = None,
    rpm: Annotated[Text, typer.Option(help="A speed of your own to look at.")] = None,
    feed: Annotated[Text, typer.Option(help="Its feed: '10 in/min', '250 mm/min'.")] = None,
    chip_load: Annotated[Text, typer.Option(help="Or its chip load: '0.05 mm/tooth'.")] = None,
    direction: Annotated[Text, typer.Option(help="conventional or climb.")] = None,
    speeds: Annotated[Text, typer.Option(help="The machine's speeds: '38 57 85'.")] = None,
    feeds: Annotated[Text, typer.Option(help="Its feeds: '20, 31.5, 50 mm/min'.")] = None,
    motor_power: Annotated[Text, typer.Option(help="'2 hp', '1.5 kW'.")] = None,
    backlash: Annotated[Text, typer.Option(help="yes or no: play in the table screw.")] = None,
    observed: Annotated[
        list[str] | None,
        typer.Option(help="An earlier cut: '12 mm at 57 rev/min chattered'; repeatable."),
    ] = None,
    units: Annotated[Text, typer.Option(help="inch or metric; as the cards, if not given.")] = None,
) -> None:
    """Plan a cut: speeds, feeds, chip load, power, and a careful first choice."""
    from chatter.job.cards import statement_from
    from chatter.job.show import SYSTEMS
    from chatter.job.system import system_stated
    from chatter.job.words import choose_word
    from chatter.planning.front import plan_stated

    system = units and choose_word(
        units, "choice of units", SYSTEMS, {"imperial": "inch", "in": "inch"}
    )
    stated = {
        "cutter.teeth": teeth,
        "cutter.form": form,
        "cutter.diameter": diameter,
        "cutter.width": cutter_width,
        "cutter.material": cutter_material,
        "cutter.helix": helix,
        "cutter.pitch": pitch,
        "cutter.side_relief": side_relief,
        "cutter.collar_diameter": collar,
        "cutter.max_speed": max_speed,
        "cut.material": material,
        "cut.depth": depth,
        "cut.width": width,
        "cut.length": length,
        "cut.work_diameter": work_diameter,
        "cut.overhang": overhang,
        "cut.blade_speed": blade_speed,
        "cut.speed": rpm,
        "cut.feed": feed,
        "cut.chip_load": chip_load,
        "cut.direction": direction,
        "cut.observed": observed or None,
        "machine.speeds": speeds,
        "machine.feeds": feeds,
        "machine.motor_power": motor_power,
        "machine.backlash": backlash,
    }
    values = statement_from(card, stated, machine)
    system = system or system_stated(values) or "metric"
    print_plan(plan_stated(values, system), system)


def print_plan(plan: Plan, system: str) -> None:
    """Print a plan on the terminal, in "inch" or "metric"."""
    from chatter.cli.terminal import console as terminal
    from chatter.planning.front import advice_lines, counts_turns, title_of
    from chatter.report.care import on_terminal

    console = terminal()
    for line in (title_of(plan), *advice_lines(plan, system)):
        console.print(line, markup=False)
    turn_teeth = plan.cutter.teeth if counts_turns(plan.cutter) else None
    notes: dict[str, int] = {}
    for setting in plan.settings:
        for problem in setting.problems:
            notes.setdefault(problem, len(notes) + 1)
    for at in range(0, len(plan.settings), _COLUMNS):
        console.print(_table(plan.settings[at : at + _COLUMNS], system, notes, turn_teeth))
    if any(setting.on_machine for setting in plan.settings):
        console.print("  * speed and feed are steps of this machine", markup=False)
    for problem, number in notes.items():
        console.print(f"  [{number}] {problem}", markup=False)
    for title, lines in (
        ("How to go on", plan.step_up),
        ("Warnings", [each for each in plan.warnings if not _noted(each, notes)]),
        ("Not stated", plan.missing),
        ("Cautions", on_terminal(plan.cautions, "with 'chatter help cautions'")),
        ("From", plan.sources),
    ):
        if lines:
            console.print(f"\n[bold]{title}[/bold]")
            for line in lines:
                console.print(f"- {line}", markup=False)


def _noted(warning: str, notes: dict[str, int]) -> bool:
    """A warning about a setting that stands below the table already."""
    return any(warning.endswith(problem) for problem in notes)


def _table(
    settings: tuple[Setting, ...], system: str, notes: dict[str, int], turn_teeth: int | None
) -> Table:
    """One column per setting, so that the numbers stay whole on a narrow terminal."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    from chatter.job import show

    table = Table(box=SIMPLE_HEAD, padding=(0, 1))
    table.add_column("", no_wrap=True)
    for setting in settings:
        head = (setting.label or "to compare").replace(": ", ":\n").replace("first ", "first\n")
        table.add_column(head, justify="right", style="bold" if "first" in head else None)
    kinds = ("cutting speed", "feed", "chip load", "length", "length", "power")
    cutting, feed, chip, thick, mean, power = (show.unit_of(kind, system) for kind in kinds)
    names = (
        "Speed, rev/min",
        f"Cutting speed, {cutting}",
        f"Table feed, {feed}",
        f"Chip load, {chip}",
        f"Feed a turn, {thick}",
        f"Thickest chip, {thick}",
        f"Mean chip, {mean}",
        "Tooth passing, Hz",
        "Time of a pass, min:s",
        f"Motor power, {power}",
        "Notes",
    )
    columns = [_cells(setting, system, notes, turn_teeth) for setting in settings]
    for name, *cells in zip(names, *columns, strict=True):
        if any(cells):
            table.add_row(name, *cells)
    return table


def _cells(
    setting: Setting, system: str, notes: dict[str, int], turn_teeth: int | None
) -> list[str]:
    from chatter.job import show
    from chatter.job.times import show_time

    def number(value: float | None, kind: str, digits: int = 3) -> str:
        return "" if value is None else show.show(value, kind, system, digits).split(" ")[0]

    return [
        number(setting.rev_min, "spindle speed") + ("*" if setting.on_machine else ""),
        number(setting.cutting_speed_m_s, "cutting speed"),
        number(setting.feed_m_s, "feed"),
        number(setting.chip_load_m, "chip load"),
        number(None if turn_teeth is None else (setting.chip_load_m or 0.0) * turn_teeth, "length"),
        number(setting.chip_max_m, "length", 2),
        number(setting.chip_mean_m, "length", 2),
        number(setting.tooth_passing_hz, "frequency"),
        "" if setting.time_s is None else show_time(round(setting.time_s)),
        "-".join(number(value, "power", 2) for value in setting.power_w or ()),
        ",".join(str(notes[problem]) for problem in setting.problems),
    ]
