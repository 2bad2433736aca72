"""Realistic jobs, and the plan's first choice beside a published range: the measure of advice.

``python -m chatter.lab.jobs`` prints one line for each value that is compared: the job, what is
chosen, the published range, where the choice lies in it (1 is its middle), and the work that
prints it.  Ranges and works: ``jobs.toml`` beside this file.
"""

from __future__ import annotations

import argparse
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from chatter.job.build import read_statement
from chatter.planning.front import Plan, plan_stated

_FT_MIN = 0.3048 / 60
_INCH = 0.0254
#: A dial plate is not truer than this.
DOUBT = 0.02


@dataclass(frozen=True)
class PublishedCheck:
    """One value of one plan beside what is published for it."""

    job: str
    what: str  # "speed" [ft/min], "chip" [in/tooth], "turn" [in a turn]
    chosen: float
    low: float
    high: float
    source: str

    @property
    def ratio(self) -> float:
        """The choice over the middle (geometric) of the range."""
        return self.chosen / (self.low * self.high) ** 0.5

    @property
    def inside(self) -> bool:
        """Within the range, with the doubt of a dial plate."""
        return self.low * (1 - DOUBT) <= self.chosen <= self.high * (1 + DOUBT)

    @property
    def unsafe(self) -> bool:
        """Outside on the side that breaks or burns a cutter."""
        return self.chosen > self.high * (1 + DOUBT)


@cache
def document() -> dict:
    """The file of jobs: machines, works and jobs."""
    return tomllib.loads(files("chatter.lab").joinpath("jobs.toml").read_text("utf-8"))


def plan_of(job: dict) -> Plan:
    """The plan of a job, on the machine that it names."""
    stated = {**document()["machine"][job["machine"]], **job["stated"]}
    return plan_stated(read_statement(stated), "inch")


def compared() -> Iterator[PublishedCheck]:
    """Every value of every job that a work prints a range for."""
    works = document()["work"]
    for job in document()["job"]:
        plan = plan_of(job)
        first = plan.first
        if first is None:
            raise ValueError(f"{job['name']}: no first choice")
        values = {
            "speed": (first.cutting_speed_m_s or 0.0) / _FT_MIN,
            "chip": (first.chip_load_m or 0.0) / _INCH,
            "turn": (first.chip_load_m or 0.0) * plan.cutter.teeth / _INCH,
        }
        for what, value in values.items():
            if what in job:
                low, high, work = job[what]
                yield PublishedCheck(job["name"], what, value, low, high, works[work])


def main(argv: list[str] | None = None) -> int:
    """Print the table; 1 when a choice lies on the unsafe side."""
    parser = argparse.ArgumentParser(description="The plan's first choices beside printed ranges.")
    parser.add_argument("--outside", action="store_true", help="only what lies outside its range")
    options = parser.parse_args(argv)
    rows = list(compared())
    units = {"speed": "ft/min", "chip": "in/tooth", "turn": "in/turn"}
    for row in rows:
        if options.outside and row.inside:
            continue
        mark = "  " if row.inside else ("!!" if row.unsafe else "< ")
        print(
            f"{mark} {row.job:58.58} {row.chosen:9.4g} {units[row.what]:8} "
            f"{row.low:7.4g} to {row.high:<7.4g} {row.ratio:5.2f}  {row.source}"
        )
    inside = sum(row.inside for row in rows)
    unsafe = sum(row.unsafe for row in rows)
    jobs = len({row.job for row in rows})
    print(
        f"{jobs} jobs, {len(rows)} values: {inside} inside ({100 * inside / len(rows):.0f} %), "
        f"{len(rows) - inside - unsafe} below, {unsafe} above (the unsafe side)"
    )
    return 1 if unsafe else 0


if __name__ == "__main__":
    sys.exit(main())
