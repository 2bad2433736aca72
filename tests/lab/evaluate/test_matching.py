from evaluate_made import found_pass, outcome, true_pass
from hypothesis import given
from hypothesis import strategies as st

from chatter.lab.evaluate.matching import match_passes


def test_each_pass_is_matched_to_its_own():
    m = match_passes(
        outcome(0, [true_pass(0, 4), true_pass(5, 9)], [found_pass(5.2, 9), found_pass(0, 3.8)])
    )
    assert [(t.start_s, f.start_s) for t, f in m.pairs] == [(0, 0), (5, 5.2)]
    assert not m.missed and not m.pieces and not m.false


def test_a_fusion_of_two_passes_matches_one_and_misses_the_other():
    m = match_passes(outcome(0, [true_pass(0, 4), true_pass(5, 8)], [found_pass(0, 8)]))
    assert [t.start_s for t, _ in m.pairs] == [0]
    assert [t.start_s for t in m.missed] == [5]


def test_pieces_are_told_from_passes_where_nothing_was_cut():
    found = [found_pass(0, 7), found_pass(7.5, 9.5), found_pass(12, 15)]
    m = match_passes(outcome(0, [true_pass(0, 10)], found))
    assert [f.start_s for f in m.pieces] == [7.5]
    assert [f.start_s for f in m.false] == [12]


def test_too_small_an_overlap_is_no_match():
    # The third that counts: 0.325 and 0.345 of the span they cover together.
    m = match_passes(outcome(0, [true_pass(0, 3.25)], [found_pass(0, 10)]))
    assert not m.pairs and len(m.missed) == 1 and len(m.false) == 1
    assert match_passes(outcome(0, [true_pass(0, 3.45)], [found_pass(0, 10)])).pairs


def test_half_inside_makes_a_piece():
    true = [true_pass(0, 1), true_pass(2, 3), true_pass(4, 5)]
    # A second of each second is cut; the tail outside tells.
    assert len(match_passes(outcome(0, true, [found_pass(0, 5.9)])).pieces) == 1  # 3 / 5.9
    assert len(match_passes(outcome(0, true, [found_pass(0, 6.2)])).false) == 1  # 3 / 6.2


_spans = st.lists(st.tuples(st.floats(0, 50), st.floats(0.2, 10)), max_size=6)


@given(_spans, _spans)
def test_nothing_is_lost_or_used_twice(true, found):
    one = outcome(
        0, [true_pass(a, a + n) for a, n in true], [found_pass(a, a + n) for a, n in found]
    )
    m = match_passes(one)
    assert len(m.pairs) + len(m.missed) == len(true)
    assert len(m.pairs) + len(m.pieces) + len(m.false) == len(found)
    assert len({id(f) for _, f in m.pairs}) == len(m.pairs)
