"""Speed regulation: a tooth-passing harmonic on the chatter frequency.

Smith & Tlusty, *Update on High-Speed Milling Dynamics*, ASME J. Eng. Ind. 112(2), 1990, 142;
n = 60 f_c / (N k): f_c 960 Hz, 4 teeth -> 14400, 7200, 4800, 3600 rev/min.
"""

from chatter.trade.speed_choice import pocket_speeds, weigh_steps


def test_pocket_speeds():
    assert [n for _, n in pocket_speeds(960.0, 4, 20_000.0)] == [14400.0, 7200.0, 4800.0, 3600.0]
    assert pocket_speeds(960.0, 4, 10_000.0)[0] == (2, 7200.0)


def test_the_ranking_prefers_the_pocket():
    best = weigh_steps((5600.0, 6300.0, 7100.0, 8000.0), 960.0, 4, 6000.0)[0]
    assert best.rev_min == 7100.0
    assert best.pocket == 2
