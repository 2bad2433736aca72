"""Truth: what really happened in a simulated recording, beside the job as it was stated."""

from __future__ import annotations

from dataclasses import dataclass, field

from chatter.job.cut import Job


@dataclass(frozen=True)
class TruePass:
    """One pass as it was simulated.

    ``verdict`` is the gravest cause that holds (chatter, then side-rubbing, then uneven
    teeth, else normal) and ``also`` the others.  ``marginal`` marks a pass whose dynamics
    lie so near a limit, or whose fault is so faint, that either answer is defensible.
    """

    start_s: float
    end_s: float
    verdict: str
    also: tuple[str, ...]
    rev_min: float  # mean over the pass
    tooth_passing_hz: float
    direction: str | None = None  # "conventional" or "climb"
    marginal: bool = False
    chatter_hz: float | None = None  # strongest line of the chatter motion
    chatter_family_hz: tuple[float, ...] = ()  # all its lines within 20 dB, loudest first
    chatter_width_hz: float | None = None  # a steady tone: under 3; phase lost: tens
    chatter_kind: str | None = None  # "hopf" or "flip"
    onset_s: float | None = None
    chatter_share: float = 0.0
    chatter_db: float | None = None  # sound that regeneration adds, re the forced cut
    growth_per_tooth: float | None = None  # log growth of the disturbance, noise-free twin
    tooth_forces: tuple[float, ...] = ()  # mean force of each tooth / mean over the teeth
    unevenness: float = 0.0  # (max - min) / mean of ``tooth_forces``
    runout_share: float = 0.0  # their rise and fall once a turn, share of the mean
    scatter_share: float = 0.0  # their spread besides, r.m.s., share of the mean
    chatter_audible_db: float | None = None  # strongest line of it over its surroundings
    contrast_db: float | None = None  # sound of the pass over the rest of the recording
    rubbing_db: float | None = None  # rubbing sound re cutting sound, 1-8 kHz


@dataclass(frozen=True)
class TrueStretch:
    """A stretch that is not a pass: "idle", "quiet", "entry" or "exit"."""

    start_s: float
    end_s: float
    state: str


@dataclass(frozen=True)
class Truth:
    """Everything that is true of one simulated recording."""

    seed: int
    kind: str
    job: Job  # as the machinist STATED it, errors and all
    passes: tuple[TruePass, ...]
    stretches: tuple[TrueStretch, ...]
    duration_s: float
    rate_hz: int
    speed_course: tuple[tuple[float, float], ...] = ()  # (time [s], true rev/min)
    true_teeth: int = 0
    tooth_heights_m: tuple[float, ...] = ()
    mode_hz: tuple[float, ...] = ()
    mode_damping: tuple[float, ...] = ()
    conditions: dict = field(default_factory=dict)  # difficulty: snr_db, regime, phone ...

    @property
    def verdict(self) -> str:
        """The gravest verdict of any pass; ``machine_only`` when nothing was cut."""
        found = {one.verdict for one in self.passes}
        for name in ("chatter", "side_rubbing", "uneven_teeth", "normal"):
            if name in found:
                return name
        return "machine_only"
