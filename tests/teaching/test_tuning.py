"""Sureness tuned by labels: taken only while it helps on other days, and never the truth."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chatter.findings import CAUSES
from chatter.teaching import tuning as t
from chatter.teaching.keeping import relearn, tuning_of


def lesson(day, p_chatter, label, machine="m", right=None):
    p = {**dict.fromkeys(CAUSES, t.LEAST), "chatter": p_chatter, "normal": 1 - p_chatter}
    return t.Lesson(machine, f"2025-03-{day:02d}", p, label, 0.05, right)


def oversure(count, shift=2.5, seed=1, machine="m"):
    """Cuts whose chatter is told with log odds that lie ``shift`` too high."""
    rng = np.random.default_rng(seed)
    made = []
    for i in range(count):
        x = rng.normal(0, 1.5)
        held = rng.random() < 1 / (1 + math.exp(-x))
        p = 1 / (1 + math.exp(-(x + shift)))
        made.append(lesson(i // 4 + 1, p, "chatter" if held else "normal", machine))
    return made


def test_a_shift_of_the_odds_is_found_and_taken_back():
    learned = t.learn(oversure(60), "m", "mill")
    assert learned.kind != "none" and learned.labels == 60 and learned.days == 15
    slope, offset = learned.slope["chatter"], learned.offset["chatter"]
    # at the middle of what was said (log odds 2.5) the truth lies at 0; 60 labels leave 0.6
    assert abs(offset + slope * 2.5) < 0.6
    before = dict.fromkeys(CAUSES, 0.1) | {"chatter": 0.9}
    assert learned.probabilities(before)["chatter"] < 0.6


def test_more_odds_stay_more_odds():
    learned = t.learn(oversure(40), "m")
    p = [learned.probabilities({"chatter": x})["chatter"] for x in (0.1, 0.3, 0.5, 0.7, 0.9)]
    assert p == sorted(p) and len(set(p)) == 5


def test_few_labels_or_one_day_teach_nothing():
    few = t.learn(oversure(7), "m")
    assert few.kind == "none" and "7 labelled passes, and 8" in few.why
    one_day = t.learn([lesson(1, 0.9, "normal") for _ in range(20)], "m")
    assert one_day.kind == "none" and "one day" in one_day.why
    before = dict.fromkeys(CAUSES, 0.3)
    assert few.probabilities(before) == before


def test_labels_that_fit_already_leave_all_as_it_is():
    kinds = [t.learn(oversure(24, shift=0.0, seed=s), "m").kind for s in range(12)]
    # calibrated answers: by chance some correction scores better, seldom
    assert kinds.count("none") >= 7


def test_labels_without_sense_change_little():
    rng = np.random.default_rng(4)
    for seed in range(6):
        sound = oversure(24, shift=0.0, seed=seed)
        names = ["chatter", "normal"]
        mad = [
            t.Lesson(o.machine, o.day, o.probabilities, names[rng.integers(2)], 0.08) for o in sound
        ]
        learned = t.learn(mad, "m")
        assert all(abs(v) < 2.0 for v in learned.offset.values())
        assert all(v >= 0.25 for v in learned.slope.values())


def test_another_machine_informs_but_does_not_decide():
    other = oversure(60, machine="other")
    alone = t.learn(oversure(8, seed=9), "m")
    helped = t.learn([*oversure(8, seed=9), *other], "m")
    assert helped.labels == 8, "only its own are counted"
    assert helped.kind != "none"
    if alone.kind != "none":
        assert helped.offset["chatter"] < 0


def test_a_grave_label_says_nothing_of_lesser_faults():
    said = t.said("chatter")
    assert said["chatter"] == 1 and said["normal"] == 0
    assert math.isnan(said["side_rubbing"]) and math.isnan(said["uneven_teeth"])
    assert t.said("normal") == {**dict.fromkeys(CAUSES, 0.0), "normal": 1.0}


@pytest.mark.parametrize("tried", [("offset", 1.0), ("offset and slope", 1.0)])
def test_the_fit_stands_at_the_lowest_cost(tried):
    """The fast steps against the slow, general minimiser of scipy on the same cost."""
    from scipy.optimize import minimize

    lessons = oversure(30) + oversure(10, machine="o", seed=3)
    data = t._Data.of(lessons, "m")
    n = len(CAUSES)
    width = np.concatenate(
        [np.full(n, t._OFFSET), np.full(n, t._MACHINE), [t._SLOPE], np.full(n, t._CAUSE_SLOPE)]
    )
    width = width if tried[0] != "offset" else width[: 2 * n]

    def cost(theta):
        slope = 1 + theta[2 * n] + theta[2 * n + 1 :] if len(theta) > 2 * n else np.ones(n)
        z = theta[:n] + data.own[:, None] * theta[n : 2 * n] + slope * data.x
        loss = t._loss(z, data.y, data.error[:, None])[0].sum()
        return loss + 0.5 * np.sum((theta / width) ** 2)

    fast = t._fit(data, data.all, tried)
    slow = minimize(cost, np.zeros(width.size)).fun
    assert cost(fast) < slow + 0.02, "a hundredth of a label's worth"


def test_it_is_kept_in_the_book_and_remade(book, mill, cut):
    for i in range(16):
        cut(i // 4 + 1, "chatter", 0.9, label="normal" if i % 4 else "chatter")
    made = relearn(book, mill)
    assert made.kind != "none" and (made.answered, made.right) == (16, 4)
    assert tuning_of(book, mill) == made
    assert relearn(book, mill) == made
    from chatter.logbook import TuningRow

    assert book.count(TuningRow) == 1, "the same is not kept twice"
    assert relearn(book, None).kind == "none" and book.count(TuningRow) == 1
