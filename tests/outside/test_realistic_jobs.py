"""The plan's first choice for realistic jobs lies in the range that a named work prints."""

from __future__ import annotations

import pytest

from chatter.lab.jobs import PublishedCheck, compared, document, main
from chatter.manual import FOLDER

ROWS = list(compared())


def test_there_are_enough_jobs_of_many_kinds() -> None:
    jobs = document()["job"]
    assert len(jobs) >= 60
    assert len({job["name"] for job in jobs}) == len(jobs)
    assert len({job["stated"]["cutter.form"] for job in jobs}) >= 10
    assert len({job["stated"]["cut.material"] for job in jobs}) >= 12
    assert {job["name"] for job in jobs} == {row.job for row in ROWS}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.job}, {row.what}")
def test_no_choice_is_on_the_unsafe_side(row: PublishedCheck) -> None:
    assert not row.unsafe, (row.chosen, row.high, row.source)
    # what is below its range is no further below than a gearbox step and a half
    assert row.chosen > row.low / 1.6


def test_nearly_all_lie_inside() -> None:
    assert sum(row.inside for row in ROWS) >= 0.95 * len(ROWS)


def test_the_manual_tells_the_same() -> None:
    manual = (FOLDER / "plan.md").read_text(encoding="utf-8")
    inside, unsafe = (sum(getattr(row, k) for row in ROWS) for k in ("inside", "unsafe"))
    assert unsafe == 0
    assert (
        f"plans {len(document()['job'])} realistic jobs and prints each first choice beside the "
        f"range of a named published table: of {len(ROWS)} values {inside} lie inside, "
        f"{len(ROWS) - inside} below, none above." in " ".join(manual.split())
    )


def test_every_range_names_its_work() -> None:
    assert {row.source for row in ROWS} == set(document()["work"].values())
    assert all(0 < row.low < row.high for row in ROWS)


def test_the_command_prints_the_ratio(capsys) -> None:
    assert main([]) == 0
    printed = capsys.readouterr().out
    assert len(printed.splitlines()) == len(ROWS) + 1
    assert f"{len(ROWS)} values" in printed and "above (the unsafe side)" in printed
