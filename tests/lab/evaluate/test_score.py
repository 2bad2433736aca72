import math
from types import SimpleNamespace

import pytest
from evaluate_made import found_pass, outcome, true_pass

from chatter.lab.evaluate.cases import judged_cases
from chatter.lab.evaluate.figures import confusion, figures
from chatter.lab.evaluate.measured import error_figures, pass_finding, percentiles
from chatter.lab.evaluate.outcome import true_speed
from chatter.lab.evaluate.score import no_cutting, score_run
from chatter.lab.evaluate.splits import splits
from chatter.lab.evaluate.worst import worst, worst_lines
from chatter.plain import from_plain, to_plain


def values(outcomes, *names):
    found = figures(judged_cases(outcomes).cases, names=names, draws=0)
    return [found[name].value for name in names]


def one(index, truth, answer, confidence=0.9, also=(), said_also=(), **more):
    return outcome(
        index, [true_pass(0, 10, truth, also, **more)],
        [found_pass(0, 10, answer, confidence, said_also)],
    )  # fmt: skip


def test_figures_worked_out_on_paper():
    run = [
        one(0, "chatter", "chatter"),
        one(1, "chatter", "normal", 0.79),  # missed, not confident
        one(2, "chatter", "cannot_tell"),
        one(3, "normal", "normal"),
        one(4, "normal", "chatter", 0.8),  # confident and wrong, a false alarm
        one(5, "uneven_teeth", "uneven_teeth"),
        outcome(6, [true_pass(0, 10, "side_rubbing")], []),  # not found
        outcome(7, [], [found_pass(0, 10, "machine_only")]),
    ]
    assert values(run, "balanced_accuracy") == [pytest.approx((0.5 + 0.5 + 1 + 1) / 4)]
    assert values(run, "accuracy") == [pytest.approx(4 / 6)]
    assert values(run, "coverage") == [pytest.approx(5 / 7)]  # no cutting does not count
    assert values(run, "chatter_recall", "chatter_recall_of_all") == [0.5, pytest.approx(1 / 3)]
    assert values(run, "false_alarms") == [pytest.approx(1 / 4)]
    assert values(run, "confident_wrong") == [pytest.approx(1 / 8)]


def test_a_cause_that_holds_beside_the_gravest_is_defensible_but_not_right():
    run = [one(0, "chatter", "uneven_teeth", also=("uneven_teeth",))]
    assert values(run, "accuracy", "balanced_defensible") == [0.0, 1.0]
    assert values(run, "confident_wrong", "confident_not_gravest") == [0.0, 1.0]


def test_chatter_named_second_still_counts_as_named():
    run = [one(0, "chatter", "side_rubbing", said_also=("chatter",))]
    assert values(run, "chatter_recall") == [1.0]


def test_every_recording_weighs_the_same():
    twenty = outcome(
        0, [true_pass(2 * i, 2 * i + 1) for i in range(20)],
        [found_pass(2 * i, 2 * i + 1, "chatter") for i in range(20)],
    )  # fmt: skip
    assert values(
        [twenty, one(1, "normal", "normal")], "accuracy", "false_alarms"
    ) == pytest.approx([0.5, 0.5])


def test_marginal_passes_stand_apart():
    run = [one(0, "normal", "chatter", marginal=True), one(1, "normal", "normal")]
    cases = judged_cases(run)
    assert len(cases.cases) == 1 and len(cases.marginal) == 1
    assert values(run, "accuracy") == [1.0]


def test_a_pass_heard_where_nothing_was_cut_is_a_case_of_machine_only():
    run = [
        outcome(0, [true_pass(0, 10)], [found_pass(0, 10), found_pass(12, 18, "chatter")]),
        outcome(1, [], []),
    ]
    table = confusion(judged_cases(run).cases)
    assert table["machine_only"] == {"chatter": 0.5, "cannot_tell": 1.0}
    assert table["normal"] == {"normal": 0.5}


def test_confident_verdicts_without_cutting_are_counted():
    run = [
        outcome(0, [], [found_pass(0, 9, "chatter", 0.8)]),
        outcome(1, [], [found_pass(0, 9, "normal", 0.79)]),
        outcome(2, [], [found_pass(0, 9, "machine_only", 0.95)]),
        outcome(3, [], []),
        one(4, "normal", "chatter"),
    ]
    assert no_cutting(run) == {"recordings": 4, "confident": 1, "wrong": 2}


def test_intervals_hold_the_value_and_shrink_with_recordings():
    def wide(n):
        run = [one(i, "normal", "normal" if i % 5 else "chatter") for i in range(n)]
        share = figures(judged_cases(run).cases, names=("accuracy",))["accuracy"]
        assert share.low < share.value < share.high
        return share.high - share.low

    # Binomial width falls with the root of the number: by 4 from 20 to 320, within a third.
    assert 2.7 < wide(20) / wide(320) < 5.5


def test_a_perfect_score_still_has_an_interval():
    run = [one(i, "normal", "normal") for i in range(20)]
    share = figures(judged_cases(run).cases, names=("accuracy",))["accuracy"]
    assert share.high == 1.0 and 0.8 < share.low < 0.9  # Wilson for 20 of 20: 0.839


def test_errors_of_speed_frequency_and_onset():
    run = [
        outcome(
            0,
            [true_pass(0, 10, "chatter", chatter_hz=500.0, onset_s=2.0, chatter_width_hz=1.0)],
            [found_pass(0.5, 9, "chatter", rev_min=603.0, chatter_hz=540.5, onset_s=2.5)],
        )
    ]
    cases = judged_cases(run)
    found = error_figures(cases)
    assert found["speed_long"].p50 == pytest.approx(0.5)  # 100 turns
    assert found["chatter_hz_all"].p90 == pytest.approx(40.5)
    # 540.5 Hz is half a hertz from the member 500 + 40.
    assert found["chatter_member_all"].p90 == pytest.approx(0.5)
    assert found["chatter_tolerance_all"].p90 == pytest.approx(40.5)
    assert found["onset"].p50 == pytest.approx(0.5)
    borders = pass_finding(cases)
    assert (borders.start.p50, borders.end.p50) == pytest.approx((0.5, 1.0))
    assert (borders.recall, borders.precision) == (1.0, 1.0)


