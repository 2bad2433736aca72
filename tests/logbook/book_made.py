"""Made-up things to store; nothing here was heard."""

from __future__ import annotations

import math
from pathlib import Path

from chatter import findings as f
from chatter.job.build import build_job
from chatter.job.cut import Job
from chatter.job.cutter import Cutter
from chatter.job.machine import Bearing, Gear, Machine

MILL = Machine(
    name="mill by the window",
    speeds_rev_min=(38.0, 57.0, 85.0),
    mains_hz=60.0,
    table_backlash=True,
    gears=(Gear("back gear", 60, 0.25),),
    bearings=(Bearing("front", 11, 0.0079, 0.0385, 0.1),),
)
SAW = Cutter(teeth=48, name="six-inch saw", form="slitting_saw", diameter_m=6 * 0.0254)


def job(**also: object) -> Job:
    """A slot with the saw."""
    stated = {
        "cut.speed": "57",
        "cutter.teeth": "48",
        "cut.material": "grey cast iron",
        "cut.feed": "1 1/8 in/min",
        "cut.observed": ["12 mm at 57 rev/min chattered"],
        **also,
    }
    return build_job(stated)


def findings(*, name: str = "slot.wav", sha256: str = "0" * 64, passes: int = 2) -> f.Findings:
    """Findings with every part filled in, and numbers that are awkward in JSON."""
    spindle = f.Spindle(57.3, 57.1, 57.5, 57.0, True, ((0.5, 57.31), (1.5, 57.2999999999999)))
    mode = f.TappedMode(601.25, 0.031, 1.5, 0.002, "arbor")
    chatter = f.Chatter(899.4, 1.25, 0.5, "hopf", 19.6, 28.9, (732.4, 1063.5), 1 / 3, mode)
    one = [
        f.Pass(
            index=i + 1,
            start_s=4.0 * i,
            end_s=4.0 * i + 3.7,
            revolutions=3.5,
            verdict="chatter",
            also=("uneven_teeth",),
            confidence=0.9,
            probabilities=dict.fromkeys(f.CAUSES, 0.1),
            reason=None,
            spindle=spindle,
            tooth_passing_hz=45.84,
            chatter=chatter if i == 0 else None,
            lines=(f.Line(899.4, 28.9, None, "chatter", "chatter, f_c ±", 0.99),),
            evidence=(f.Evidence("x", "X", None, "dB", "none", "chatter", 1.25, "Ä “quoted” µ"),),
            timeline=(f.Moment(0.0, 1.0, "entry"), f.Moment(1.0, 2.0, "chatter", 20.0)),
            teeth=(f.ToothLevel(1, 3.1, 0.3),),
            measures={"tiny": 1e-300, "third": 1 / 3, "minus": -0.0},
        )
        for i in range(passes)
    ]
    return f.Findings(
        schema_version=f.SCHEMA_VERSION,
        made_by="chatter 0.1.0",
        source=f.Source(
            name, f"/tmp/{name}", sha256, 1234, "wav", "pcm_s16le", 48000, 1, 8.0, False
        ),
        job={"cut": {"speed_rev_min": 57.0, "observed": []}},
        verdict="chatter",
        confidence=0.9,
        summary="It chatters at 899 Hz.",
        passes=tuple(one),
        stretches=(f.Stretch(3.7, 4.0, "idle"),),
        fitness=f.Fitness(
            True,
            -20.0,
            0.0,
            0.0,
            80.0,
            16000.0,
            (f.Complaint("level", -50.0, "dBFS", "Faint.", "Go nearer.", False),),
        ),
        suggestions=(
            f.Suggestion(1, "a", "Do.", "As.", "Less.", "Care.", "none", "set_speed", math.pi),
        ),
        cautions=("Mind the cutter.",),
        notes=(),
        how=("Made up for a test.",),
        simulated=True,
    )


def sound_file(path: Path, *, seed: int = 0, size: int = 5000) -> Path:
    """A file with content of its own; the book does not listen to it."""
    path.write_bytes(bytes((i * i * (seed + 3) + seed) % 251 for i in range(size)))
    return path


def picture_file(path: Path, *, seed: int = 0) -> Path:
    """A small photograph of its own colour."""
    from PIL import Image

    Image.new("RGB", (8, 8), (seed % 256, 90, 160)).save(path)
    return path
