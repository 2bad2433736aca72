"""What cannot touch the cut must not touch the verdict."""

import numpy as np
import pytest

from chatter.lab.evaluate.corpus import Corpus
from chatter.lab.evaluate.robust import CHANGES, WrittenTake, changes_of, robust_lines
from chatter.lab.simulate.draw import draw_scene
from chatter.lab.simulate.ranges import ALL

#: Changes that leave every ratio in the recording as it was.
EXACT = ("gain x 10", "polarity turned", "mirrored stereo")
#: Changes that colour or code it: a verdict may come or go at the edge, never flip.
COLOURING = ("other sample rate", "AAC 96 kbit/s", "tilt +2 dB/octave", "tilt -2 dB/octave")
CORPUS = Corpus("development")


@pytest.fixture
def short_cuts(monkeypatch):
    """Short, plain cuts: end mills that chatter (even index) or do not."""

    def draw(_, index):
        kind = "normal" if index % 2 else "chatter_hopf"
        rng = np.random.default_rng(100 + index)
        return draw_scene(rng, kind, ALL["development"], regime="end_mill"), index

    monkeypatch.setattr("chatter.lab.evaluate.robust.draw_item", draw)


@pytest.mark.usefixtures("short_cuts")
@pytest.mark.parametrize("index", [0, 1])
def test_the_verdict_stands(index):
    changes = {c.name: c for c in changes_of(CORPUS, index, EXACT)}
    for name in EXACT:
        one = changes[name]
        assert one.outcome == "same", one
        assert one.passes_before == one.passes_after
        # The 16-bit steps, 70 dB down at a tenth of the level, may tip which tone is weighed.
        assert one.chatter_shift < 0.25, one
    assert "mirrored stereo" in robust_lines(list(changes.values()))


#: One stretch of the pass is likelier a cut than not, the next just not: a tilt decides whether the
#: chatter in it is judged.
_GAP = pytest.mark.xfail(strict=False, reason="known gap: the pass is found only in part")


@pytest.mark.usefixtures("short_cuts")
@pytest.mark.parametrize(
    ("index", "names"),
    [
        (0, tuple(name for name in COLOURING if name != "tilt +2 dB/octave")),
        pytest.param(0, ("tilt +2 dB/octave",), marks=_GAP),
        *((index, COLOURING) for index in (1, 2, 4)),
    ],
)
def test_no_verdict_flips(index, names):
    changes = changes_of(CORPUS, index, names)
    assert [one.name for one in changes] == list(names)
    for change in changes:
        assert change.outcome != "flipped", change


def test_without_rounding_gain_changes_nothing_at_all(tmp_path):
    import soundfile

    from chatter.lab.simulate import simulate
    from chatter.listening.front import listen

    scene = draw_scene(np.random.default_rng(101), "normal", ALL["development"], regime="end_mill")
    signal, rate_hz, truth = simulate(scene, 1)
    found = []
    for peak in (0.7, 0.07):
        scaled = signal * np.float32(peak / np.abs(signal).max())
        soundfile.write(tmp_path / "take.wav", scaled, rate_hz, subtype="FLOAT")
        found.append(listen(tmp_path / "take.wav", truth.job).findings.passes)
    loud, quiet = found
    assert [p.verdict for p in loud] == [p.verdict for p in quiet]
    for a, b in zip(loud, quiet, strict=True):
        assert a.probabilities == pytest.approx(b.probabilities, abs=1e-3)
        assert a.measures == pytest.approx(b.measures, rel=1e-3, abs=0.01)


def test_every_change_changes_the_samples_and_none_clips():
    rng = np.random.default_rng(0)
    take = WrittenTake((0.1 * rng.standard_normal(4800)).clip(-0.7, 0.7).astype(np.float32), 48_000)
    for name, (first, change) in CHANGES.items():
        before = first(take) if first else take
        after = change(take)
        same = after.signal.shape == before.signal.shape and np.allclose(
            after.signal, before.signal
        )
        assert not same or after.form != before.form, name
        assert np.abs(after.signal).max() < 1.0, name


def test_a_tilt_of_two_decibels_per_octave_is_that():
    n, rate = 48_000, 48_000
    t = np.arange(n) / rate
    take = WrittenTake(
        (0.3 * np.sin(2 * np.pi * 500 * t) + 0.3 * np.sin(2 * np.pi * 4000 * t)), rate
    )
    spectrum = np.abs(np.fft.rfft(CHANGES["tilt -2 dB/octave"][1](take).signal))
    # Three octaves apart: 6 dB.
    assert 20 * np.log10(spectrum[500] / spectrum[4000]) == pytest.approx(6.0, abs=0.01)
