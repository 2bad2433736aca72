"""What a listen yields: plain frozen data, serialisable, no arrays.

This is the ground floor that every other room may import: ``listening`` fills it,
``trade.remedies`` reads it, ``report``, the logbook and the page show it.  SI units
inside; each field's name carries its unit.  ``None`` always means "not known", never
zero.  Sound levels are in dB; "re floor" means above the local noise floor of the same
recording (a phone is not a calibrated meter, so no absolute sound level is ever given).
"""

from __future__ import annotations

from dataclasses import dataclass, field

SCHEMA_VERSION = 1

#: The verdicts a pass can have, in the order they are listed everywhere.
VERDICTS = ("normal", "side_rubbing", "chatter", "uneven_teeth", "machine_only", "cannot_tell")

#: The verdicts that carry a probability (all but ``cannot_tell``).
CAUSES = VERDICTS[:-1]

#: Names a spectral line can have in the ledger.
LINE_NAMES = (
    "tooth_passing",  # k f_tp
    "revolution",  # m f_s, m not a multiple of the tooth count
    "sideband",  # k f_tp ± m f_s, small m
    "chatter",  # f_c + k f_tp and harmonics of f_c
    "period_doubling",  # (k + 1/2) f_tp
    "mains",  # multiples of the mains frequency
    "machine",  # present while idle
    "squeal",  # a plate mode: narrow, high, once-per-turn, no f_tp family
    "unexplained",
)


@dataclass(frozen=True)
class Source:
    """The recording that was heard."""

    name: str
    path: str
    sha256: str
    size_bytes: int
    container: str  # "m4a", "wav", ...
    codec: str  # "aac", "pcm_s16le", ...
    rate_hz: int
    channels: int
    duration_s: float  # counted samples, not what the file says of itself
    truncated: bool  # the file broke off; what came before was kept


@dataclass(frozen=True)
class Complaint:
    """One thing that makes the recording harder, or impossible, to judge."""

    name: str  # "clipping", "gain_pumping", "level", "band_limit", "length", "truncated", ...
    value: float
    unit: str
    sentence: str  # what is wrong, with its number
    advice: str  # how to record better
    fatal: bool  # True: no verdict can rest on this recording


@dataclass(frozen=True)
class Fitness:
    """Whether the recording is fit to judge a cut by."""

    fit: bool
    level_dbfs: float  # r.m.s. of the whole recording re full scale
    clipped_share: float  # share of 20 ms frames that hold clipped samples
    gain_pumping_db: float  # estimated swing of an automatic gain, 0 when none is seen
    band_low_hz: float  # usable band
    band_high_hz: float
    complaints: tuple[Complaint, ...] = ()


@dataclass(frozen=True)
class SpeedCandidate:
    """A speed that was tried with the stated tooth count, and how likely it is."""

    rev_min: float
    probability: float  # among all speeds from half to twice the stated one


@dataclass(frozen=True)
class CountCandidate:
    """A tooth count that was tried at the stated speed, and how likely it is."""

    teeth: int
    probability: float  # among the counts that were tried, by the sound alone


@dataclass(frozen=True)
class Numbers:
    """Whether speed and tooth count fit the sound of the recording, and which others would."""

    speed: str = "stated"  # "stated", "found" (by the sound) or "guessed" (it does not tell)
    teeth: str = "stated"
    rev_min: float | None = None  # another speed that fits far better
    count: int | None = None  # another tooth count that fits far better
    held: bool = False  # another pair fits better: no verdict is confident
    speeds: tuple[SpeedCandidate, ...] = ()  # of the machine's own; likeliest first
    counts: tuple[CountCandidate, ...] = ()  # likeliest first; empty below 13 teeth


@dataclass(frozen=True)
class Spindle:
    """True spindle speed as heard, and its course."""

    rev_min: float  # best value; the stated one when the sound does not tell
    low: float  # 95 % interval
    high: float
    stated_rev_min: float
    heard: bool  # False: the sound does not tell, ``rev_min`` is the stated value
    course: tuple[tuple[float, float], ...] = ()  # (time in the recording [s], rev/min)
    contradiction: str | None = None  # a sentence, when slip cannot explain the difference
    candidates: tuple[SpeedCandidate, ...] = ()  # likeliest first


@dataclass(frozen=True)
class TappedMode:
    """The mode of a tap test nearest below a chatter frequency: the one to stiffen."""

    frequency_hz: float
    damping_ratio: float
    frequency_spread_hz: float = 0.0  # standard deviations over taps
    damping_spread: float = 0.0
    tapped_on: str | None = None  # "arbor", "cutter", "work", "table"; None: not told


