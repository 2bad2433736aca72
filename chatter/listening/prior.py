"""What the stated set-up says before any sound: does it invite rubbing?"""

from __future__ import annotations

from chatter.job.cut import Job

#: Sawing teeth below this chip load rub rather than cut: 0.0005 in, the low end of a
#: cutter maker's published range for sawing.
_RUBBING_CHIP_M = 0.0005 * 0.0254


def prior_measures(job: Job) -> dict[str, float]:
    """-1 .. 1: how strongly cutter form and chip load, as stated, invite side-rubbing."""
    value = 0.0
    cutter = job.cutter
    if cutter.side_relief is True or cutter.form in ("side_and_face", "staggered_tooth"):
        value -= 0.5
    elif cutter.form == "slitting_saw" or cutter.side_relief is False:
        value += 0.4
    elif cutter.form in ("end_mill", "face_mill", "slab", "single_point"):
        value -= 0.6
    chip = job.chip_load_m
    if chip is not None and cutter.form in ("slitting_saw", "side_and_face", "staggered_tooth"):
        value += 0.4 if chip < _RUBBING_CHIP_M else 0.0
    return {"prior_form": max(-1.0, min(1.0, value))}
