"""From measures to a verdict: honest doubt, whole probabilities, sentences that read."""

from __future__ import annotations

import itertools
import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chatter.findings import CAUSES, VERDICTS
from chatter.job.cut import Cut, Job
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine
from chatter.listening.evidence import pieces
from chatter.listening.hearing import hear
from chatter.listening.model import Worth, model
from chatter.listening.prior import prior_measures
from chatter.listening.track import Track
from chatter.listening.verdict import FEWEST_TURNS, TELL, judge, weigh
from tests.listening.cuts_made import RATE_HZ, cut, melody, reader, sine

NAMES = [piece.name for piece in pieces()]
#: Anything a measure may be, and not known.
MEASURE = st.one_of(st.floats(-300, 300), st.just(math.nan))
MEASURES = st.dictionaries(st.sampled_from(NAMES), MEASURE, max_size=len(NAMES))


def opinion_of(measures, *, turns=50.0, contradicted=False, unfit=None):
    return judge(
        {**measures, "revolutions": turns}, contradicted=contradicted, unfit=unfit, turn_s=0.5
    )


def check(opinion):
    assert set(opinion.probabilities) == set(CAUSES)
    assert all(0.0 <= p <= 1.0 for p in opinion.probabilities.values())
    assert opinion.verdict in VERDICTS
    if opinion.verdict == "cannot_tell":
        assert opinion.reason and opinion.confidence == 0.0 and opinion.also == ()
    else:
        assert opinion.reason is None
        assert opinion.confidence == opinion.probabilities[opinion.verdict] >= TELL
        assert opinion.verdict not in opinion.also
        assert all(opinion.probabilities[other] >= 0.5 for other in opinion.also)


@settings(deadline=None, max_examples=150)
@given(MEASURES, st.floats(0.1, 1e4), st.booleans())
def test_any_measures_give_a_whole_opinion(measures, turns, contradicted):
    check(opinion_of(measures, turns=turns, contradicted=contradicted))


@settings(deadline=None, max_examples=100)
@given(MEASURES, st.floats(0.0, 7.99))
def test_under_eight_turns_it_cannot_tell(measures, turns):
    opinion = opinion_of(measures, turns=turns)
    assert opinion.verdict == "cannot_tell"
    assert "revolutions" in opinion.reason and "record" in opinion.reason


def test_the_reason_says_how_long_to_record():
    opinion = judge({"revolutions": 3.0}, contradicted=False, unfit=None, turn_s=1.5)
    assert "3.0 revolutions" in opinion.reason
    assert f"{1.5 * FEWEST_TURNS * 1.5:.0f} s" in opinion.reason


@settings(deadline=None, max_examples=50)
@given(MEASURES)
def test_an_unfit_recording_is_told_as_such(measures):
    opinion = opinion_of(measures, unfit="It is clipped. Move the phone away.")
    assert opinion.verdict == "cannot_tell"
    assert opinion.reason == "It is clipped. Move the phone away."


def test_a_contradicted_speed_is_a_reason():
    opinion = opinion_of({}, contradicted=True)
    assert opinion.verdict == "cannot_tell" and opinion.reason


def test_nothing_known_gives_no_sure_fault():
    """Not one measure: no fault may be called likely."""
    opinion = opinion_of({})
    assert all(opinion.probabilities[f] < TELL for f in ("chatter", "side_rubbing", "uneven_teeth"))


@settings(deadline=None, max_examples=150)
@given(MEASURES, st.sampled_from(VERDICTS))
def test_evidence_reads(measures, verdict):
    found = weigh(measures, verdict)
    known = {n for n, v in measures.items() if not math.isnan(v)}
    assert {e.name for e in found} <= known
    for e in found:
        assert (
            e.sentence.endswith(".")
            and "{" not in e.sentence
            and not re.search(r"\bnan\b", e.sentence)
        )
        assert e.title and e.expected and math.isfinite(e.weight)
        assert e.speaks_for is None or e.speaks_for in CAUSES
        assert (e.speaks_for is None) == (e.weight == 0.0)
    for mine in (True, False):  # the verdict's own first, each half with the weightiest first
        weights = [abs(e.weight) for e in found if (e.speaks_for == verdict) == mine]
        assert weights == sorted(weights, reverse=True)


