"""Recordings whose speed or tooth count no line states: the sound is asked, each by itself."""

from __future__ import annotations

import csv

import pytest

from chatter.batch import gather_tasks, run_batch
from chatter.demo import demo_takes
from chatter.job.cards import load_job

SPEEDS = "42, 57, 78, 106, 144, 197, 268, 365"


@pytest.fixture(scope="module")
def saw():
    """The demo's chattering saw: 48 teeth at 106 rev/min."""
    take = next(one for one in demo_takes() if one.recording.stem.startswith("04"))
    return take.recording, load_job(take.job)


def table(folder, saw, line):
    recording, _ = saw
    (folder / recording.name).write_bytes(recording.read_bytes())
    made = folder / "cuts.csv"
    made.write_text(f"file,speed,teeth,speeds\n{recording.name},{line}\n", encoding="utf-8")
    return made


def test_a_missing_speed_is_found_among_the_machines_own(tmp_path, saw):
    listed = table(tmp_path, saw, f',48,"{SPEEDS}"')
    (task,) = gather_tasks(tmp_path, table=listed)
    assert task.sought == ("cut.speed",) and task.error is None
    done = run_batch([task], tmp_path / "out", cores=1)
    (row,) = done.rows
    assert row.status == "heard" and row.stated_rev_min is None
    assert row.heard_rev_min == pytest.approx(saw[1].cut.speed_rev_min, rel=0.06)
    with done.sheet.open(encoding="utf-8", newline="") as sheet:
        assert [line["stated_rev_min"] for line in csv.DictReader(sheet)] == [""]


def test_what_is_sought_is_another_job_than_what_is_stated(tmp_path, saw):
    (sought,) = gather_tasks(tmp_path, table=table(tmp_path, saw, f',48,"{SPEEDS}"'))
    (stated,) = gather_tasks(tmp_path, table=table(tmp_path, saw, f'42,48,"{SPEEDS}"'))
    assert sought.job == stated.job and sought.job_key != stated.job_key


def test_without_a_list_of_speeds_the_line_says_what_to_state(tmp_path, saw):
    (task,) = gather_tasks(tmp_path, table=table(tmp_path, saw, ",48,"))
    assert (
        task.job is None and "spindle speed is missing" in task.error and "--speeds" in task.error
    )
