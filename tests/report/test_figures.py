"""Geometry of the figures: labels apart, values where they belong."""

from __future__ import annotations

import base64
import io
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chatter.findings import VERDICTS, ToothLevel
from chatter.listening.exhibits import ModulationMap, Overview
from chatter.report import figure_modulation, figure_spectrum, figure_strips, figure_teeth
from chatter.report.axes import Label, even_marks, log_marks, place, time_marks
from chatter.report.palette import palette
from chatter.report.pictures import spectrogram
from chatter.report.words import tone_label


@given(
    st.lists(
        st.tuples(st.floats(0, 1000), st.floats(40, 300), st.text("abc 019", max_size=18)),
        max_size=30,
    )
)
@settings(max_examples=60, deadline=None)
def test_labels_never_overlap_nor_leave_the_drawing(points):
    size = 14
    placed = place([Label(*p) for p in points], left=45, width=1000, top=20, size=size)
    for i, a in enumerate(placed):
        assert a.x - a.width / 2 >= 45 - 1e-6 and a.x + a.width / 2 <= 1000 + 1e-6 and a.y >= 20
        for b in placed[i + 1 :]:
            apart_x = abs(a.x - b.x) >= (a.width + b.width) / 2 - 1e-6
            apart_y = abs(a.y - b.y) >= 1.15 * size - 1e-6
            assert apart_x or apart_y


@given(st.floats(20, 500), st.floats(2, 1000))
@settings(max_examples=60, deadline=None)
def test_log_marks_sit_where_their_number_says(low, ratio):
    high = low * ratio
    marks = log_marks(low, high)
    for one in marks:
        value = float(one.text.replace("k", "")) * (1000 if "k" in one.text else 1)
        assert one.at == pytest.approx(math.log(value / low) / math.log(ratio), abs=1e-6)
    gaps = np.diff([one.at for one in marks])
    assert (gaps >= 0.07 - 1e-9).all()


def test_even_and_time_marks_are_round_and_few():
    assert [m.text for m in even_marks(0, 30, 12)] == ["0", "5", "10", "15", "20", "25", "30"]
    assert [m.text for m in time_marks(150, 5)] == ["0:00", "0:30", "1:00", "1:30", "2:00", "2:30"][
        : len(time_marks(150, 5))
    ]
    for length in (0.7, 9, 119, 121, 3600, 7300):
        assert 2 <= len(time_marks(length, 12)) <= 13


def test_palette_brightens_evenly():
    """CIE lightness of the steps (from the sRGB and CIE 1976 definitions) rises evenly."""
    srgb = palette(64) / 255
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    luminance = linear @ np.array([0.2126, 0.7152, 0.0722])
    lightness = 116 * np.cbrt(luminance) - 16
    steps = np.diff(lightness)
    assert steps.min() > 0
    # OKLab's lightness is not CIE's; a rainbow palette would give negative steps.
    assert steps[4:].max() < 2.2 * np.median(steps)
    assert lightness[-1] - lightness[0] > 80


def _pixels(uri: str) -> np.ndarray:
    from PIL import Image

    data = base64.b64decode(uri.split(",", 1)[1])
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"), dtype=float)


def test_spectrogram_has_low_pitch_at_the_bottom_and_time_to_the_right():
    hz = np.geomspace(50, 10000, 120)
    level = np.full((120, 300), -80.0, dtype=np.float32)
    level[10:14, 200:] = -20.0  # a low tone in the last third
    picture = spectrogram(Overview(np.arange(300.0), hz, level))
    bright = _pixels(picture.uri).sum(axis=2)
    assert bright.shape == (120, 300)
    row, column = np.unravel_index(np.argmax(bright), bright.shape)
    assert 104 <= row <= 111 and column >= 198
    assert bright[:60].mean() < 0.5 * bright[106:109, 210:].mean()


def test_spectrogram_bears_silence_and_long_recordings():
    level = np.full((500, 5000), -np.inf, dtype=np.float32)
    level[250, 2500] = -30.0
    picture = spectrogram(Overview(np.arange(5000.0), np.geomspace(50, 10000, 500), level))
    assert _pixels(picture.uri).shape == (420, 1600, 3)
    assert math.isfinite(picture.low) and picture.high > picture.low