@pytest.mark.parametrize("value", [-1e6, -60.0, -1.0, 0.0, 0.004, 0.5, 1.0, 7.0, 33.0, 1e6])
def test_every_piece_reads_at_every_value(value):
    for piece in pieces():
        sentence = piece.sentence(value)
        assert (sentence[0].isupper() or not sentence[0].isalpha()) and sentence.endswith("."), (
            piece.name
        )


def test_a_worth_is_level_beyond_its_knots_and_straight_between():
    worth = Worth((-10.0, 0.0, 5.0), (-1.0, 0.0, 2.0))
    assert [worth.of(v) for v in (-1e6, -10.0, -5.0, 0.0, 4.0, 5.0, 1e6)] == pytest.approx(
        [-1.0, -1.0, -0.5, 0.0, 1.6, 2.0, 2.0]
    )
    assert worth.of(math.nan) == 0.0


def test_no_worth_takes_the_sign_that_physics_forbids():
    from chatter.lab.evaluate.fit import allowed

    for cause, signs in allowed().items():
        for name, worth in model()[cause].worths.items():
            steps = np.diff(worth.adds)
            assert {"+": steps.min() >= -1e-9, "-": steps.max() <= 1e-9}.get(signs[name], True)


def test_the_model_weighs_only_pieces_there_are():
    assert {"cutting", "chatter", "side_rubbing", "uneven_teeth", "tone"} <= set(model())
    for name, cause in model().items():
        assert set(cause.worths) <= set(NAMES), name
        for worth in cause.worths.values():
            assert len(worth.at) == len(worth.adds) >= 2
            assert all(a < b for a, b in itertools.pairwise(worth.at))
            assert all(math.isfinite(one) for one in (*worth.at, *worth.adds))


def test_probability_is_the_logistic_of_the_odds():
    cause = model()["chatter"]
    neutral = cause.probability({})
    assert neutral == pytest.approx(1 / (1 + math.exp(-cause.bias)), rel=1e-6)


def job(rev_min=600.0, teeth=4, **cutter):
    return Job(Cutter(teeth, **cutter), Cut(rev_min), Machine())


def test_the_set_up_invites_rubbing_or_not():
    def prior(**cutter):
        return prior_measures(job(**cutter))["prior_form"]

    assert prior(form="slitting_saw") > 0 > prior(form="staggered_tooth")
    assert prior(form="slitting_saw", side_relief=True) < 0
    assert prior() == 0.0
    thin = Job(Cutter(40, form="slitting_saw"), Cut(60.0, feed_m_s=40 * 5e-6))
    assert prior_measures(thin)["prior_form"] > prior(form="slitting_saw")


DEGENERATE = {
    "all zero": lambda _: np.zeros(3 * RATE_HZ),
    "faint noise": lambda rng: 1e-6 * rng.standard_normal(3 * RATE_HZ),
    "a pure tone": lambda _: sine(3.0, 1000.0, 0.5),
    "a tone on the teeth": lambda _: sine(3.0, 40.0, 0.5),
    "clipped square wave": lambda _: np.sign(sine(3.0, 50.0, 1.0)) * 0.99,
    "an offset": lambda _: np.full(3 * RATE_HZ, 0.3),
    "one click": lambda _: np.r_[np.zeros(RATE_HZ), 1.0, np.zeros(2 * RATE_HZ)],
    "0.3 s": lambda rng: 0.1 * rng.standard_normal(int(0.3 * RATE_HZ)),
    "0.11 s": lambda rng: 0.1 * rng.standard_normal(int(0.11 * RATE_HZ)),
    "shorter than a frame": lambda rng: 0.1 * rng.standard_normal(100),
    "one sample": lambda _: np.array([0.5]),
    "half silence": lambda rng: np.r_[np.zeros(2 * RATE_HZ), 0.1 * rng.standard_normal(RATE_HZ)],
}


