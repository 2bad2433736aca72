"""The same command on a Dask cluster that is running already."""

from __future__ import annotations

import pytest
from batch_made import CARD, files, quick, strokes

from chatter.batch import gather_tasks, run_batch
from chatter.cli import main
from chatter.errors import ChatterError

distributed = pytest.importorskip("distributed", reason="dask is not installed: extra 'cluster'")
pytest.importorskip("dask", reason="dask is not installed: extra 'cluster'")


@pytest.fixture(scope="module")
def address():
    """A cluster of two workers on this machine, with no page of its own."""
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        dashboard_address=None,
        worker_dashboard_address=None,
    ) as made:
        yield made.scheduler_address


def test_real_listens_on_the_cluster_are_those_of_this_machine(tmp_path, address, capsys):
    for i in range(3):
        strokes(tmp_path / "in" / f"take-{i}.wav", seed=i)
    (tmp_path / "in/take-0.toml").write_text(CARD)
    (tmp_path / "in/take-1.toml").write_text(CARD.replace("600", "700"))
    (tmp_path / "in/broken.wav").write_bytes(b"RIFF no sound")
    (tmp_path / "in/broken.toml").write_text(CARD)
    shared = ["batch", "in", "--scheduler", address, "--out", "there", "--log"]
    assert main(shared) == 3
    told = capsys.readouterr().out
    assert "2 of 4 heard" in told and "Not heard: broken.wav" in told
    there = run_batch(gather_tasks("in"), "there")
    here = run_batch(gather_tasks("in"), "here", cores=1)
    assert (there.known, here.known) == (2, 0)

    def same(rows):
        return [{**vars(row), "seconds": None} for row in rows]

    assert same(there.rows) == same(here.rows)
    assert [row.status for row in here.rows] == ["failed", "heard", "heard", "failed"]


def test_lots_in_order(tmp_path, address):
    files(tmp_path / "in", 20)  # more than one lot for two workers
    (tmp_path / "in/take-0013.wav").rename(tmp_path / "in/fails.wav")
    tasks, seen = gather_tasks("in", job="in/all.toml"), []
    done = run_batch(
        tasks, "out", scheduler=address, work=quick, tell=lambda share, _: seen.append(share)
    )
    assert (done.heard, done.failed) == (19, 1)
    assert [row.file for row in done.rows] == [task.name for task in tasks]
    assert len(seen) == 20 and seen[-1] == 1


@pytest.mark.parametrize("where", ["tcp://127.0.0.1:9", "nowhere at all"])
def test_no_cluster_there(tmp_path, monkeypatch, where):
    from chatter.batch import parallel

    monkeypatch.setattr(parallel, "_PATIENCE_S", 0.5)
    files(tmp_path / "in", 1)
    with pytest.raises(ChatterError, match="No cluster answers at"):
        run_batch(gather_tasks("in", job="in/all.toml"), "out", scheduler=where, work=quick)
