"""Which lines of a cut are the machine's own: by frequency, by order, by how loud."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from book_made import findings

from chatter import findings as f
from chatter.job.voice import KnownLine, MachineVoice, VoiceStep
from chatter.teaching.own_lines import meeting_ratio, own_lines

SINCE = "2025-03-01"


def cut(*lines, heard=False, rev_min=57.0):
    """A pass at a dialled 57 rev/min with lines of (Hz, dB)."""
    made = tuple(f.Line(hz, db, None, "unexplained", "", 0.5) for hz, db in lines)
    one = findings(passes=1).passes[0]
    spindle = replace(one.spindle, rev_min=rev_min, stated_rev_min=57.0, heard=heard)
    return replace(one, lines=made, spindle=spindle)


def voice(*lines, rev_min=57.0, spindle_hz=0.95, heard=False, turns=None, same_phone=False):
    known = tuple(KnownLine(hz, db, turns, SINCE) for hz, db in lines)
    step = VoiceStep(rev_min, spindle_hz, heard, known, (4,), same_phone)
    return MachineVoice("mill", (step,))


def frequencies(own):
    return [round(one.line.frequency_hz, 1) for one in own]


def test_a_line_that_stays_is_found_at_its_frequency():
    own = own_lines(cut((899.4, 30.0), (650.0, 30.0)), voice((899.6, 28.0)))
    assert frequencies(own) == [899.4] and own[0].known.since == SINCE


def test_geared_lines_are_found_by_the_slip_they_share_though_no_speed_was_heard():
    known = voice((483.5, 47.0), (523.9, 36.0), (911.1, 52.0), (1229.5, 43.0))
    geared = [(hz / 1.0123, 40.0) for hz in (483.5, 523.9, 911.1, 1229.5)]
    own = own_lines(cut(*geared, (700.0, 45.0), (1500.0, 44.0)), known)
    assert len(own) == 4 and {round(one.known.frequency_hz) for one in own} == {484, 524, 911, 1230}


def test_one_line_near_one_known_line_tells_nothing():
    assert own_lines(cut((477.6, 40.0), (700.0, 45.0)), voice((483.5, 47.0))) == ()


def test_speeds_heard_in_both_say_where_a_single_line_lies():
    known = voice((500.0, 40.0), heard=True, spindle_hz=1.0)
    slower = cut((485.2, 40.0), (700.0, 45.0), heard=True, rev_min=58.2)
    assert frequencies(own_lines(slower, known)) == [485.2]


def test_of_another_step_only_what_is_known_to_follow_or_to_stay_counts():
    at = {"rev_min": 90.0, "spindle_hz": 1.5, "heard": True}
    now = cut((500.0, 40.0), heard=True, rev_min=60.0)
    assert own_lines(now, voice((750.0, 40.0), **at)) == ()
    assert frequencies(own_lines(now, voice((750.0, 40.0), **at, turns=True))) == [500.0]
    assert own_lines(now, voice((500.0, 40.0), **at, turns=True)) == ()
    assert frequencies(own_lines(now, voice((500.0, 40.0), **at, turns=False))) == [500.0]


def test_louder_than_ever_is_told_by_the_same_phone_only():
    now = cut((899.4, 29.0), (1200.0, 20.0))
    (mine,) = own_lines(now, voice((899.4, 20.0), same_phone=True))
    assert mine.louder and not mine.outgrown
    (mine,) = own_lines(now, voice((899.4, 15.0), same_phone=True))
    assert mine.outgrown
    (other,) = own_lines(now, voice((899.4, 5.0)))
    assert not other.louder and not other.outgrown


def test_another_phone_tells_a_line_that_outgrew_its_sisters():
    known = voice((500.0, 30.0), (700.0, 32.0), (899.4, 31.0))
    own = own_lines(cut((500.0, 22.0), (700.0, 23.0), (899.4, 45.0)), known)
    assert [one.outgrown for one in own] == [False, False, True]
    assert not any(one.louder for one in own)


def test_lines_that_have_nothing_to_do_with_each_other_meet_at_no_ratio():
    rng = np.random.default_rng(7)
    found = 0
    for _ in range(300):
        known, heard = (np.exp(rng.uniform(np.log(150), np.log(4000), n)) for n in (8, 24))
        found += meeting_ratio(known, heard, (0.94, 1.01)) is not None
    # each of 300 at a chance below 0.02: more than 13 would happen once in a hundred times
    assert found <= 13


def test_the_ratio_is_found_among_other_lines():
    rng = np.random.default_rng(8)
    right = 0
    for _ in range(100):
        known = np.exp(rng.uniform(np.log(250), np.log(3500), 4))
        ratio = rng.uniform(0.96, 1.0)
        others = np.exp(rng.uniform(np.log(150), np.log(4000), 16))
        told = meeting_ratio(known, [*(known * ratio * (1 + 1e-4 * rng.normal(size=4))), *others],
                             (0.94, 1.01))  # fmt: skip
        right += told is not None and abs(told / ratio - 1) < 5e-4
    assert right >= 95