def no_nan(value):
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, dict):
        return all(no_nan(v) for v in value.values())
    if isinstance(value, (tuple, list)):
        return all(no_nan(v) for v in value)
    if hasattr(value, "__dataclass_fields__"):
        return all(no_nan(getattr(value, name)) for name in value.__dataclass_fields__)
    return True


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("sound", DEGENERATE)
@pytest.mark.parametrize(("rev_min", "teeth"), [(57.0, 48), (3000.0, 2), (600.0, 1)])
def test_degenerate_sounds_give_whole_passes(rng, sound, rev_min, teeth):
    x = DEGENERATE[sound](rng).astype(np.float32)
    hearing = hear(Track(reader(x), x.size, RATE_HZ), job(rev_min, teeth), progress=lambda *_: None)
    for one in hearing.passes:
        assert no_nan(one), one
        assert one.verdict in VERDICTS and set(one.probabilities) == set(CAUSES)
        assert one.end_s >= one.start_s
        assert one.verdict != "chatter" or one.chatter is not None
        edges = [(m.start_s, m.end_s) for m in one.timeline]
        assert all(a[1] == b[0] for a, b in itertools.pairwise(edges))


@pytest.mark.parametrize("rate", [8000, 11025, 22050])
def test_low_rates(rng, rate):
    made = cut(rng, 8.0, 235.0, 12, rate_hz=rate, ticks=0.3)
    hearing = hear(
        Track(reader(made.x), made.x.size, rate), job(235.0, 12), progress=lambda *_: None
    )
    (one,) = hearing.passes
    assert no_nan(one) and one.spindle.heard
    assert one.spindle.rev_min == pytest.approx(235.0, rel=2e-3)
    assert max(line.frequency_hz for line in one.lines) < rate / 2


@pytest.mark.parametrize("span", [(0.0, 0.001), (1.0, 1.002), (1.0, 1.05), (7.9, 9.0)])
def test_tiny_spans(rng, span):
    from dataclasses import replace

    from chatter.job.cut import Take

    made = cut(rng, 8.0, 235.0, 12, ticks=0.3)
    hearing = hear(
        Track(reader(made.x), made.x.size, RATE_HZ),
        replace(job(235.0, 12), take=Take(span_s=span)),
        progress=lambda *_: None,
    )
    (one,) = hearing.passes
    assert one.verdict == "cannot_tell" and one.reason and no_nan(one)


def test_of_two_faults_that_can_be_told_the_gravest_comes_first(monkeypatch):
    """Chatter breaks cutters; it is named before rubbing that is a little surer."""
    from chatter.listening import verdict as room
    from chatter.listening.model import Cause

    def opinion(chatter, rubbing):
        odds = {"cutting": 20.0, "uneven_teeth": -9.0, "tone": 0.0}
        odds |= {
            name: math.log(p / (1 - p))
            for name, p in (("chatter", chatter), ("side_rubbing", rubbing))
        }
        monkeypatch.setattr(room, "model", lambda: {n: Cause(b, {}) for n, b in odds.items()})
        return judge({"revolutions": 50.0}, contradicted=False, unfit=None, turn_s=0.1)

    both = opinion(0.75, 0.9)
    assert (both.verdict, both.also) == ("chatter", ("side_rubbing",))
    assert both.confidence == pytest.approx(0.75)
    doubtful = opinion(TELL - 0.05, 0.9)
    assert (doubtful.verdict, doubtful.also) == ("side_rubbing", ("chatter",))


@pytest.mark.parametrize(("rev_min", "teeth"), [(57, 48), (1656, 6), (9000, 5), (250, 1)])
def test_music_is_no_cut(rng, rev_min, teeth):
    """Steady tones, much louder than what lies between them: all that chatter has, but a
    cutter."""
    notes = melody(rng, 10.0)
    x = np.r_[0.01 * rng.standard_normal(2 * RATE_HZ), notes].astype(np.float32)
    track = Track(reader(x), x.size, RATE_HZ)
    found = hear(track, job(float(rev_min), teeth), progress=lambda *_: None)
    assert {one.verdict for one in found.passes} <= {"machine_only", "cannot_tell"}


