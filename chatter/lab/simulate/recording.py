"""Recording: a scene and a seed become sound and truth."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from chatter.job.cut import Cut, Job, Take
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine
from chatter.lab.simulate import course as courses
from chatter.lab.simulate.audible import with_audible
from chatter.lab.simulate.cutting import Course, run_cut
from chatter.lab.simulate.labels import Levels, label_passes
from chatter.lab.simulate.machine import machine_sound
from chatter.lab.simulate.phone import through_phone
from chatter.lab.simulate.radiation import cut_sound, draw_path, rms
from chatter.lab.simulate.room import in_room
from chatter.lab.simulate.rubbing import rubbing_sound
from chatter.lab.simulate.scene import Scene
from chatter.lab.simulate.stability import BROKEN
from chatter.lab.simulate.truth import TruePass, TrueStretch, Truth


def simulate(scene: Scene, seed: int) -> tuple[np.ndarray, int, Truth]:
    """Simulate one recording.

    Parameters
    ----------
    scene : Scene
        Everything that is planned.
    seed : int
        Everything left to chance: the same seed gives the same samples.

    Returns
    -------
    signal : ndarray, float32, shape (n,) or (n, channels)
        What the phone hands to its encoder, within -1..1.
    rate_hz : int
    truth : Truth

    Raises
    ------
    ValueError
        The cut tore itself out of the work: no such recording can be.
    """
    streams = iter(np.random.default_rng(seed).spawn(9))
    course = courses.course_of(scene, next(streams))
    rate = scene.synthesis_rate_hz
    n = len(course.turn_rate) * course.hop
    dry, passes = _cut(scene, course, n, streams)
    if scene.machine is not None:
        turns = courses.turns_of(course)
        running = courses.stretched(course.turn_rate / (scene.rev_min / 60))
        load = courses.stretched(courses.load_of(scene, len(course.turn_rate)))
        noise = machine_sound(scene.machine, turns, running, load, rate, next(streams))
        dry += noise * np.float32(10 ** (scene.machine.level_db / 20))
    else:
        next(streams)
    wet = in_room(dry, scene.room, rate, next(streams))
    if scene.distractors:
        from chatter.lab.simulate.distractors import add_distractors

        wet = add_distractors(wet, scene.distractors, rate, next(streams))
    else:
        next(streams)
    signal = through_phone(wet, rate, scene.phone, next(streams))
    passes = with_audible(passes, signal, scene.phone.rate_hz)
    if scene.phone.channels == 2:
        other = np.roll(signal, 7) * np.float32(0.85)
        signal = np.stack([signal, other], axis=1)
    return signal, scene.phone.rate_hz, _truth(scene, seed, course, passes)


def _cut(scene: Scene, course: Course, n: int, streams) -> tuple[np.ndarray, tuple]:
    """Sound of cutting and rubbing, float32 (n,), and the labels of the passes."""
    cut_rng, path_rng, noise_rng, rub_rng = (next(streams) for _ in range(4))
    if not scene.passes:
        return np.zeros(n, np.float32), ()
    # The twin must meet the very same grain and scatter: the same stream, opened twice.
    key = int(cut_rng.integers(2**63))
    cuts = [
        run_cut(
            course,
            scene.teeth,
            scene.metal,
            scene.modes,
            np.random.default_rng(key),
            regenerate=regenerate,
        )
        for regenerate in (True, False)
    ]
    widest = max(np.abs(one.displacement_m).max() for one in cuts)
    if not widest < BROKEN * max(plan.chip_load_m for plan in scene.passes):
        raise ValueError(
            f"the cut of this {scene.kind} scene tore itself out of the work (seed {key}): "
            "make its structure stiffer, or draw another."
        )
    cutting = np.repeat(course.width_m > 0, course.hop)
    path = draw_path(scene.radiation, course.rate_hz, path_rng)
    sound, forced = cut_sound(*cuts, cutting, scene.radiation, path, course.rate_hz, noise_rng)
    scale = np.float32(1.0 / max(rms(forced[cutting]), 1e-12))
    sound, forced = sound * scale, forced * scale
    added = [_added_db(sound[one], forced[one]) for one in _spans(scene, course.rate_hz)]
    rubbing_db: list[float | None] = [None] * len(scene.passes)
    if scene.rub is not None:
        rub, rubbing_db = _rub(scene, course, forced, rub_rng)
        sound += rub
    levels = [Levels(*pair) for pair in zip(rubbing_db, added, strict=True)]
    return sound, label_passes(scene, course, *cuts, levels)


def _rub(
    scene: Scene, course: Course, forced: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, list[float | None]]:
    """Rubbing sound at its level re the forced cut in 1-8 kHz, and that level per pass."""
    t = (np.arange(len(course.turn_rate)) + 0.5) * course.hop / course.rate_hz
    engaged = np.zeros(len(t))
    for plan in scene.passes:
        inside = (t >= plan.start_s) & (t < plan.end_s)
        along = (t[inside] - plan.start_s) / (plan.end_s - plan.start_s)
        drift = np.clip(1 + plan.rubbing_drift * (2 * along - 1), 0, None)
        engaged[inside] = plan.rubbing * drift * courses.engaged_share(plan, t[inside])
    share = courses.stretched(engaged)
    sound = rubbing_sound(scene.rub, share, courses.turns_of(course), course.rate_hz, rng)
    full = share > 0.5
    where = full if full.any() else np.ones_like(full)
    gain = _band_rms(forced[where], course.rate_hz) / max(
        _band_rms(sound[where], course.rate_hz), 1e-12
    )
    sound *= np.float32(gain * 10 ** (scene.rub.level_db / 20))
    levels: list[float | None] = []
    for span in _spans(scene, course.rate_hz):
        below = max(_band_rms(forced[span], course.rate_hz), 1e-12)
        ratio = _band_rms(sound[span], course.rate_hz) / below
        levels.append(float(20 * np.log10(max(ratio, 1e-6))))
    return sound, levels


def _spans(scene: Scene, rate_hz: float) -> list[slice]:
    return [slice(int(one.start_s * rate_hz), int(one.end_s * rate_hz)) for one in scene.passes]


def _added_db(sound: np.ndarray, forced: np.ndarray) -> float:
    """What regeneration adds, re the forced cut."""
    return float(20 * np.log10((rms(sound - forced) + 1e-9) / (rms(forced) + 1e-9)))


def _band_rms(x: np.ndarray, rate_hz: float) -> float:
    """R.m.s. in 1-8 kHz."""
    from scipy.fft import next_fast_len, rfft

    size = next_fast_len(max(len(x), 1), real=True)
    power = np.abs(rfft(x, size)) ** 2
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    return float(np.sqrt(power[(hz > 1000) & (hz < 8000)].sum()) / max(len(x), 1))


def _truth(scene: Scene, seed: int, course: Course, passes: tuple[TruePass, ...]) -> Truth:
    every = max(1, int(0.25 * course.rate_hz / course.hop))
    at = np.arange(0, len(course.turn_rate), every)
    times = (at + 0.5) * course.hop / course.rate_hz
    speeds = course.turn_rate[at] * 60
    pairs = zip(times, speeds, strict=True)
    return Truth(
        seed=seed,
        kind=scene.kind,
        job=stated_job(scene),
        passes=passes,
        stretches=_stretches(scene),
        duration_s=scene.duration_s,
        rate_hz=scene.phone.rate_hz,
        speed_course=tuple((round(float(t), 3), round(float(s), 4)) for t, s in pairs),
        true_teeth=scene.teeth.count,
        tooth_heights_m=tuple(float(h) for h in scene.teeth.height_m),
        mode_hz=tuple(m.frequency_hz for m in scene.modes),
        mode_damping=tuple(m.damping for m in scene.modes),
        conditions=conditions(scene),
    )


def stated_job(scene: Scene) -> Job:
    """The job as the machinist states it: with the stated, not the true, speed and count."""
    stated = scene.stated
    machine = Machine(speeds_rev_min=stated.speeds_rev_min)
    if scene.machine is not None and stated.tell_all:
        machine = Machine(speeds_rev_min=stated.speeds_rev_min, mains_hz=scene.machine.mains_hz)
    take = Take(simulated=True)
    if not stated.tell_all:
        return Job(Cutter(stated.teeth), Cut(stated.rev_min), machine, take)
    plan = scene.passes[0] if scene.passes else None
    cutter = Cutter(
        teeth=stated.teeth,
        form=scene.form,
        diameter_m=scene.diameter_m,
        width_m=plan.width_m if plan and scene.form in DISCS else None,
        collar_diameter_m=stated.collar_m,
        side_relief=stated.side_relief,
    )
    if plan is None:
        return Job(cutter, Cut(stated.rev_min), machine, take)
    directions = {one.direction for one in scene.passes} - {"turning"}
    cut = Cut(
        speed_rev_min=stated.rev_min,
        material=scene.material,
        depth_m=scene.immersion * scene.diameter_m if scene.form in DISCS else plan.width_m,
        width_m=None if scene.form in DISCS else scene.immersion * scene.diameter_m,
        feed_m_s=plan.chip_load_m * stated.teeth * stated.rev_min / 60,
        direction=directions.pop() if len(directions) == 1 else None,
    )
    return Job(cutter, cut, machine, take)


DISCS = ("slitting_saw", "side_and_face", "staggered_tooth")


def _stretches(scene: Scene) -> tuple[TrueStretch, ...]:
    """Entry, exit and everything outside the passes."""
    found: list[TrueStretch] = []
    at = 0.0
    for plan in (*scene.passes, None):
        end = plan.start_s if plan else scene.duration_s
        stop = scene.duration_s if scene.spindle_to_s is None else scene.spindle_to_s
        cuts = sorted({at, end, *(s for s in (scene.spindle_from_s, stop) if at < s < end)})
        for a, b in pairwise(cuts):
            turning = scene.spindle_from_s <= a < stop and scene.machine is not None
            found.append(TrueStretch(a, b, "idle" if turning else "quiet"))
        if plan:
            found.append(TrueStretch(plan.start_s, plan.start_s + plan.entry_s, "entry"))
            found.append(TrueStretch(plan.end_s - plan.exit_s, plan.end_s, "exit"))
            at = plan.end_s
    return tuple(found)


def conditions(scene: Scene) -> dict:
    """Descriptors of difficulty, for splitting results."""
    noise = [] if scene.machine is None else [scene.machine.level_db]
    noise += [one.level_db for one in scene.distractors]
    total = 10 * np.log10(sum(10 ** (db / 10) for db in noise)) if noise else -99.0
    stated = scene.stated
    shortest = min((p.end_s - p.start_s for p in scene.passes), default=0.0)
    return {
        "ranges": scene.ranges,
        "regime": scene.regime,
        "form": scene.form,
        "material": scene.material,
        "snr_db": round(float(-total), 2),
        "format": scene.format.name,
        "bit_rate": scene.format.bit_rate,
        "phone_rate_hz": scene.phone.rate_hz,
        "agc_db": scene.phone.agc_db,
        "suppression_db": scene.phone.suppression_db,
        "band_limit_hz": scene.phone.band_limit_hz,
        "clipped": scene.phone.peak > 1.05,
        "reverberation_s": scene.room.decay_s,
        "distractors": [one.name for one in scene.distractors],
        "layout": scene.layout,
        "passes": len(scene.passes),
        "shortest_pass_s": round(shortest, 3),
        "shortest_pass_turns": round(shortest * scene.rev_min / 60, 2),
        "speed_error": round(stated.rev_min / scene.rev_min - 1, 5),
        "wrong_teeth": stated.teeth != scene.teeth.count,
        "wrong_gear": bool(abs(np.log(stated.rev_min / scene.rev_min)) > 0.1),
        "speeds_stated": bool(stated.speeds_rev_min),
        "unequal_pitch": bool(np.ptp(np.diff(scene.teeth.at_turns)) > 1e-6)
        if scene.teeth.count > 2
        else False,
        "has_idle": bool(scene.passes)
        and any(one.state == "idle" and one.end_s - one.start_s > 0.3 for one in _stretches(scene)),
    }
