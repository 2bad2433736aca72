"""Recordings of one maker reworked with what another heard beside its passes."""

from __future__ import annotations

import json

import numpy as np
import pytest
import soundfile

from chatter.errors import RecordingError
from chatter.lab.fit.mixed import (
    faster,
    inside,
    label_row,
    lay_under,
    main,
    rests_of,
    through_response,
)
from chatter.lab.fit.truths import FitPass, TrueRecording, read_truths

RATE = 16000


def _tone(hz: float, seconds: float, level: float = 0.1) -> np.ndarray:
    return level * np.sin(2 * np.pi * hz * np.arange(int(seconds * RATE)) / RATE)


def _loudest_hz(x: np.ndarray, rate_hz: int) -> float:
    spectrum = np.abs(np.fft.rfft(x * np.hanning(x.size)))
    return float(np.argmax(spectrum)) * rate_hz / x.size


@pytest.fixture
def folders(tmp_path):
    """A folder with a chattering pass at 500 Hz, and one with an idling machine at 90 Hz."""
    cuts, rests = tmp_path / "cuts", tmp_path / "rests"
    for folder in (cuts, rests):
        folder.mkdir()
    x = np.concatenate([_tone(500, 2, 0.001), _tone(500, 6, 0.2), _tone(500, 2, 0.001)])
    soundfile.write(cuts / "a.wav", x, RATE)
    one = {"start_s": 2.0, "end_s": 8.0, "verdict": "chatter", "rev_min": 300, "chatter_hz": 500}
    row = {"file": "a.wav", "verdict": "chatter", "stated_rev_min": 310, "teeth": 4}
    (cuts / "index.json").write_text(json.dumps([row | {"passes": [one]}]))
    soundfile.write(rests / "b.wav", _tone(90, 3), RATE)
    row = {"file": "b.wav", "verdict": "machine_only", "stated_rev_min": 310, "teeth": 4}
    (rests / "index.json").write_text(json.dumps([row]))
    return cuts, rests


def test_what_lies_beside_the_passes_is_a_rest(folders):
    cuts, rests = folders
    (whole,) = rests_of(rests)
    assert (whole.start_s, whole.end_s) == (0.0, pytest.approx(3.0))
    before, after = rests_of(cuts)
    assert before.end_s < 2.0 and after.start_s > 8.0 and after.end_s == pytest.approx(10.0)


def test_a_rest_lies_under_at_the_level_that_is_asked():
    cut = np.concatenate([np.zeros(RATE), _tone(500, 1, 0.2)])
    both = lay_under(cut, _tone(90, 0.3), RATE, -10.0)
    under = both - cut
    assert under.size == cut.size
    loudest = np.sqrt(np.mean(cut[RATE:] ** 2))
    assert 20 * np.log10(np.sqrt(np.mean(under**2)) / loudest) == pytest.approx(-10.0, abs=0.01)


def test_a_response_bends_the_spectrum_and_moves_no_line():
    x = _tone(500, 2)
    y = through_response(x, RATE, np.random.default_rng(3))
    assert _loudest_hz(y, RATE) == pytest.approx(500, abs=0.6)
    noise = np.random.default_rng(1).normal(size=4 * RATE)
    bent = through_response(noise, RATE, np.random.default_rng(3))
    ratio = np.abs(np.fft.rfft(bent)) / np.abs(np.fft.rfft(noise))
    assert 20 * np.log10(np.ptp(ratio[200:-200]) + 1.0) > 3.0


def _truth(tmp_path, causes=frozenset(("chatter",))) -> TrueRecording:
    one = FitPass(2.0, 8.0, causes, 300.0, (500.0,))
    return TrueRecording("m", tmp_path / "a.wav", 310.0, 4, 5, (one,), True, None, True, True)


def test_a_faster_recording_turns_faster_and_ends_sooner(tmp_path):
    quick = faster(_truth(tmp_path), 1.25)
    (one,) = quick.passes
    assert (one.start_s, one.end_s, one.rev_min) == (1.6, 6.4, 375.0)
    assert one.chatter_hz == (625.0,) and quick.rev_min == 387.5
    assert quick.true_teeth == 5


def test_what_lies_inside_a_pass_has_no_idling(tmp_path):
    truth, start, end = inside(_truth(tmp_path), _truth(tmp_path).passes[0])
    assert 2.0 < start < end < 8.0
    (one,) = truth.passes
    assert one.start_s == 0.0 and one.end_s == pytest.approx(end - start) and truth.chatter


def test_rows_read_back_as_the_truth_they_were_written_from(tmp_path):
    for causes in (frozenset(), frozenset(("chatter", "side_rubbing")), None):
        truth = _truth(tmp_path, causes)
        (tmp_path / "index.json").write_text(json.dumps([label_row(truth, "a.wav")]))
        (read,) = read_truths(tmp_path, "m")
        assert read.passes[0].causes == causes and read.true_teeth == 5
        assert read.passes[0].chatter_hz == (500.0,) and read.rev_min == 310.0


def test_the_command_writes_a_folder_that_can_be_fitted_on(folders, tmp_path, capsys):
    cuts, rests = folders
    out = tmp_path / "out"
    assert main([str(out), "--cuts", str(cuts), "--rests", str(rests), "--seed", "2"]) == 0
    assert capsys.readouterr().out == "1 recordings\n"
    (truth,) = read_truths(out, "cuts+rests")
    x, rate = soundfile.read(truth.path)
    (one,) = truth.passes
    middle = x[int((one.start_s + 1) * rate) : int((one.end_s - 1) * rate)]
    assert one.chatters and one.rev_min != 300.0
    assert _loudest_hz(middle, rate) == pytest.approx(one.chatter_hz[0], abs=1.0)
    assert truth.rev_min / one.rev_min == pytest.approx(310 / 300)


def test_a_folder_without_a_table_is_one_sentence(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(RecordingError, match="name another folder"):
        rests_of(tmp_path / "empty")


def test_nothing_is_cut_where_only_rests_are_heard(folders, tmp_path):
    cuts, rests = folders
    out = tmp_path / "nothing"
    given = [str(out), "--cuts", str(cuts), "--rests", str(rests), "--count", "8"]
    assert main([*given, "--nothing-cut"]) == 0
    truths = read_truths(out, "A+B")
    assert len(truths) == 8
    for one in truths:
        assert one.cutting is False and one.passes == () and one.chatter is False
        assert (one.rev_min, one.teeth) == (310.0, 4)  # those of the cuts
        x, rate = soundfile.read(one.path)
        # the pass sounds at 500 Hz, played faster or slower, with an amplitude of 0.2; beside it
        # that tone is 200 times as soft
        window = np.hanning(x.size)
        amplitude = 2.0 * np.abs(np.fft.rfft(x * window)) / window.sum()
        hz = np.fft.rfftfreq(x.size, 1.0 / rate)
        assert amplitude.max() > 0.0 and amplitude[(hz > 350.0) & (hz < 700.0)].max() < 0.02


def test_passes_are_put_in_another_order_when_asked(folders, tmp_path):
    cuts, rests = folders
    for name, more in (("plain", []), ("laid", ["--layouts"])):
        given = ["--cuts", str(cuts), "--rests", str(rests), "--count", "1", "--seed", "4"]
        assert main([str(tmp_path / name), *given, *more]) == 0
    (plain,), (laid,) = (read_truths(tmp_path / name, "A+B") for name in ("plain", "laid"))
    assert [(one.start_s, one.end_s) for one in laid.passes] != [
        (one.start_s, one.end_s) for one in plain.passes
    ]
    assert all(one.chatters for one in laid.passes)
