"""The picture: right pitch, right time, any size, close up and far off."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.page.tiles import LOWEST_DB, STEP_DB, levels_db, tile_bytes

RATE = 24000


def _tone(hz: float, seconds: float, *, start: float = 0.0, stop: float = 1e9) -> np.ndarray:
    t = np.arange(int(seconds * RATE)) / RATE
    on = (t >= start) & (t < stop)
    noise = np.random.default_rng(1).normal(0, 1e-4, t.size)
    return (0.5 * np.sin(2 * np.pi * hz * t) * on + noise).astype(np.float16)


@pytest.mark.parametrize("hz", [60.0, 300.0, 717.0, 5000.0])
@pytest.mark.parametrize("band", [(40.0, 12000.0), (20.0, 10000.0)])
@pytest.mark.parametrize("span", [(0.0, 20.0), (5.0, 7.0)])
def test_a_tone_lies_at_its_pitch(hz, band, span):
    rows = 200
    level = levels_db(_tone(hz, 20), RATE, span, band, (300, rows))
    row = int(np.argmax(level.mean(axis=1)))
    edges = np.geomspace(*band, rows + 1)
    # The lowest rows are finer than a transform of 2048 samples parts: 12 Hz.
    assert edges[row] - 12 <= hz <= edges[row + 1] + 12


def test_close_up_two_near_tones_are_parted():
    both = _tone(700, 10).astype(np.float32) + _tone(712, 10).astype(np.float32)
    level = levels_db(both, RATE, (2, 9), (600, 800), (200, 300)).mean(axis=1)
    edges = np.geomspace(600, 800, 301)
    at = [level[int(np.searchsorted(edges, hz)) - 1] for hz in (700, 706, 712)]
    assert at[1] < min(at[0], at[2]) - 10


@pytest.mark.parametrize(("start", "stop"), [(4.0, 6.0), (9.9, 10.1)])
def test_a_burst_lies_at_its_time(start, stop):
    columns = 1000
    level = levels_db(_tone(1000, 20, start=start, stop=stop), RATE, (0, 20), (40, 12000),
                      (columns, 100))  # fmt: skip
    loud = np.flatnonzero(level.max(axis=0) > level.max() - 12) * 20 / columns
    # A transform of 2048 samples is 85 ms long and sees half of that beyond each end.
    assert loud[0] == pytest.approx(start, abs=0.06) and loud[-1] == pytest.approx(stop, abs=0.06)


def test_close_up_a_knock_is_sharp():
    knock = np.zeros(20 * RATE, np.float32)
    knock[10 * RATE] = 0.9
    level = levels_db(knock, RATE, (9.95, 10.05), (1000, 12000), (500, 50))
    at = np.flatnonzero(level.max(axis=0) > level.max() - 6) * 0.1 / 500 + 9.95
    assert abs(at.mean() - 10) < 0.002 and np.ptp(at) < 0.02


def test_an_hour_costs_no_more_than_a_bounded_number_of_transforms(monkeypatch):
    from chatter.page import tiles

    counted = []
    real = tiles._frames
    monkeypatch.setattr(tiles, "_frames", lambda t, c, n: counted.append(len(c)) or real(t, c, n))
    hour = np.broadcast_to(np.float32(0.1), 3600 * RATE)
    levels_db(hour, RATE, (0, 3600), (40, 12000), (1200, 400))
    assert 1200 <= sum(counted) <= 12_100


@pytest.mark.parametrize("size", [(8, 8), (1200, 400)])
@pytest.mark.parametrize("span", [(0.0, 0.02), (-0.5, 3.0), (1.9, 2.4)])
def test_every_size_and_edge_gives_a_whole_tile(size, span):
    data = tile_bytes(_tone(500, 2), RATE, span, (40, 12000), size)
    assert len(data) == size[0] * size[1]


def test_bytes_are_levels():
    level = levels_db(_tone(500, 2), RATE, (0, 2), (40, 12000), (50, 40))
    told = np.frombuffer(tile_bytes(_tone(500, 2), RATE, (0, 2), (40, 12000), (50, 40)), np.uint8)
    shown = LOWEST_DB + STEP_DB * told.reshape(40, 50)
    inside = level > LOWEST_DB
    assert np.abs(shown - level)[inside].max() <= STEP_DB
