"""Made-up findings and exhibits, realistic in shape, for the report's tests.

No sound is analysed here: the numbers are chosen, so that each verdict, an unheard
speed, many passes, many teeth and one tooth can be shown.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from chatter import findings as f
from chatter.listening.exhibits import (
    Exhibits,
    ModulationMap,
    OrderSpectrum,
    Overview,
    PassExhibit,
)

ACTION = {
    "chatter": "Halve the depth to 0.060 in and take two passes at the same speed and feed.",
    "side_rubbing": "Fit a staggered-tooth or side-relieved cutter for this slot.",
    "uneven_teeth": "Clean cutter, spacers and arbor; turn the cutter a quarter turn on the arbor.",
    "normal": "Leave speed and feed as they are.",
}


def probabilities(verdict: str, confidence: float) -> dict[str, float]:
    low = (0.11, 0.05, 0.22, 0.02, 0.08)
    made = dict(zip(f.CAUSES, low, strict=True))
    if verdict in made:
        made[verdict] = confidence
    return made


def teeth_levels(teeth: int, *, high: int | None = 17, eccentric_db: float = 0.4) -> tuple:
    rng = np.random.default_rng(teeth)
    level = rng.normal(0, 0.25, teeth)
    level += eccentric_db * np.cos(2 * np.pi * np.arange(teeth) / teeth)
    if high is not None and teeth > 1:
        level[(high - 1) % teeth] += 3.1
    level -= level.mean()
    return tuple(
        f.ToothLevel(tooth=i + 1, level_db=float(level[i]), spread_db=0.3) for i in range(teeth)
    )


def lines_of(verdict: str, f_tp: float, teeth: int, chatter_hz: float) -> tuple[f.Line, ...]:
    f_s = f_tp / teeth
    made = []

    def add(hz: float, db: float, name: str, label: str, sure: float, idle: bool = False) -> None:
        made.append(f.Line(hz, db, hz / f_s, name, label, sure, idle))

    for k in range(2, 14):
        add(k * f_tp, 24 - k, "tooth_passing", f"{k} x tooth passing", 0.97)
    add(4 * f_tp + f_s, 9, "sideband", "4 x tooth passing + 1 turn", 0.8)
    add(4 * f_tp - f_s, 8, "sideband", "4 x tooth passing - 1 turn", 0.8)
    add(100.0, 12, "mains", "2 x mains 50 Hz", 0.9, True)
    add(412.3, 11, "machine", "also while idling", 0.85, True)
    if verdict == "chatter":
        for k in range(-2, 3):
            name = "chatter, f_c" if k == 0 else f"chatter, f_c {k:+d} x tooth passing"
            add(chatter_hz + k * f_tp, 31 - 6 * abs(k), "chatter", name, 0.93)
        add(2 * chatter_hz, 17, "chatter", "chatter, 2 f_c", 0.9)
    if verdict == "side_rubbing":
        add(3187.0, 22, "squeal", "squeal of the plate", 0.8)
        add(4410.0, 16, "squeal", "squeal of the plate", 0.7)
    if verdict == "uneven_teeth":
        for m in range(1, 6):
            add(m * f_s, 14 - m, "revolution", f"turn x {m}", 0.9)
    add(1733.0, 7, "unexplained", "unexplained", 0.5)
    return tuple(sorted(made, key=lambda one: one.frequency_hz))


def evidence_of(verdict: str) -> tuple[f.Evidence, ...]:
    speaks = verdict if verdict in f.CAUSES else None
    return (
        f.Evidence(
            "synchronous_fraction",
            "Share in step with the teeth",
            0.31,
            "",
            "0.02 by chance, above 0.6 in a clean cut",
            "normal" if verdict == "normal" else None,
            0.0,
            "31 % of the sound between 200 Hz and 8 kHz repeats from turn to turn.",
        ),
        f.Evidence(
            "free_lines",
            "Tones that belong to no tooth",
            6.0,
            "lines",
            "fewer than 1 by chance",
            speaks,
            2.7,
            "Six tones fit neither teeth, turns, mains nor the idling machine; "
            "five of them are spaced by the tooth-passing frequency.",
        ),
        f.Evidence(
            "cyclic_swell",
            "Swell once per turn above 1 kHz",
            0.04,
            "",
            "below 0.05 by chance",
            "side_rubbing",
            -1.2,
            "The hiss above 1 kHz swells by 4 % in each turn, no more than chance gives.",
        ),
        f.Evidence(
            "onset", "Onset", None, "", "none", None, 0.0, "The start of the pass is not recorded."
        ),
    )


def one_pass(
    index: int = 1,
    verdict: str = "chatter",
    *,
    start_s: float = 4.2,
    end_s: float = 26.5,
    teeth: int = 48,
    rev_min: float = 57.0,
    confidence: float = 0.91,
    heard: bool = True,
    also: tuple[str, ...] = (),
    chatter_hz: float = 899.4,
) -> f.Pass:
    true = rev_min * 1.013 if heard else rev_min
    f_tp = true * teeth / 60
    chatters = verdict == "chatter"
    ramp = min(0.6, 0.1 * (end_s - start_s))
    onset = start_s + 0.3 * (end_s - start_s)
    middle = (
        (
            f.Moment(start_s + ramp, onset, "normal", 3.0),
            f.Moment(onset, end_s - ramp, "chatter", 31.0),
        )
        if chatters
        else (f.Moment(start_s + ramp, end_s - ramp, verdict, 2.0),)
    )
    return f.Pass(
        index=index,
        start_s=start_s,
        end_s=end_s,
        revolutions=(end_s - start_s) * true / 60,
        verdict=verdict,
        also=also,
        confidence=0.0 if verdict == "cannot_tell" else confidence,
        probabilities=probabilities(verdict, confidence),
        reason=(
            "Only 3.1 turns of the cutter are in this pass and 8 are needed; "
            "record at least 9 s of cutting."
            if verdict == "cannot_tell"
            else None
        ),
        spindle=f.Spindle(true, true - 0.2, true + 0.2, rev_min, heard, ((start_s, true),)),
        tooth_passing_hz=f_tp,
        chatter=f.Chatter(
            chatter_hz, onset, 0.68, "hopf", chatter_hz / f_tp, 31.0, (chatter_hz,), 2.4
        )
        if chatters
        else None,
        lines=lines_of(verdict, f_tp, teeth, chatter_hz),
        evidence=evidence_of(verdict),
        timeline=(
            f.Moment(start_s, start_s + ramp, "entry"),
            *middle,
            f.Moment(end_s - ramp, end_s, "exit"),
        ),
        teeth=teeth_levels(teeth) if verdict != "cannot_tell" and teeth > 1 else (),
        measures={"synchronous_fraction": 0.31},
    )


def of_no_units(found: f.Findings) -> f.Findings:
    """The same of a cutter of 152.4 mm, which is 6 in, and no other size: no card tells units."""
    cut = {**found.job["cut"], "depth_m": None, "width_m": None, "feed_m_s": None}
    cutter = {**found.job["cutter"], "width_m": None, "collar_diameter_m": None}
    machine = {**found.job["machine"], "feeds_m_s": []}
    return replace(found, job={**found.job, "cut": cut, "cutter": cutter, "machine": machine})


def findings(
    passes: tuple[f.Pass, ...] | None = None,
    *,
    duration_s: float = 30.0,
    simulated: bool = True,
    name: str = "slot-3.m4a",
    fit: bool = True,
) -> f.Findings:
    passes = (one_pass(),) if passes is None else passes
    first = passes[0] if passes else None
    verdict = first.verdict if first else "cannot_tell"
    complaint = f.Complaint(
        "clipping",
        0.43,
        "share of frames",
        "43 % of the recording is clipped: the phone was too near or its gain too high.",
        "Record again with the phone two to three paces further away.",
        True,
    )
    pumping = f.Complaint(
        "gain_pumping",
        6.5,
        "dB",
        "The phone's automatic gain swings by 6.5 dB.",
        "Use a recording app with automatic gain switched off.",
        False,
    )
    suggestions = (
        f.Suggestion(
            1,
            "first",
            ACTION.get(verdict, "Record again: ten seconds idle, then the whole pass."),
            "The tone at 899 Hz is 19 waves between one tooth and the next. At so high a lobe "
            "number no gear step of this machine falls into a quiet pocket.",
            "The tone at 899 Hz falls by 10 dB or more, or does not start at all.",
            "A shallower cut can rub: keep the chip load above 0.001 in per tooth.",
            "none",
        ),
        f.Suggestion(
            2,
            "stagger",
            "Use a staggered-tooth cutter.",
            "Unequal spacing breaks up the wave that one tooth leaves for the next.",
            "The family spaced by 46.2 Hz goes.",
            "Check its marked maximum speed.",
            "change cutter",
        ),
        f.Suggestion(
            3,
            "leave",
            "Leave it, if this is a roughing cut and the finish does not matter.",
            "Mild chatter costs finish and cutter life before it costs the part.",
            "Nothing changes.",
            "Listen for growth from pass to pass.",
            "none",
        ),
    )
    return f.Findings(
        schema_version=f.SCHEMA_VERSION,
        made_by="chatter 0.1.0",
        source=f.Source(
            name,
            f"/recordings/{name}",
            "ab" * 32,
            482_113,
            "m4a",
            "aac",
            48000,
            1,
            duration_s,
            False,
        ),
        job={
            "cutter": {
                "teeth": 48,
                "form": "slitting_saw",
                "diameter_m": 0.1524,
                "width_m": 0.0032,
            },
            "cut": {"speed_rev_min": 57.0, "material": "grey_cast_iron_medium", "depth_m": 0.003},
            "machine": {"name": "", "speeds_rev_min": [40, 57, 80, 112], "mains_hz": 50.0},
            "take": {"span_s": None},
        },
        verdict=verdict,
        confidence=first.confidence if first else 0.0,
        summary=(
            "The cut chatters: a tone at 899 Hz starts 10.9 s into the recording and stays to "
            "the end of the pass."
            if verdict == "chatter"
            else "The one thing heard is said here in a sentence or two of shop English."
        ),
        passes=passes,
        stretches=(f.Stretch(0.0, 4.2, "idle"), f.Stretch(duration_s - 3.5, duration_s, "quiet"))
        if duration_s > 10
        else (),
        fitness=f.Fitness(
            fit,
            -21.5,
            0.0 if fit else 0.43,
            0.8,
            110.0,
            15800.0,
            (pumping,) if fit else (complaint, pumping),
        ),
        suggestions=suggestions,
        cautions=(
            "Grey cast iron is cut dry and makes fine dust: keep it out of your lungs.",
            "Stop the spindle before you reach near the cutter.",
        ),
        notes=("The dial says 57 rev/min; 57.7 is heard.",),
        how=(
            "Decoded slot-3.m4a (AAC, 48 kHz, mono) with PyAV; 1 440 000 samples.",
            "Searched the spindle speed within 6 % of the stated, comb and envelope together.",
            "Lines at a false-alarm rate of 1 in 1000 per pass.",
        ),
        simulated=simulated,
    )


def exhibits(found: f.Findings, *, columns: int = 1500, rows: int = 420) -> Exhibits:
    rng = np.random.default_rng(4)
    time = (np.arange(columns) + 0.5) / columns * found.source.duration_s
    hz = np.geomspace(60, 16000, rows)
    level = -78 - 9 * np.log10(hz / 60)[:, None] + rng.gumbel(0, 2.2, (rows, columns))
    for one in found.passes:
        on = (time >= one.start_s) & (time < one.end_s)
        turn = 1 + 0.4 * np.sin(2 * np.pi * time * one.spindle.rev_min / 60)
        level += np.where(on, 9.0, 0.0) * np.exp(-(np.log(hz / 2500) ** 2) / 2)[:, None] * turn
        for line in one.lines:
            late = on & (time > one.chatter.onset_s) if line.name == "chatter" else on
            width = np.exp(-((np.log(hz / line.frequency_hz) / 0.006) ** 2))
            level += np.where(late, 1.1 * line.level_db, 0)[None, :] * width[:, None]
    shown = []
    for one in found.passes:
        teeth = round(60 * one.tooth_passing_hz / one.spindle.rev_min)
        f_s = one.spindle.rev_min / 60
        order = np.arange(0.25, 8000 / f_s, 0.25)
        floor = -70 - 9 * np.log10(1 + order * f_s / 100)
        spectrum = floor + rng.gumbel(0, 1.3, order.size)
        for line in one.lines:
            at = np.argmin(np.abs(order - line.frequency_hz / f_s))
            spectrum[at] = floor[at] + line.level_db
        swing = np.arange(0.25, 2 * teeth + 0.01, 0.25)
        depth = np.abs(rng.normal(0, 0.02, (18, swing.size)))
        depth[:, np.abs(swing - teeth) < 0.2] += 0.4
        if one.verdict == "side_rubbing":
            depth[8:, np.abs(swing - 1) < 0.2] += 0.55
        shown.append(
            PassExhibit(
                one.index,
                OrderSpectrum(order, spectrum, floor),
                ModulationMap(np.geomspace(200, 12000, 19), swing, np.clip(depth, 0, 1), 0.07),
            )
        )
    return Exhibits(Overview(time, hz, level.astype(np.float32)), tuple(shown))


def many_passes(count: int = 20) -> f.Findings:
    verdicts = [f.VERDICTS[i % len(f.VERDICTS)] for i in range(count)]
    made = tuple(
        one_pass(
            i + 1,
            v,
            start_s=5 + 7 * i,
            end_s=5 + 7 * i + 6.2,
            teeth=5,
            rev_min=1793,
            chatter_hz=1345.8,
        )
        for i, v in enumerate(verdicts)
    )
    return replace(findings(made, duration_s=10 + 7.0 * count), verdict="chatter", confidence=0.84)
