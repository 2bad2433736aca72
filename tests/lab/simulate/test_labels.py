"""Does the label say what the dynamics did?"""

from dataclasses import replace

import numpy as np
import pytest

from chatter.lab.simulate import draw_scene, ranges_development, simulate
from chatter.lab.simulate.stability import digs_in, judge_pass, scaled, widest


def drawn(kind: str, seed: int, **more):
    return draw_scene(np.random.default_rng(seed), kind, ranges_development, **more)


@pytest.mark.parametrize("seed", [2, 3])
def test_the_same_cut_on_a_stiffer_machine_is_normal(seed):
    scene = drawn("chatter_hopf", seed, regime="saw")
    loud, _, chatters = simulate(scene, seed)
    calm, _, normal = simulate(scaled(scene, 1 / 200.0), seed)
    assert {one.verdict for one in chatters.passes} == {"chatter"}
    assert {one.verdict for one in normal.passes} == {"normal"}
    assert loud.shape == calm.shape


def test_growth_changes_sign_at_the_limit():
    scene = drawn("chatter_hopf", 2, regime="saw")
    plan = widest(scene.passes[0])
    answers = [judge_pass(scaled(scene, c), plan).chatters for c in (1 / 50, 1 / 20, 1.0)]
    assert answers[0] is False and answers[-1] is True
    assert answers == sorted(answers)


def test_a_hopf_lies_off_the_tooth_orders_and_a_flip_on_the_halves():
    hopf = drawn("chatter_hopf", 3, regime="saw")
    answer = judge_pass(hopf, widest(hopf.passes[0]))
    assert answer.kind == "hopf"
    assert any(abs(answer.frequency_hz / m.frequency_hz - 1) < 0.2 for m in hopf.modes)
    flips = 0
    for seed in range(3):
        flip = drawn("chatter_flip", seed)
        for plan in flip.passes[:2]:
            answer = judge_pass(flip, plan)
            if answer.kind != "flip":
                continue
            flips += 1
            tooth_hz = flip.rev_min * (1 - flip.droop) / 60 * flip.teeth.count
            # A line of the tooth-to-tooth repeating family may be the strongest of all;
            # then it lies on a whole order, else on a half: never between.
            twice = 2 * answer.frequency_hz / tooth_hz
            assert abs(twice - round(twice)) < 0.03
    assert flips >= 2


def test_chatter_line_is_in_the_sound():
    scene = drawn("chatter_hopf", 6, regime="saw")
    scene = replace(scene, phone=replace(scene.phone, rate_hz=48_000, channels=1, agc_db=0.0))
    signal, rate, truth = simulate(scene, 6)
    one = truth.passes[0]
    assert one.chatter_width_hz < 3
    part = signal[int((one.start_s + 2) * rate) : int((one.end_s - 1) * rate)]
    power = np.abs(np.fft.rfft(part * np.hanning(len(part)))) ** 2
    hz = np.fft.rfftfreq(len(part), 1 / rate)
    near = np.abs(hz - one.chatter_hz) < 3
    around = (np.abs(hz - one.chatter_hz) < 80) & ~near
    assert power[near].max() > 30 * np.median(power[around])


@pytest.mark.parametrize(
    ("kind", "cause", "seeds"),
    [
        ("side_rubbing", "side_rubbing", (2, 3, 5)),
        ("uneven_teeth", "uneven_teeth", (3, 4, 5)),
        ("normal", None, (2, 3, 5)),
    ],
)
def test_kinds_carry_their_cause(kind, cause, seeds):
    good = doubtful = 0
    for seed in seeds:
        _, _, truth = simulate(drawn(kind, seed, regime="saw"), seed)
        for one in truth.passes:
            causes = {one.verdict, *one.also} - {"normal"}
            if one.marginal:
                doubtful += 1
            else:
                good += 1
                assert (cause in causes) if cause else not causes
                assert "chatter" not in causes
    assert good > doubtful


@pytest.mark.parametrize("kind", ["machine_only", "no_cutting"])
def test_nothing_cut_has_no_pass(kind):
    signal, rate, truth = simulate(drawn(kind, 5), 5)
    assert truth.passes == () and truth.verdict == "machine_only"
    assert len(signal) == pytest.approx(truth.duration_s * rate, abs=rate * 0.01)


def test_one_low_tooth_shows_in_the_tooth_forces():
    scene = drawn("normal", 2, regime="saw")
    heights = np.zeros(scene.teeth.count)
    heights[4] = -1e-3
    teeth = replace(scene.teeth, height_m=tuple(heights))
    _, _, truth = simulate(replace(scene, teeth=teeth), 1)
    forces = np.array(truth.passes[0].tooth_forces)
    assert forces.argmin() == 4 and forces[4] < 0.1
    # Angles grow with time, so the tooth of the next smaller angle follows and cuts what
    # was left standing.
    assert forces.argmax() == 3
    assert "uneven_teeth" in {truth.passes[0].verdict, *truth.passes[0].also}


def test_only_the_rubbing_passes_rub():
    scene = drawn("side_rubbing", 2)
    first = replace(scene.passes[0], rubbing_drift=0.0)
    shift = first.end_s - first.start_s + 1.0
    second = replace(first, start_s=first.start_s + shift, end_s=first.end_s + shift, rubbing=0.0)
    scene = replace(scene, passes=(first, second), duration_s=scene.duration_s + shift)
    _, _, truth = simulate(scene, 2)
    assert "side_rubbing" in {truth.passes[0].verdict, *truth.passes[0].also}
    assert "side_rubbing" not in {truth.passes[1].verdict, *truth.passes[1].also}


def test_a_cut_that_tears_itself_out_is_refused():
    scene = scaled(drawn("chatter_hopf", 2, regime="saw"), 300.0)
    assert digs_in(scene, scene.passes[0])
    with pytest.raises(ValueError, match="make its structure stiffer"):
        simulate(scene, 2)


def test_a_stiff_structure_does_not_dig_in():
    scene = scaled(drawn("chatter_hopf", 2, regime="saw"), 1e-3)
    assert not digs_in(scene, scene.passes[0])