def test_short_stretches_ask_for_clearer_teeth(rng):
    """A comb at 6 ties a recording to the cutter, but not its stretches of half a second."""
    from dataclasses import replace

    from chatter.listening.verdict import tie

    made = cut(rng, 8.0, 250.0, 24, ticks=0.3)
    (one,) = hear(
        Track(reader(made.x), made.x.size, RATE_HZ), job(250.0, 24), progress=lambda *_: None
    ).passes

    def told(score, *lengths, contrast_db=10.0, teeth=24, verdict="chatter", swells=0.0):
        measures = one.measures | {
            "speed_z": score, "turn_z": 0.0, "contrast_db": contrast_db, "swell_times": swells
        }  # fmt: skip
        passes = [
            replace(one, verdict=verdict, confidence=0.9, measures=measures, end_s=one.start_s + s)
            for s in lengths
        ]
        return [p.verdict for p in tie(passes, teeth)]

    assert told(6.0, 4.0, 0.5) == ["chatter", "cannot_tell"]
    assert told(9.0, 4.0, 0.5) == ["chatter", "chatter"]
    assert told(4.0, 4.0, 0.5) == ["cannot_tell", "cannot_tell"]
    # with nothing beside it to be louder than, a machine running free looks the same
    assert told(9.0, 4.0, contrast_db=0.0) == ["cannot_tell"]
    (alone,) = tie([replace(one, measures=one.measures | {"speed_z": 9.0, "contrast_db": 0.0})], 24)
    assert one.spindle.heard and not alone.spindle.heard  # it may be a gear
    assert alone.spindle.rev_min == one.spindle.stated_rev_min
    assert alone.tooth_passing_hz == pytest.approx(24 * 250.0 / 60)
    assert told(12.0, 4.0, contrast_db=0.0) == ["chatter"]
    # a single tooth makes no comb; then the rise over idling must do, but not out of silence
    for contrast_db, verdict in ((20.0, "chatter"), (5.0, "cannot_tell"), (50.0, "cannot_tell")):
        assert told(1.0, 4.0, contrast_db=contrast_db, teeth=1) == [verdict]
    # what comes once a turn is tied by its own swelling, other faults are not
    assert told(1.0, 4.0, verdict="side_rubbing", swells=2.5) == ["side_rubbing"]
    assert told(1.0, 4.0, verdict="side_rubbing", swells=1.5) == ["cannot_tell"]
    assert told(1.0, 4.0, verdict="chatter", swells=9.0) == ["cannot_tell"]


def test_a_rub_that_drowns_the_teeth_is_measured_by_its_swelling(rng):
    """Noise that swells once a turn, at 4 % beside the dial, and nothing of the teeth."""
    t = np.arange(20 * RATE_HZ) / RATE_HZ
    x = 0.1 * rng.standard_normal(t.size) * np.sqrt(1 + 0.7 * np.cos(2 * np.pi * 1.04 * t))
    track = Track(reader(x.astype(np.float32)), t.size, RATE_HZ)
    (one,) = hear(track, job(60.0, 48), progress=lambda *_: None).passes
    assert one.measures["swell_times"] > 2.0
    flat = Track(reader((0.1 * rng.standard_normal(t.size)).astype(np.float32)), t.size, RATE_HZ)
    (one,) = hear(flat, job(60.0, 48), progress=lambda *_: None).passes
    assert one.measures.get("swell_times", 0.0) < 2.0


def test_nothing_is_certain(monkeypatch):
    from chatter.listening import verdict as room
    from chatter.listening.model import Cause

    odds = {"cutting": 30.0, "chatter": 30.0, "side_rubbing": -30.0, "uneven_teeth": -30.0}
    monkeypatch.setattr(room, "model", lambda: {n: Cause(b, {}) for n, b in odds.items()})
    sure = judge({"revolutions": 50.0}, contradicted=False, unfit=None, turn_s=0.1)
    assert sure.confidence == max(sure.probabilities.values()) == room.MOST < 1.0
