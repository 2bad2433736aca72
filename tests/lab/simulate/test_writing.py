"""Writing: every format can be read back, with truth and job card beside it."""

import numpy as np
import pytest

from chatter.job.cards import load_job
from chatter.lab.simulate import draw_scene, ranges_development
from chatter.lab.simulate.__main__ import main
from chatter.lab.simulate.codec import CONTAINERS, write_recording
from chatter.lab.simulate.scene import Format
from chatter.lab.simulate.writing import load_truth, write_case


def tone(rate, seconds=2.0, f=1000.0):
    t = np.arange(int(seconds * rate)) / rate
    return (0.4 * np.sin(2 * np.pi * f * t)).astype(np.float32)


def read_back(path):
    import av

    with av.open(str(path)) as file:
        stream = file.streams.audio[0]
        parts = [frame.to_ndarray() for frame in file.decode(stream)]
        planar = stream.codec_context.format.is_planar
        data = np.concatenate(parts, axis=1)
        channels = stream.channels
        mono = data[0] if planar or channels == 1 else data.reshape(-1, channels)[:, 0]
        scale = 32768.0 if mono.dtype == np.int16 else 1.0
        films = len(file.streams.video)
        return mono / scale, stream.rate, channels, films


@pytest.mark.parametrize("name", list(CONTAINERS))
@pytest.mark.parametrize("channels", [1, 2])
def test_formats_keep_pitch_level_and_length(name, channels, tmp_path):
    rate = 44_100
    sound = tone(rate)
    signal = sound if channels == 1 else np.stack([sound, 0.5 * sound], axis=1)
    form = Format(name, 12_200 if name == "3gp" else 64_000)
    path, said = write_recording(tmp_path / "take", signal, rate, form)
    heard, true_rate, count, films = read_back(path)
    assert path.suffix == CONTAINERS[name].suffix
    assert true_rate == said
    assert count == (1 if CONTAINERS[name].mono else channels)
    assert films == (1 if CONTAINERS[name].film else 0)
    assert len(heard) / true_rate == pytest.approx(2.0, abs=0.13)  # encoder padding
    middle = heard[true_rate // 2 : -true_rate // 2]
    power = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
    assert np.argmax(power) * true_rate / len(middle) == pytest.approx(1000.0, abs=2.0)
    wanted = 0.4 / np.sqrt(2) * (0.75 if CONTAINERS[name].mono and channels == 2 else 1.0)
    # AMR is made for speech: it takes 2 to 3 dB off a lasting tone.
    # LAME scales all it encodes by 0.95.
    slack = {"3gp": 0.35, "mp3": 0.07}.get(name, 0.04)
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(wanted, rel=slack)


def test_a_case_is_three_files_that_agree(tmp_path):
    scene = draw_scene(np.random.default_rng(2), "side_rubbing", ranges_development)
    recording, card, truth = write_case(tmp_path / "case", scene, 2)
    assert recording.stat().st_size > 1000
    assert load_truth(tmp_path / "case.truth.json") == truth
    job = load_job(card)
    assert job.cutter.teeth == truth.job.cutter.teeth
    assert job.cut.speed_rev_min == pytest.approx(truth.job.cut.speed_rev_min)
    assert job.take.simulated


def test_command_writes_and_says_what(tmp_path, capsys):
    args = ["--kind", "machine_only", "--seed", "5", "--count", "2", "--format", "flac"]
    assert main([str(tmp_path), *args]) == 0
    assert len(list(tmp_path.glob("*.flac"))) == 2
    assert "machine_only" in capsys.readouterr().out


def test_command_refuses_in_one_sentence(tmp_path, capsys):
    block = tmp_path / "file"
    block.write_text("x")
    assert main([str(block), "--kind", "machine_only"]) == 2
    assert main([str(tmp_path), "--kind", "side_rubbing", "--regime", "turning"]) == 2
    said = capsys.readouterr().err.strip().splitlines()
    assert len(said) == 2 and "Traceback" not in "".join(said)
