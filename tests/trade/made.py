"""Passes and jobs for the tests of this room."""

from __future__ import annotations

from chatter import findings
from chatter.job.cut import Cut, Job
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine

STEPS = (38.0, 57.0, 75.0, 90.0, 120.0, 160.0, 220.0, 300.0)


def a_pass(verdict, probability=0.9, *, n=90.0, count=16, f_c=None, share=0.5, **more):
    """A judged pass of 20 s with the spindle heard to 0.1 %."""
    probabilities = dict.fromkeys(findings.CAUSES, 0.05)
    if verdict in probabilities:
        probabilities[verdict] = probability
    f_tp = n * count / 60
    chatter = None
    if f_c is not None:
        chatter = findings.Chatter(f_c, 1.0, share, "hopf", f_c / f_tp, 20.0)
    known = {
        "index": 1,
        "start_s": 0.0,
        "end_s": 20.0,
        "revolutions": n / 3,
        "verdict": verdict,
        "also": (),
        "confidence": probability if verdict in probabilities else 0.0,
        "probabilities": probabilities,
        "reason": "It is too short." if verdict == "cannot_tell" else None,
        "spindle": findings.Spindle(n, 0.999 * n, 1.001 * n, n, True),
        "tooth_passing_hz": f_tp,
        "chatter": chatter,
        "lines": (),
        "evidence": (),
        "timeline": (),
        "teeth": (),
    }
    return findings.Pass(**{**known, **more})


def a_job(*, teeth=16, n=90.0, steps=STEPS, cutter=None, cut=None, machine=None):
    """A 2.5 in slitting saw in soft iron."""
    cutter = {"form": "slitting_saw", "diameter_m": 0.0635, "width_m": 0.003, **(cutter or {})}
    cut = {"material": "grey_cast_iron_soft", "depth_m": 0.006, **(cut or {})}
    return Job(
        Cutter(teeth, **cutter),
        Cut(n, **cut),
        Machine(**{"speeds_rev_min": steps, **(machine or {})}),
    )
