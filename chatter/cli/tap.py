"""``chatter tap``: a recording of taps in, modes out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chatter.cli.options import BookOption

if TYPE_CHECKING:
    from chatter.tapping.findings import TapFindings


def tap_command(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE...", help="Recording of about ten single taps, or one for each tap."
        ),
    ],
    what: Annotated[
        str | None, typer.Option(help="What was tapped: cutter, arbor, work, table.")
    ] = None,
    json: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Store the modes for 'chatter listen' ('-': print)."),
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the modes (SVG).")
    ] = None,
    near: Annotated[
        str | None,
        typer.Option(metavar="FREQUENCY", help="A chatter frequency, '520 Hz': name its mode."),
    ] = None,
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Label the findings as simulated.")
    ] = False,
    log: Annotated[bool, typer.Option("--log", help="Store it in the logbook.")] = False,
    machine: Annotated[
        str | None, typer.Option(metavar="NAME", help="Machine tapped, by its name in the logbook.")
    ] = None,
    cutter: Annotated[
        str | None, typer.Option(metavar="NAME", help="Cutter tapped, by its name in the logbook.")
    ] = None,
    book: BookOption = None,
) -> None:
    """Find natural frequencies and damping of a set-up from taps on it.

    Spindle stopped and locked out. Tap about ten times, two seconds apart, with a soft
    hammer, the phone a hand's breadth away.
    """
    from chatter.cli.store import known_parts, store_taps
    from chatter.job.units import parse
    from chatter.plain import to_json
    from chatter.tapping.findings import save_taps
    from chatter.tapping.taps import tap

    parts = known_parts(machine, cutter, book)
    chatter_hz = None if near is None else parse(near, "frequency", "chatter frequency")
    findings = tap(files, what=what, simulated=simulated)
    if json == "-":
        typer.echo(to_json(findings))
    else:
        if json is not None:
            save_taps(findings, json)
        for line in tap_lines(findings, chatter_hz):
            typer.echo(line)
    if picture is not None:
        from chatter.report.files import write_text
        from chatter.report.tap_figure import tap_svg

        write_text(picture, tap_svg(findings, chatter_hz))
    if log:
        typer.echo(store_taps(files, findings, parts), err=json == "-")


def rings_at(findings: TapFindings) -> str:
    """The answer in one sentence: "The arbor rings loudest at 668 Hz, then at 1190 Hz."."""
    from chatter.job.show import show_frequency

    loud = sorted(findings.modes, key=lambda one: -one.level_db)
    first, *then = (show_frequency(one.frequency_hz, 3) for one in loud)
    what = f"The {findings.what}" if findings.what else "What was tapped"
    rest = f", then at {' and '.join(then[:2])}" if then else ""
    return f"{what} rings loudest at {first}{rest}."


def tap_lines(findings: TapFindings, chatter_hz: float | None = None) -> list[str]:
    """The findings as lines of text for a terminal."""
    from chatter.job.show import show_frequency
    from chatter.trade.cautions import cautions
    from chatter.trade.modes import mode_below

    used = sum(t.used for t in findings.taps)
    what = f" on the {findings.what}" if findings.what else ""
    heard = len(findings.taps)
    lines = [f"{heard} {'tap' if heard == 1 else 'taps'} heard{what}, {used} used."]
    if findings.simulated:
        lines[0] += " (simulated recording)"
    if findings.reason is not None:
        lines.append(f"Can't tell: {findings.reason}")
    if findings.modes:
        lines.append(rings_at(findings))
        lines.append("  frequency, Hz       damping ratio      taps  strength, dB")
    lines += [
        f"  {m.frequency_hz:7.1f} ± {m.frequency_spread_hz:<6.1f}   "
        f"{m.damping_ratio:.4f} ± {m.damping_spread:.4f}   {m.taps:4d}  {round(m.level_db) + 0:8d}"
        for m in findings.modes
    ]
    lines += [f"  doubtful: {d}{'' if d.endswith('?') else '.'}" for d in findings.doubts]
    if chatter_hz is not None:
        below = mode_below(findings.modes, chatter_hz)
        lines.append(
            f"No mode lies a little below {show_frequency(chatter_hz)}: tap other parts too."
            if below is None
            else f"The mode to stiffen for chatter at {show_frequency(chatter_hz)} is the one at "
            f"{show_frequency(below.frequency_hz)}."
        )
    lines += [f"Note: {note}" for note in findings.notes]
    lines += [f"Caution: {caution}" for caution in cautions(None, "tap")]
    return lines
