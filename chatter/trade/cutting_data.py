"""Advised cutting speeds, chip loads and specific cutting energies, from tables with sources.

The tables are TOML files beside this one; every row names its works (``sources.toml``) and
a status: "seen", "memory" or "common practice, no source".
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import pairwise, product

from chatter.job.cut import Job
from chatter.job.cutter import Cutter
from chatter.job.units import parse_cutting_speed, parse_length

_INCH_M = 0.0254


#: The work each form of cutter does; forms that are not named mill.
WORK = {
    "single_point": "turning",
    "boring_bar": "turning",
    "parting_tool": "parting",
    "drill": "drilling",
    "reamer": "reaming",
    "band_saw": "band_sawing",
}
WORKS = ("milling", *dict.fromkeys(WORK.values()))


@dataclass(frozen=True)
class SpeedRow:
    """Cutting speeds of one work material with one cutter material in one sort of work."""

    material: str
    tool: str
    work: str  # one of WORKS
    low_m_s: float  # below it the cut is slow, and carbide chips
    start_m_s: float  # what a careful machinist aims at
    high_m_s: float  # end of the published starting tables
    sources: tuple[str, ...]
    status: str
    note: str = ""


@dataclass(frozen=True)
class ChipRow:
    """Feed per tooth of one form of cutter in one class of metal, at one size of cutter."""

    form: str
    metal_class: str
    low_m: float  # below this the teeth tend to rub instead of cut
    start_m: float  # a careful first choice
    high_m: float  # end of the published starting tables
    sources: tuple[str, ...]
    status: str
    note: str = ""

    @property
    def breaks_above(self) -> bool:
        """Whether the high end is where such a cutter breaks, not just the end of a table."""
        return self.form == "slitting_saw" or (self.form == "end_mill" and self.high_m < 5e-5)


@dataclass(frozen=True)
class EnergyRow:
    """Specific cutting energy of one work material at the reference chip thickness."""

    material: str
    energy_j_m3: float
    sources: tuple[str, ...]
    status: str
    note: str = ""


def speed_row(material: str | None, tool: str | None, form: str | None = None) -> SpeedRow | None:
    """Cutting speeds for a work material and the work that ``form`` does.

    ``tool`` defaults to high-speed steel, ``form`` to a milling cutter.
    """
    return speed_table().get((WORK.get(form or "", "milling"), material or "", tool or "hss"))


def chip_row(
    form: str | None,
    material: str | None,
    width_m: float | None = None,
    diameter_m: float | None = None,
    teeth: int = 1,
) -> ChipRow | None:
    """Chip loads for a form of cutter, None when the form is not known.

    A material, width or diameter that is not known is taken on the careful side: as a
    tough metal, as the thinnest saw, as the smallest end mill.  The rows hold for
    high-speed steel; they are careful for carbide, which has no table of its own.
    ``teeth`` matters where the trade counts the feed per turn (drills).
    """
    metal = metal_class(material)
    row = _chip_table().get((form or "", metal))
    if row is None:
        return None
    size = {"width": width_m, "diameter": diameter_m}.get(row.get("by", ""))
    low, start, high = (_between(row["at"], size, i) for i in (1, 2, 3))
    share = teeth if row.get("per") == "turn" else 1
    return ChipRow(
        form=form or "",
        metal_class=metal,
        low_m=low / share,
        start_m=start / share,
        high_m=high / share,
        sources=tuple(row["sources"]),
        status=row["status"],
        note=row.get("note", ""),
    )


def _between(points: list[list[float]], size_m: float | None, column: int) -> float:
    """A column [m] at a size, straight between the points on logarithmic scales."""
    sizes = [point[0] * _INCH_M for point in points]
    values = [point[column] * _INCH_M for point in points]
    if size_m is None or size_m <= sizes[0]:
        return values[0]
    for (x0, y0), (x1, y1) in pairwise(zip(sizes, values, strict=True)):
        if size_m <= x1:
            return y0 * (y1 / y0) ** (math.log(size_m / x0) / math.log(x1 / x0))
    return values[-1]


def energy_row(material: str | None) -> EnergyRow | None:
    """Specific cutting energy for a work material."""
    return energy_table().get(material or "")


def specific_energy_j_m3(material: str | None, chip_m: float) -> float | None:
    """Specific cutting energy [J/m3] at a mean chip thickness ``chip_m`` [m].

    u(h) = u(0.25 mm) (h / 0.25 mm)^-0.25; chips thinner than 5 µm count as 5 µm, where the
    power law is no longer supported.  None when the material is not in the table.
    """
    row = energy_row(material)
    if row is None:
        return None
    effect = _table("cutting_energy")["size_effect"]
    return (
        row.energy_j_m3 * (max(chip_m, 5e-6) / parse_length(effect["chip"])) ** -effect["exponent"]
    )


def drive() -> tuple[float, float]:
    """(share of motor power that reaches the spindle, factor for a dull cutter)."""
    row = _table("cutting_energy")["drive"]
    return row["efficiency"], row["dull_factor"]


def job_speed_row(job: Job) -> SpeedRow | None:
    """The cutting-speed row that fits a job."""
    return speed_row(job.cut.material, job.cutter.material, job.cutter.form)


def cutting_speed_range(job: Job) -> tuple[float, float] | None:
    """Advised cutting speeds (low, high) [m/s]; None when the tables do not tell."""
    row = job_speed_row(job)
    return None if row is None else (row.low_m_s, row.high_m_s)


def chip_load_range(job: Job) -> tuple[float, float] | None:
    """Chip loads between rubbing and the end of the tables (low, high) [m]; None: not known."""
    row = job_chip_row(job)
    return None if row is None else (row.low_m, row.high_m)


def job_chip_row(job: Job) -> ChipRow | None:
    """The chip-load row that fits a job."""
    return cutter_chip_row(job.cutter, job.cut.material, job.cut.width_m)


def cutter_chip_row(
    cutter: Cutter, material: str | None, cut_width_m: float | None = None
) -> ChipRow | None:
    """The chip-load row of a cutter; the width of a saw's cut is the saw's own."""
    width_m = cutter.width_m
    if width_m is None and cutter.form == "slitting_saw":
        width_m = cut_width_m
    return chip_row(cutter.form, material, width_m, cutter.diameter_m, cutter.teeth)


def source_titles(keys: tuple[str, ...]) -> tuple[str, ...]:
    """Full titles of sources named by key."""
    return tuple(_table("sources")[key]["title"] for key in keys)


def chip_rows() -> tuple[dict, ...]:
    """All chip-load rows as they stand in the table, for review and tests."""
    return tuple(_table("chip_loads")["row"])


@cache
def _chip_table() -> dict[tuple[str, str], dict]:
    table: dict[tuple[str, str], dict] = {}
    for row in chip_rows():
        forms = [row["form"]] if isinstance(row["form"], str) else row["form"]
        for key in product(forms, row["class"]):
            if key in table:
                raise ValueError(f"chip_loads.toml: two rows for {key}")
            table[key] = row
    return table


@cache
def speed_table() -> dict[tuple[str, str, str], SpeedRow]:
    """Cutting speeds by work, material and tool."""
    document = _table("cutting_speeds")
    table = {
        (work, material, tool): SpeedRow(
            material,
            tool,
            work,
            parse_cutting_speed(row[0]),
            parse_cutting_speed(row[1]),
            parse_cutting_speed(row[2]),
            tuple(row[3]),
            row[4],
            row[5],
        )
        for work in WORKS
        for tool, rows in document.get(work, {}).items()
        for material, row in rows.items()
    }
    for factor in document["factor"]:
        work, tool, times = factor["work"], factor["tool"], factor["times"]
        low, start, high = times
        for row in [r for r in table.values() if [r.work, r.tool] == factor["of"]]:
            table.setdefault(
                (work, row.material, tool),
                SpeedRow(
                    row.material,
                    tool,
                    work,
                    row.low_m_s * low,
                    row.start_m_s * start,
                    row.high_m_s * high,
                    tuple(dict.fromkeys((*row.sources, *factor["sources"]))),
                    row.status,
                    f"{row.work} with {row.tool} times {times}",
                ),
            )
    return table


@cache
def energy_table() -> dict[str, EnergyRow]:
    """Specific cutting energies by material."""
    return {
        row["material"]: EnergyRow(
            material=row["material"],
            energy_j_m3=row["energy_j_mm3"] * 1e9,
            sources=tuple(row["sources"]),
            status=row["status"],
            note=row.get("note", ""),
        )
        for row in _table("cutting_energy")["row"]
    }


def metal_class(material: str | None) -> str:
    """How easily a metal cuts: "aluminium", "brass", "iron", "steel" or "tough" (not known)."""
    return _classes().get(material or "", "tough")


def _classes() -> dict[str, str]:
    return _table("chip_loads")["class"]


@cache
def _table(name: str) -> dict:
    return tomllib.loads(files("chatter.trade").joinpath(f"{name}.toml").read_text("utf-8"))
