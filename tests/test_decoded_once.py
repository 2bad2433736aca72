"""A recording is decoded once, whatever is asked of it: numbers left out, a picture, a verdict."""

from __future__ import annotations

import json
import shutil
from dataclasses import asdict
from pathlib import Path

import pytest

from chatter.batch.task import Task
from chatter.batch.work import hear_task
from chatter.cli import main
from chatter.job.build import read_statement
from chatter.listening.finding import supposed_job
from chatter.page import worker
from chatter.page.limits import PageLimits

SAW = Path(__file__).resolve().parents[1] / "recordings_demo" / "02-slot-plain-saw.m4a"
SPEEDS = "42, 57, 78, 106"


@pytest.fixture
def decoded(monkeypatch) -> list[str]:
    """The files that were decoded, one entry each time."""
    from chatter.sound.recording import Recording

    names, blocks = [], Recording.blocks

    def counted(self, *given):
        names.append(self.path.name)
        return blocks(self, *given)

    monkeypatch.setattr(Recording, "blocks", counted)
    return names


def test_a_count_left_out_is_found_in_what_is_listened_to(decoded, tmp_path):
    out = tmp_path / "found.json"
    words = ["--rpm", "57", "--no-report", "--untaught", "-q", "--json", str(out)]
    assert main(["listen", str(SAW), *words]) == 0
    assert decoded == [SAW.name]
    assert json.loads(out.read_text(encoding="utf-8"))["numbers"]["teeth"] in ("found", "guessed")


def test_a_batch_seeks_a_speed_in_what_it_listens_to(decoded):
    values = read_statement({"cutter.teeth": "48", "machine.speeds": SPEEDS})
    task = Task(str(SAW), SAW.name, supposed_job(values), ("cut.speed",))
    assert hear_task(0, task, False).row.heard_rev_min is not None
    assert decoded == [SAW.name]


def test_the_page_draws_and_listens_to_one_decoding(decoded, tmp_path, capsys):
    recording = shutil.copy(SAW, tmp_path / "recording")
    request = {
        "kind": "cut",
        "recording": str(recording),
        "out": str(tmp_path),
        "name": SAW.name,
        "stated": {"cutter.teeth": "48", "machine.speeds": SPEEDS},
        "units": "metric",
        "limits": asdict(PageLimits()),
    }
    worker._listen(request)
    assert decoded == ["recording"]
    facts = json.loads((tmp_path / "view.json").read_text(encoding="utf-8"))
    assert (tmp_path / "track.f16").stat().st_size == 2 * facts["samples"]
    (tmp_path / "findings.json").unlink()
    worker._listen(request)
    assert decoded == ["recording"] * 2 and (tmp_path / "findings.json").is_file()
    shares = [json.loads(line)["share"] for line in capsys.readouterr().out.splitlines()]
    first = shares[: shares.index(1.0) + 1]
    assert first == sorted(first)


def test_what_cannot_be_is_refused_before_anything_is_decoded(decoded, capsys):
    assert main(["listen", str(SAW), "--teeth", "48", "--no-report"]) == 2
    assert decoded == [] and "speed is missing" in capsys.readouterr().err


def test_takes_are_compared_by_what_was_listened_to(decoded, capsys):
    other = SAW.with_name("03-slot-staggered.m4a")
    assert main(["compare", str(SAW), str(other), "--no-report"]) == 0
    assert decoded == [SAW.name, other.name] and capsys.readouterr().out
