"""Advised cutting speeds, chip loads and specific cutting energies, from tables with sources.

The tables are TOML files beside this one; every row names its works (``sources.toml``) and
a status: "seen", "memory" or "common practice, no source".
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from chatter.job.cut import Job
from chatter.job.units import parse_chip_load, parse_cutting_speed, parse_length


@dataclass(frozen=True)
class SpeedRow:
    """Cutting speeds of one work material with one cutter material."""

    material: str
    tool: str
    low_m_s: float
    high_m_s: float
    sources: tuple[str, ...]
    status: str
    note: str = ""


@dataclass(frozen=True)
class ChipRow:
    """Feed per tooth of one form of cutter in one class of metal."""

    form: str
    metal_class: str
    low_m: float  # below this the teeth tend to rub instead of cut
    start_m: float  # a careful first choice
    high_m: float  # above this the cutter is overloaded
    width_below_m: float | None
    diameter_below_m: float | None
    sources: tuple[str, ...]
    status: str
    note: str = ""


@dataclass(frozen=True)
class EnergyRow:
    """Specific cutting energy of one work material at the reference chip thickness."""

    material: str
    energy_j_m3: float
    sources: tuple[str, ...]
    status: str
    note: str = ""


def speed_row(material: str | None, tool: str | None) -> SpeedRow | None:
    """Cutting speeds for a work material; ``tool`` defaults to high-speed steel."""
    return _speeds().get((material or "", tool or "hss"))


def chip_row(
    form: str | None,
    material: str | None,
    width_m: float | None = None,
    diameter_m: float | None = None,
) -> ChipRow | None:
    """Chip loads for a form of cutter, None when the form is not known.

    A material, width or diameter that is not known is taken on the careful side: as a
    tough metal, as the thinnest saw, as the smallest end mill.  The rows hold for
    high-speed steel; they are careful for carbide, which has no table of its own.
    """
    metal = _classes().get(material or "", "tough")
    for row in chip_rows():
        thin = row.width_below_m is None or (width_m or 0.0) < row.width_below_m
        small = row.diameter_below_m is None or (diameter_m or 0.0) < row.diameter_below_m
        if (row.form, row.metal_class) == (form, metal) and thin and small:
            return row
    return None


def energy_row(material: str | None) -> EnergyRow | None:
    """Specific cutting energy for a work material."""
    return _energies().get(material or "")


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


def cutting_speed_range(job: Job) -> tuple[float, float] | None:
    """Advised cutting speeds (low, high) [m/s]; None when the tables do not tell."""
    row = speed_row(job.cut.material, job.cutter.material)
    return None if row is None else (row.low_m_s, row.high_m_s)


def chip_load_range(job: Job) -> tuple[float, float] | None:
    """Chip loads between rubbing and overload (low, high) [m]; None when not known."""
    row = job_chip_row(job)
    return None if row is None else (row.low_m, row.high_m)


def job_chip_row(job: Job) -> ChipRow | None:
    """The chip-load row that fits a job."""
    return chip_row(job.cutter.form, job.cut.material, job.cutter.width_m, job.cutter.diameter_m)


def source_titles(keys: tuple[str, ...]) -> tuple[str, ...]:
    """Full titles of sources named by key."""
    return tuple(_table("sources")[key]["title"] for key in keys)


@cache
def chip_rows() -> tuple[ChipRow, ...]:
    """All chip-load rows, narrowest first within a form."""
    return tuple(
        ChipRow(
            form=row["form"],
            metal_class=row["class"],
            low_m=parse_chip_load(row["low"]),
            start_m=parse_chip_load(row["start"]),
            high_m=parse_chip_load(row["high"]),
            width_below_m=_length_or_none(row.get("width_below")),
            diameter_below_m=_length_or_none(row.get("diameter_below")),
            sources=tuple(row["sources"]),
            status=row["status"],
            note=row.get("note", ""),
        )
        for row in _table("chip_loads")["row"]
    )


def speed_rows() -> tuple[SpeedRow, ...]:
    """All cutting-speed rows."""
    return tuple(_speeds().values())


def energy_rows() -> tuple[EnergyRow, ...]:
    """All rows of specific cutting energy."""
    return tuple(_energies().values())


@cache
def _speeds() -> dict[tuple[str, str], SpeedRow]:
    return {
        (row["material"], row["tool"]): SpeedRow(
            material=row["material"],
            tool=row["tool"],
            low_m_s=parse_cutting_speed(row["low"]),
            high_m_s=parse_cutting_speed(row["high"]),
            sources=tuple(row["sources"]),
            status=row["status"],
            note=row.get("note", ""),
        )
        for row in _table("cutting_speeds")["row"]
    }


@cache
def _energies() -> dict[str, EnergyRow]:
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


def _classes() -> dict[str, str]:
    return _table("chip_loads")["class"]


def _length_or_none(text: str | None) -> float | None:
    return None if text is None else parse_length(text)


@cache
def _table(name: str) -> dict:
    return tomllib.loads(files("chatter.trade").joinpath(f"{name}.toml").read_text("utf-8"))