def test_markers_stand_on_their_frequency_and_level(made):
    one = made.one_pass()
    spectrum = made.exhibits(made.findings((one,))).passes[0].spectrum
    (span, *_) = figure_spectrum.ranges(one, spectrum)
    drawn = figure_spectrum.draw_spectrum(one, spectrum, span, width=1080, height=360, size=14)
    strongest = max(one.lines, key=lambda line: line.level_db)
    (marker,) = [m for m in drawn.markers if m.title.startswith(f"{tone_label(strongest.label)}:")]
    share = (marker.x - drawn.left) / (drawn.right - drawn.left)
    assert share * span[1] == pytest.approx(strongest.frequency_hz, rel=1e-3)
    tens = next(m for m in drawn.y_marks if m.text == "30")
    assert (drawn.bottom - marker.y) / (drawn.bottom - drawn.top) == pytest.approx(
        tens.at * strongest.level_db / 30, rel=1e-3
    )
    fourth = next(m for m in drawn.x_marks if m.text == "5")
    assert fourth.at * span[1] == pytest.approx(5 * one.tooth_passing_hz, rel=1e-6)


def test_outline_keeps_every_peak(made):
    """Reduced to pixels, the outline still reaches the highest line."""
    one = made.one_pass()
    spectrum = made.exhibits(made.findings((one,))).passes[0].spectrum
    drawn = figure_spectrum.draw_spectrum(one, spectrum, (0, 2000), width=400, height=300, size=13)
    ys = [float(p.split()[1]) for p in drawn.path[1:].split("L")]
    assert len(ys) <= 400
    peak = min(m.y for m in drawn.markers)
    assert min(ys) == pytest.approx(peak, abs=0.5)


def test_lines_beyond_the_families_get_a_drawing_of_their_own(made):
    one = made.one_pass(1, "side_rubbing", teeth=80, rev_min=45)
    spectrum = made.exhibits(made.findings((one,))).passes[0].spectrum
    spans = figure_spectrum.ranges(one, spectrum)
    assert len(spans) == 2 and spans[0][1] == spans[1][0]
    for line in one.lines:
        assert any(low < line.frequency_hz <= high for low, high in spans)


@pytest.mark.parametrize("teeth", [2, 3, 24, 48, 80, 120])
def test_dial_places_each_tooth_once_and_numbers_do_not_touch(made, teeth):
    dial = figure_teeth.draw_dial(made.teeth_levels(teeth, high=1))
    assert len(dial.spokes) == teeth
    assert len({(s.x0, s.y0) for s in dial.spokes}) == teeth
    assert dial.spokes[0].x0 == pytest.approx(220) and dial.spokes[0].y0 < 220  # from the top
    places = [(n.x, n.y) for n in dial.numbers]
    for i, a in enumerate(places):
        for b in places[i + 1 :]:
            assert math.dist(a, b) > 22
    for s in dial.spokes:
        assert all(0 <= v <= 440 for v in (s.x1, s.y1, *s.spread))


def test_dial_is_left_out_with_nothing_to_compare():
    assert figure_teeth.draw_dial(()) is None
    assert figure_teeth.draw_dial((ToothLevel(1, 0.0, 0.2),)) is None


def test_only_sure_and_sizeable_teeth_stand_out():
    quiet = [ToothLevel(i, 0.1 * (-1) ** i, 0.2) for i in range(1, 21)]
    assert figure_teeth.uneven_teeth(tuple(quiet)) == ()
    loud = ToothLevel(21, 2.5, 0.3)
    unsure = ToothLevel(22, 2.5, 1.5)
    small = ToothLevel(23, 0.8, 0.01)
    assert figure_teeth.uneven_teeth((*quiet, loud, unsure, small)) == (loud,)


