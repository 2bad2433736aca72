"""The verdict of a recording from those of its passes."""

from __future__ import annotations

from dataclasses import replace

from chatter.listening.summary import overall, summarise
from tests.trade.made import a_pass


def _unsure(machine_only: float):
    """A pass that cannot be told, with what is said for the machine alone."""
    one = a_pass("cannot_tell")
    return replace(one, probabilities={**one.probabilities, "machine_only": machine_only})


def test_the_gravest_pass_gives_the_verdict():
    passes = (a_pass("normal", 0.9), a_pass("chatter", 0.7, f_c=440.0), a_pass("machine_only"))
    assert overall(passes) == ("chatter", 0.7)


def test_of_several_passes_of_one_verdict_the_surest_counts():
    assert overall((a_pass("normal", 0.7), a_pass("normal", 0.9))) == ("normal", 0.9)


def test_it_is_not_the_machine_alone_beside_a_cut_that_cannot_be_told():
    passes = (a_pass("machine_only", 0.7), _unsure(0.1))
    assert overall(passes) == ("cannot_tell", 0.0)
    assert summarise(passes, "cannot_tell").startswith("Can't tell.")
    # what cannot be told and is likely nothing takes the machine's verdict from nobody
    assert overall((a_pass("machine_only", 0.7), _unsure(0.55))) == ("machine_only", 0.7)
    assert overall((a_pass("normal", 0.7), _unsure(0.1))) == ("normal", 0.7)


def test_nothing_heard_cannot_be_told():
    assert overall(()) == ("cannot_tell", 0.0)
