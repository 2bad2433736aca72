"""The demo recordings: there, small, labelled, playable, and true to what they are for."""

import json

import numpy as np
import pytest

from chatter.demo import FOLDER, TRUTH_SUFFIX, demo_takes
from chatter.errors import RecordingError
from chatter.job.cards import load_job
from chatter.lab.demo import MOST_BYTES, main
from chatter.lab.simulate.recording import simulate
from chatter.lab.simulate.shop import SEED, planned_takes
from chatter.lab.simulate.writing import load_truth
from chatter.plain import to_plain


def truths():
    """What the simulator says of each take, in order."""
    return [load_truth(take.recording.with_suffix(TRUTH_SUFFIX)) for take in demo_takes()]


def test_all_are_there_small_and_labelled():
    takes = demo_takes()
    assert [take.recording.stem for take in takes] == [plan.name for plan in planned_takes()]
    assert sum(file.stat().st_size for file in FOLDER.iterdir()) < MOST_BYTES
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert "simulated" in readme.splitlines()[0]
    for take, truth in zip(takes, truths(), strict=True):
        assert load_job(take.job) == truth.job
        assert truth.job.take.simulated
        assert take.truth.verdict == truth.verdict
        assert take.recording.name in readme
        assert 12 <= take.truth.duration_s <= 40
    assert len({take.recording.suffix for take in takes}) >= 6


def test_each_verdict_has_a_recording_that_is_in_no_doubt():
    shown = {take.truth.verdict for take in demo_takes()}
    assert shown == {"normal", "side_rubbing", "chatter", "uneven_teeth", "machine_only"}
    for truth in truths():
        assert not any(one.marginal for one in truth.passes)


def test_two_cutters_on_one_job():
    second, third = (truth.job for truth in truths()[1:3])
    assert second.cut.depth_m == third.cut.depth_m
    assert second.cut.width_m == third.cut.width_m
    assert second.cut.material == third.cut.material
    assert second.cut.speed_rev_min == third.cut.speed_rev_min
    assert second.cutter.form != third.cutter.form


def test_only_one_direction_chatters_in_the_zigzag():
    passes = next(
        truth
        for take, truth in zip(demo_takes(), truths(), strict=True)
        if "zigzag" in take.recording.name
    ).passes
    chatters = {p.direction for p in passes if p.verdict == "chatter"}
    calm = {p.direction for p in passes if p.verdict == "normal"}
    assert len(chatters) == 1 and len(calm) == 1 and chatters != calm


def test_the_unfit_one_is_clipped():
    import soundfile

    path = next(t.recording for t in demo_takes() if "loud" in t.recording.name)
    sound, _ = soundfile.read(path)
    # A coder rounds clipped tops off to either side of full scale.
    assert np.mean(np.abs(sound) > 0.98) > 0.01


def test_the_files_are_what_the_code_makes():
    plan = next(one for one in planned_takes() if one.name == "07-zigzag")
    _, _, truth = simulate(plan.scene, SEED)
    told = json.loads((FOLDER / "07-zigzag.truth.json").read_text(encoding="utf-8"))
    made = json.loads(json.dumps(to_plain(truth)))
    for a, b in zip(told["passes"], made["passes"], strict=True):
        assert a["verdict"] == b["verdict"]
        # Another processor may round otherwise; chatter then parts in its details.
        assert a["rev_min"] == pytest.approx(b["rev_min"], rel=1e-6)
        if a["chatter_hz"]:
            assert a["chatter_hz"] == pytest.approx(b["chatter_hz"], abs=2.0)


def test_listing_and_a_missing_folder(tmp_path, capsys):
    assert main([]) == 0
    assert "04-saw-chatter.mp4" in capsys.readouterr().out
    assert main(["--folder", str(tmp_path / "none")]) == 2
    assert "python -m chatter.lab.demo --make" in capsys.readouterr().err
    with pytest.raises(RecordingError):
        demo_takes(tmp_path)