@dataclass(frozen=True)
class Chatter:
    """A chatter vibration found in a pass."""

    frequency_hz: float
    onset_s: float  # time in the recording
    share: float  # share of the pass that chatters, 0..1
    kind: str  # "hopf" (free frequency) or "flip" (period doubling)
    waves_per_tooth: float  # f_c / f_tp, the lobe number's neighbourhood
    level_db: float  # strongest member, re floor
    family_hz: tuple[float, ...] = ()  # members f_c + k f_tp that were found
    growth_per_s: float | None = None  # exponential growth rate at onset, if seen
    mode_below: TappedMode | None = None  # from a tap test, when one is stated and it fits


@dataclass(frozen=True)
class Line:
    """One significant spectral line and its name (see LINE_NAMES)."""

    frequency_hz: float
    level_db: float  # re the local noise floor
    order: float | None  # frequency / spindle frequency; None when the speed is not heard
    name: str
    label: str  # for people: "3 x tooth passing", "chatter, f_c", ...
    sure: float  # 0..1
    in_idle: bool = False


@dataclass(frozen=True)
class Evidence:
    """One piece of evidence with its number, and what it speaks for."""

    name: str  # machine name, e.g. "synchronous_fraction"
    title: str  # for people
    value: float | None
    unit: str
    expected: str  # what chance or a normal cut gives, in words
    speaks_for: str | None  # one of CAUSES, or None when it is neutral here
    weight: float  # log-odds contribution to ``speaks_for``; negative speaks against it
    sentence: str  # shop English, with the number


@dataclass(frozen=True)
class Moment:
    """A stretch of a pass with one state."""

    start_s: float
    end_s: float
    state: str  # one of VERDICTS, or "entry" / "exit"
    chatter_db: float | None = None  # strongest free line re floor


@dataclass(frozen=True)
class ToothLevel:
    """Mean level of one tooth's stroke; tooth 1 is an arbitrary but fixed start."""

    tooth: int
    level_db: float  # re the mean of all teeth
    spread_db: float  # standard error over revolutions


@dataclass(frozen=True)
class Runout:
    """How far the teeth's strokes differ over the turn, as a share of their mean.

    Common cutters on worn arbors have 0.1 to 0.6; one tooth missing or twice as high gives 1.
    """

    share: float  # (strongest - weakest stroke) / mean
    low: float  # 95 % interval
    high: float


@dataclass(frozen=True)
class Pass:
    """One pass of the cutter through the work, judged on its own."""

    index: int  # 1, 2, ...
    start_s: float
    end_s: float
    revolutions: float
    verdict: str  # one of VERDICTS: the most probable, or cannot_tell
    also: tuple[str, ...]  # further causes that hold at once
    confidence: float  # probability of the verdict; 0 for cannot_tell
    probabilities: dict[str, float]  # one per CAUSES; they need not sum to one
    reason: str | None  # why it cannot tell, and what to do; None otherwise
    spindle: Spindle
    tooth_passing_hz: float
    chatter: Chatter | None
    lines: tuple[Line, ...]
    evidence: tuple[Evidence, ...]
    timeline: tuple[Moment, ...]
    teeth: tuple[ToothLevel, ...]  # empty when it cannot be told
    measures: dict[str, float] = field(default_factory=dict)  # gain-free features, for comparing
    runout: Runout | None = None  # None: the strokes could not be told apart
    possible: str | None = None  # "chatter": likelier than most, not likely enough to be named
    untuned: dict[str, float] = field(default_factory=dict)  # before the shop's labels; else empty


@dataclass(frozen=True)
class Suggestion:
    """What to do next, with its reason and how the next recording confirms it."""

    rank: int
    name: str  # machine name of the rule that fired
    action: str  # imperative, with quantities
    reason: str
    expect: str  # what it should change in the next recording
    caution: str
    cost: str  # "change gear", "change feed", "change cutter", "regrind", "rebuild set-up", "none"
    lever: str | None = None  # what is turned, e.g. "set_speed"; see trade/remedies.toml
    quantity: float | None = None  # how far, in the lever's SI unit (set_speed: rev/min)


@dataclass(frozen=True)
class Stretch:
    """A stretch of the recording that is not a cutting pass ("idle", "quiet", "entry", "exit")."""

    start_s: float
    end_s: float
    state: str


@dataclass(frozen=True)
class Findings:
    """Everything a listen found; the report, logbook, compare and page need no more."""

    schema_version: int
    made_by: str  # "chatter 0.1.0, code 1f0c2a9b, model 77d0e1aa": see listening/stamp.py
    source: Source
    job: dict  # the stated job as plain data (chatter.plain.to_plain)
    verdict: str
    confidence: float
    summary: str  # one or two sentences of shop English: the answer
    passes: tuple[Pass, ...]
    stretches: tuple[Stretch, ...]
    fitness: Fitness
    suggestions: tuple[Suggestion, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]  # things worth saying that change no verdict
    how: tuple[str, ...]  # the steps that were done, with their settings
    simulated: bool = False  # the recording is labelled as simulated
    numbers: Numbers | None = None  # None: nothing was heard to hold them against
