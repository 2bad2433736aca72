"""From probabilities to a verdict: honest doubt, whole opinions; evidence that reads and sums."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chatter.findings import CAUSES, VERDICTS
from chatter.listening import judging
from chatter.listening.evidence import pieces, weigh
from chatter.listening.judging import (
    FAULTS,
    FEWEST_TURNS,
    MOST,
    TELL,
    UNCOMPARED,
    chatter_limits,
    judge,
    probabilities_of,
)
from chatter.listening.pass_case import WeighedLine
from chatter.listening.trees import forest

NAMES = [piece.name for piece in pieces()]
LINE_NAMES = [piece.name for piece in pieces("line")]
#: Anything a measure may be, and not known.
MEASURE = st.one_of(st.floats(-300, 300), st.just(math.nan))
MEASURES = st.dictionaries(st.sampled_from(NAMES), MEASURE, max_size=len(NAMES))
LINE_MEASURES = st.dictionaries(st.sampled_from(LINE_NAMES), MEASURE, max_size=len(LINE_NAMES))
PROBABILITIES = st.fixed_dictionaries({name: st.floats(0.0, MOST) for name in CAUSES})


def opinion_of(p, *, turns=50.0, contradiction=None, unfit=None, turn_s=0.5):
    return judge(
        p, revolutions=turns, turn_s=turn_s, contradiction=contradiction, unfit=unfit
    )  # fmt: skip


def sure(**p):
    return {**dict.fromkeys(CAUSES, 0.02), **p}


def check(opinion):
    named, possible = chatter_limits()
    assert set(opinion.probabilities) == set(CAUSES)
    assert all(0.0 <= p <= MOST for p in opinion.probabilities.values())
    assert opinion.verdict in VERDICTS
    if opinion.verdict == "cannot_tell":
        assert opinion.reason and opinion.confidence == 0.0 and opinion.also == ()
        return
    assert opinion.reason is None
    least = named if opinion.verdict == "chatter" else TELL
    assert opinion.confidence == opinion.probabilities[opinion.verdict] >= least
    assert opinion.verdict not in opinion.also and "chatter" not in opinion.also
    assert all(opinion.probabilities[other] >= TELL for other in opinion.also)
    likely = opinion.probabilities["chatter"]
    assert opinion.possible == ("chatter" if possible <= likely < named else None)


def test_for_want_of_comparison_nothing_is_surely_the_machine_alone():
    alone = sure(machine_only=0.95)
    more = {"revolutions": 50.0, "turn_s": 0.5, "contradiction": None, "unfit": None}
    assert judge(alone, **more).confidence == 0.95
    found = judge(alone, **more, compared=False)
    assert (found.verdict, found.confidence) == ("machine_only", UNCOMPARED)
    assert judge(sure(normal=0.95), **more, compared=False).confidence == 0.95


@settings(deadline=None, max_examples=200)
@given(PROBABILITIES, st.floats(0.1, 1e4), st.sampled_from([None, "It fits 70 rev/min better."]))
def test_any_probabilities_give_a_whole_opinion(p, turns, contradiction):
    check(opinion_of(p, turns=turns, contradiction=contradiction))


@settings(deadline=None, max_examples=60)
@given(st.lists(MEASURES, max_size=3))
def test_any_measures_give_whole_probabilities(cases):
    told = probabilities_of(cases)
    assert len(told) == len(cases)
    for one in told:
        check(opinion_of(one))


def test_nothing_known_gives_no_sure_fault():
    """Not one measure: no fault may be called likely."""
    (told,) = probabilities_of([{}])
    assert all(told[fault] < TELL for fault in FAULTS)


@settings(deadline=None, max_examples=60)
@given(PROBABILITIES, st.floats(0.0, FEWEST_TURNS - 0.01))
def test_too_few_turns_cannot_be_told(p, turns):
    opinion = opinion_of(p, turns=turns)
    assert opinion.verdict == "cannot_tell"
    assert f"{turns:.1f} revolutions" in opinion.reason and "record" in opinion.reason


def test_the_reason_says_how_long_to_record():
    opinion = opinion_of(sure(normal=0.9), turns=3.0, turn_s=1.5)
    assert f"{2 * FEWEST_TURNS * 1.5:.0f} s or more" in opinion.reason
    assert opinion_of(sure(normal=0.9), turns=FEWEST_TURNS).verdict == "normal"


def test_unfit_comes_before_every_other_reason():
    told = "It is clipped. Move the phone away."
    opinion = opinion_of(sure(chatter=0.9), turns=1.0, contradiction="No.", unfit=told)
    assert (opinion.verdict, opinion.reason) == ("cannot_tell", told)


def test_a_contradicted_speed_is_a_reason_and_keeps_what_it_says():
    told = "The sound fits 70 rev/min better."
    opinion = opinion_of(sure(normal=0.9), contradiction=told)
    assert opinion.verdict == "cannot_tell" and opinion.reason.startswith(told)
    assert "Listen again" in opinion.reason


def test_chatter_is_named_from_its_limit_on_and_possible_from_a_lower_one():
    named, possible = chatter_limits()
    assert 0.0 < possible < named < MOST
    middle = 0.5 * (named + possible)
    at = opinion_of(sure(chatter=named, normal=0.1))
    assert (at.verdict, at.confidence) == ("chatter", named)
    beside = opinion_of(sure(chatter=middle, normal=TELL))
    assert (beside.verdict, beside.possible) == ("normal", "chatter")
    between = opinion_of(sure(chatter=middle, normal=TELL - 0.05))
    assert (between.verdict, between.possible) == ("cannot_tell", "chatter")
    assert "Possible chatter" in between.reason and f"{middle:.2f}" in between.reason
    below = opinion_of(sure(chatter=possible - 0.01, normal=0.65))
    assert (below.verdict, below.possible) == ("normal", None)


def test_likely_chatter_in_a_contradicted_pass_is_still_possible_chatter():
    named, _ = chatter_limits()
    told = opinion_of(sure(chatter=min(named + 0.1, MOST)), contradiction="No.")
    assert (told.verdict, told.possible) == ("cannot_tell", "chatter")


def test_of_two_faults_that_can_be_told_the_gravest_comes_first():
    """Chatter breaks cutters; it is named before rubbing that is surer."""
    named, _ = chatter_limits()
    both = opinion_of(sure(chatter=named + 0.01, side_rubbing=0.9))
    assert (both.verdict, both.also) == ("chatter", ("side_rubbing",))
    two = opinion_of(sure(side_rubbing=0.7, uneven_teeth=0.9))
    assert (two.verdict, two.also) == ("uneven_teeth", ("side_rubbing",))


def test_a_fault_that_holds_is_named_though_normal_is_likelier():
    assert opinion_of(sure(normal=0.65, side_rubbing=0.61)).verdict == "side_rubbing"


def test_divided_evidence_names_the_rivals():
    opinion = opinion_of(sure(normal=0.45, uneven_teeth=0.5))
    assert opinion.verdict == "cannot_tell"
    assert "uneven teeth and normal" in opinion.reason


def test_nothing_is_certain(monkeypatch):
    class Certain:
        def log_odds(self, cases):
            import numpy as np

            return np.full(len(cases), 500.0)

    monkeypatch.setattr(judging, "forest", lambda _: Certain())
    (told,) = probabilities_of([{}])
    assert max(told.values()) == MOST
    assert MOST <= 0.98, "a few hundred recordings cannot show more"
    assert told["normal"] < 1e-6 and told["machine_only"] < 1e-6


def test_faults_hold_only_as_far_as_something_is_cut(monkeypatch):
    import numpy as np

    class Fixed:
        def __init__(self, odds):
            self.odds = odds

        def log_odds(self, cases):
            return np.full(len(cases), self.odds)

    odds = {"cutting": 0.0, "chatter": 50.0, "side_rubbing": -50.0, "uneven_teeth": -50.0}
    scale = {key: {"offset": 0.0, "slope": 1.0} for key in odds}
    monkeypatch.setattr(judging, "forest", lambda name: Fixed(odds[name]))
    monkeypatch.setattr(judging, "model_data", lambda: {"calibration": scale})
    (told,) = probabilities_of([{}])
    assert told["chatter"] == pytest.approx(0.5) and told["machine_only"] == pytest.approx(0.5)
    assert told["normal"] == pytest.approx(0.0, abs=1e-9)


# ---------------------------------------------------------------- evidence


@settings(deadline=None, max_examples=100)
@given(MEASURES, LINE_MEASURES, st.sampled_from(VERDICTS))
def test_evidence_reads(measures, of_line, verdict):
    found = weigh(measures, WeighedLine(None, of_line, 0.0), verdict)
    known = {n for n, v in measures.items() if not math.isnan(v)}
    known |= {f"line_{n}" for n, v in of_line.items() if not math.isnan(v)}
    assert {e.name for e in found} == known
    for e in found:
        assert e.sentence.endswith(".") and "{" not in e.sentence
        assert not re.search(r"\bnan\b", e.sentence)
        assert e.title and math.isfinite(e.weight)
        assert e.speaks_for is None or e.speaks_for in CAUSES
        assert (e.speaks_for is None) == (e.weight == 0.0)
    for mine in (True, False):  # the verdict's own first, each half with the weightiest first
        weights = [abs(e.weight) for e in found if (e.speaks_for == verdict) == mine]
        assert weights == sorted(weights, reverse=True)


@pytest.mark.parametrize("value", [-1e6, -60.0, -1.0, 0.0, 0.004, 0.5, 1.0, 7.0, 33.0, 1e6])
def test_every_piece_reads_at_every_value(value):
    for piece in (*pieces(), *pieces("line")):
        sentence = piece.sentence(value)
        assert (sentence[0].isupper() or not sentence[0].isalpha()) and sentence.endswith("."), (
            piece.name
        )
        assert not re.search(r"-\d", sentence), "a minus sign is no hyphen"


def test_pieces_are_named_once_and_say_what_they_are():
    for kind in ("piece", "line"):
        names = [piece.name for piece in pieces(kind)]
        assert len(names) == len(set(names)) > 30
        assert all(piece.title and piece.says for piece in pieces(kind))


def test_every_measure_that_a_model_asks_for_has_a_piece():
    """What decides is shown: no tree may ask for something the report cannot name."""

    def asked(name):
        made = forest(name)
        return {made.names[i] for i in set(made.asked[made.asked >= 0].tolist())}

    of_pass = set().union(*(asked(name) for name in ("cutting", *FAULTS)))
    # what stands in no piece must weigh little; nothing of a pass's own may be missing
    missing = sorted(of_pass - set(NAMES))
    assert not missing, f"add [[piece]] rows to evidence.toml for {missing}"


def test_what_is_shown_is_exactly_what_the_trees_add():
    case = {"line_odds": 3.0, "cut_odds": 4.0, "turn_high_db": -8.0, "prominence_db": 25.0}
    for verdict in ("chatter", "side_rubbing"):
        added = forest(verdict).contributions(case)
        shown = {e.name: e for e in weigh(case, None, verdict)}
        for name, one in shown.items():
            if one.speaks_for == verdict:
                assert one.weight == pytest.approx(added[name])
        whole = forest(verdict).bias + sum(added.values())
        assert whole == pytest.approx(forest(verdict).log_odds([case])[0], abs=1e-9)


def test_what_says_that_something_is_cut_speaks_against_the_machine_alone():
    case = {"cut_odds": 6.0}
    added = forest("cutting").contributions(case)["cut_odds"]
    assert added > 0.5
    (one,) = weigh(case, None, "machine_only")
    assert one.speaks_for == "machine_only" and one.weight == pytest.approx(-added)


# ---------------------------------------------------------------- the fitted numbers


def test_the_models_weigh_the_way_physics_does():
    """In the whole, not at every fork: a likely line of chatter, a likely cut, deep swelling once
    a turn, one tooth that cuts twice as deep."""

    def odds(name, **measures):
        return float(forest(name).log_odds([measures])[0])

    assert odds("chatter", line_odds=4.0) > odds("chatter", line_odds=-6.0) + 1.0
    assert odds("cutting", cut_odds=6.0) > odds("cutting", cut_odds=-6.0) + 2.0
    rubs = odds("side_rubbing", turn_high_db=-3.0, turn_high_z=35.0, turn_over_tooth_db=8.0)
    assert rubs > odds(
        "side_rubbing", turn_high_db=-30.0, turn_high_z=2.0, turn_over_tooth_db=-15.0
    )
    uneven = odds("uneven_teeth", teeth_spread=0.4, teeth_f_db=25.0, side_z=20.0)
    assert uneven > odds("uneven_teeth", teeth_spread=0.01, teeth_f_db=0.0, side_z=0.0) + 0.5


def test_the_line_model_weighs_the_way_physics_does():
    def odds(**values):
        return float(forest("line").log_odds([values])[0])

    new, old = {"over_quietest_db": 30.0}, {"over_quietest_db": 0.0}
    assert odds(**new) > odds(**old)
    assert odds(seg_cutting=0.95) > odds(seg_cutting=0.02)


@pytest.mark.stale
def test_the_model_was_fitted_on_the_code_that_is_here():
    """REFIT: fails after any change to what is measured, until the models are fitted anew."""
    from chatter.lab.evaluate.code import measuring_digest
    from chatter.listening.trees import model_data

    made = model_data()
    now = measuring_digest()
    assert made["code"] == now, (
        f"model.json was fitted on code {made['code']}, and this is {now}. Fit it again: "
        f"{made['made_by']}; DEVELOPERS.md says beside it how long that takes."
    )