def test_a_wrong_tooth_count_is_kept_out_of_the_speed_errors():
    told = {"snr_db": 9.0, "format": "wav", "bit_rate": 0, "wrong_teeth": True}
    run = [outcome(0, [true_pass(0, 10)], [found_pass(0, 10, rev_min=900.0)], conditions=told)]
    found = error_figures(judged_cases(run))
    assert found["speed_all"].count == 0
    assert found["speed_wrong_teeth"].p50 == pytest.approx(50.0)


def test_percentiles_weigh():
    e = percentiles("x", "", [0.1, 5.0], [9.0, 1.0], 1.0)
    assert (e.p50, e.p90, e.p99) == (0.1, 0.1, 5.0)
    assert e.within == pytest.approx(0.9)
    assert math.isnan(percentiles("x", "", [], [], 1.0).p50)


def test_outcomes_survive_json():
    import json

    run = one(3, "chatter", "chatter", chatter_hz=500.0, tooth_forces=(1.0, 0.9))
    assert from_plain(type(run), json.loads(json.dumps(to_plain(run)))) == run


def test_a_whole_score_can_be_written():
    import json

    run = [one(i, "chatter", "chatter" if i % 3 else "normal") for i in range(9)]
    plain = json.loads(json.dumps(to_plain(score_run(run, draws=20)), allow_nan=False))
    assert plain["counts"]["recordings"] == 9
    assert set(plain["splits"]["Way of cutting"]) == {"saw"}
    row = plain["splits"]["Length of the pass"]["60 turns or more"]
    assert row["recordings"] == 9 and row["errors"]["speed_all"]["p90"] == 0
    assert row["confusion"]["chatter"] == {"normal": 3.0, "chatter": 6.0}


def test_an_idle_stretch_judged_machine_only_is_no_false_pass():
    found = [found_pass(0, 10), found_pass(11, 15, "machine_only"), found_pass(16, 19)]
    borders = pass_finding(judged_cases([outcome(0, [true_pass(0, 10)], found)]))
    assert (borders.found, borders.false, borders.idle) == (2, 1, 1)
    assert borders.precision == 0.5


def test_the_worst_answers_come_first_and_once_per_recording():
    run = [
        one(0, "normal", "chatter", 0.7, chatter_hz=None),
        one(1, "normal", "chatter", 0.95),
        one(2, "normal", "normal", 0.99),
        outcome(3, [], [found_pass(0, 3, "normal", 0.8), found_pass(4, 9, "chatter", 0.9)]),
    ]
    found = worst(judged_cases(run).cases)
    assert [c.recording for c in found] == [1, 3, 0]
    assert worst_lines(judged_cases(run).cases).count("\n") == 3


def test_limits_of_long_passes_and_steady_lines():
    def told(length, width):
        true = true_pass(0, length, "chatter", chatter_hz=500.0, chatter_width_hz=width)
        return judged_cases(
            [outcome(0, [true], [found_pass(0, length, "chatter", chatter_hz=501.0)])]
        )

    # 600 rev/min: 10 turns a second.
    assert error_figures(told(1.95, 1.0))["speed_long"].count == 0
    assert error_figures(told(2.05, 1.0))["speed_long"].count == 1
    assert error_figures(told(5, 2.9))["chatter_hz_steady"].count == 1
    assert error_figures(told(5, 3.1))["chatter_hz_steady"].count == 0
    # 500 Hz: 0.2 % is a hertz; at 1000 Hz the tolerance is two.
    assert error_figures(told(5, 1.0))["chatter_tolerance_all"].p50 == pytest.approx(1.0)


def test_a_dial_six_per_cent_off_is_within_slip():
    def where(error, wrong_teeth=False):
        told = {"snr_db": 9.0, "format": "wav", "bit_rate": 0, "speed_error": error}
        run = [
            outcome(
                0, [true_pass(0, 9)], [found_pass(0, 9)],
                conditions=told | {"wrong_teeth": wrong_teeth},
            )
        ]  # fmt: skip
        return list(splits(judged_cases(run).cases, draws=0)["What was stated"])

    assert where(-0.059) == ["right within slip"]
    assert where(0.062) == ["speed wrong by more than slip"]
    assert where(0.0, wrong_teeth=True) == ["tooth count wrong"]


def test_the_speed_is_measured_against_the_cutting_that_was_judged():
    course = ((0.0, 620.0), (5.0, 620.0), (5.5, 600.0), (20.0, 600.0))
    truth = SimpleNamespace(speed_course=course, passes=(true_pass(4.8, 12),))
    # Idling before and a short run-down do not count, though the mean would lie higher.
    assert true_speed(truth, 0.0, 14.0) == pytest.approx(600.0)
    assert true_speed(truth, 0.0, 5.0) == pytest.approx(620.0)
    assert true_speed(truth, 14.0, 16.0) is None
    assert true_speed(SimpleNamespace(speed_course=(), passes=truth.passes), 6, 8) is None
    found = found_pass(5, 10, rev_min=600.6, true_rev_min=600.0)
    run = [outcome(0, [true_pass(0, 10, rev_min=610.0)], [found])]
    assert error_figures(judged_cases(run))["speed_all"].p50 == pytest.approx(0.1)