def test_chance_seldom_makes_a_tooth_stand_out():
    """False alarms per cutter stay near 1 %: 2000 cutters, even teeth, spread 1 dB."""
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(2000):
        levels = rng.normal(0, 1.0, 48)
        teeth = tuple(ToothLevel(i + 1, float(v), 1.0) for i, v in enumerate(levels))
        hits += bool(figure_teeth.uneven_teeth(teeth))
    # Binomial, 2000 x 0.01: 20 expected, 4 sigma is 18.
    assert 4 <= hits <= 38


def _map(column: int, depth: float, teeth: int = 6) -> ModulationMap:
    order = np.arange(0.25, 2 * teeth + 0.01, 0.25)
    made = np.full((5, order.size), 0.01)
    made[2, column] = depth
    return ModulationMap(np.geomspace(200, 12000, 6), order, made, 0.05)


def test_modulation_says_which_band_swells_once_a_turn():
    said = figure_modulation.draw_modulation(_map(3, 0.4), 6).sentence
    assert "1 of 5 bands swell once a turn" in said and "by 40 %" in said
    assert "No band swells once a tooth" in said
    other = figure_modulation.draw_modulation(_map(10, 0.4), 6).sentence  # 2.75 times a turn
    assert "No band swells once a turn" in other and "2.8 times a turn" in other
    assert (
        "No band swells once a turn" in figure_modulation.draw_modulation(_map(3, 0.04), 6).sentence
    )


@pytest.mark.parametrize("teeth", [1, 2, 3, 6, 12, 48, 80])
def test_modulation_marks_lie_where_they_say_and_apart(teeth):
    drawn = figure_modulation.draw_modulation(_map(3, 0.4, teeth), teeth)
    order = _map(3, 0.4, teeth).modulation_order
    low, high = order[0], max(order[-1], 2.5 * order[0])
    named = {m.text: m.at for m in drawn.x_marks}
    assert named["once a turn"] == pytest.approx(math.log(1 / low) / math.log(high / low))
    assert ("once a tooth" in named) == (teeth > 1)
    pixels = _pixels(drawn.picture.uri).sum(axis=2)
    brightest = np.argmax(pixels.max(axis=0)) / pixels.shape[1]
    assert brightest == pytest.approx(named["once a turn"], abs=0.12)


def test_timeline_merges_and_adds_up(made):
    one = made.one_pass()
    strip = figure_strips.timeline_strip(one)
    assert [b.state for b in strip.bars] == ["entry", "normal", "chatter", "exit"]
    assert sum(b.width for b in strip.bars) == pytest.approx(100, abs=0.1)
    assert strip.onset.left == pytest.approx(30, abs=0.1)
    assert "chatter 10.9 to" in strip.words
    twice = replace(one, timeline=tuple(m for m in one.timeline for _ in range(2)))
    assert len(figure_strips.timeline_strip(twice).bars) == 4


def test_overview_places_passes_in_percent_of_the_recording(made):
    found = made.findings()
    drawn = figure_strips.overview_strip(found, made.exhibits(found).overview)
    (bar,) = drawn.bars
    assert (bar.left, bar.width) == (pytest.approx(14.0), pytest.approx(100 * 22.3 / 30, abs=1e-2))
    assert bar.state in VERDICTS
    assert drawn.onsets[0].left == pytest.approx(
        100 * found.passes[0].chatter.onset_s / 30, abs=0.01
    )


def test_numbers_of_teeth_that_stand_out_never_touch():
    """Half a saw out of true: the furthest teeth keep their numbers, their neighbours none."""
    import math

    from chatter.findings import ToothLevel
    from chatter.report import figure_teeth

    levels = [6.0 * math.cos(2 * math.pi * i / 48) for i in range(48)]
    teeth = tuple(ToothLevel(i + 1, level, 0.2) for i, level in enumerate(levels))
    dial = figure_teeth.draw_dial(teeth)
    assert len(dial.out) > 30
    places = [(one.x, one.y) for one in dial.numbers]
    gaps = [math.dist(a, b) for i, a in enumerate(places) for b in places[:i]]
    assert min(gaps) > 26  # a ring is 24 wide
    named = {one.text for one in dial.numbers if one.out}
    assert {"1", "25"} <= named
