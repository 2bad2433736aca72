"""Pieces of one recording are one machine: counts of what is claimed of them."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from chatter.job.cards import job_from_cards
from chatter.lab.same import TREATMENTS, Counted, claims_table, counted, tilted

RATE_HZ = 16_000
JOB = {"cut.speed": "190", "cutter.teeth": "12"}


@pytest.fixture(scope="module")
def idling(tmp_path_factory):
    """Forty-five seconds of a gear and some hiss."""
    rng = np.random.default_rng(4)
    t = np.arange(45 * RATE_HZ) / RATE_HZ
    x = 0.01 * rng.standard_normal(t.size)
    for f in (193.2, 386.4, 322.0, 1010.0, 98.0):
        x += 0.01 * np.sin(2 * np.pi * f * t)
    path = tmp_path_factory.mktemp("same") / "idle.wav"
    soundfile.write(path, x, RATE_HZ)
    return path


def test_a_history_of_one_day_is_flagged_by_nothing(idling, tmp_path, monkeypatch):
    import chatter.lab.same

    monkeypatch.setattr(chatter.lab.same, "_pair", lambda *_: [])
    monkeypatch.setattr(chatter.lab.same, "TREATMENTS", (TREATMENTS[0], TREATMENTS[3]))
    found = counted(idling, job_from_cards(None, JOB), tmp_path)
    assert [(c.sort, c.treatment) for c in found] == [("history", "as it is"), ("history", "AAC")]
    assert not any(c.claims or c.asked for c in found)


def test_treatments_do_what_they_say():
    x = np.random.default_rng(0).standard_normal(RATE_HZ).astype(np.float32)
    by_name = {one.name: one for one in TREATMENTS}
    assert np.allclose(by_name["6 dB fainter"].change(x, RATE_HZ), 0.5 * x)
    assert {one.form.name for one in TREATMENTS} == {"wav", "mp3", "m4a"}
    level = np.abs(np.fft.rfft(tilted(x, RATE_HZ))) ** 2 / np.abs(np.fft.rfft(x)) ** 2
    hz = np.fft.rfftfreq(x.size, 1 / RATE_HZ)
    fall = level[(hz > 3900) & (hz < 4100)].mean() / level[(hz > 975) & (hz < 1025)].mean()
    assert 10 * np.log10(fall) == pytest.approx(-6.0, abs=0.2)  # two octaves at 3 dB


def test_the_table_counts_what_was_claimed():
    told = claims_table(
        [Counted("history", "MP3", 2, False), Counted("history", "MP3", 0, True)]
        + [Counted("pair", "AAC", 0, False)] * 20
    )
    assert "history  all             1 of 2     50.0%" in told
    assert "0 of 20     0.0% (0.0 to 16.1)" in told  # Wilson: z^2 / (n + z^2)
