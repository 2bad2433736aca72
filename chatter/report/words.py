"""The words of the report: verdicts, confidence and numbers as a machinist says them."""

from __future__ import annotations

import math
import re

from chatter.findings import Findings, Pass

#: Verdict -> (short name, what it means in one sentence).
VERDICT_WORDS: dict[str, tuple[str, str]] = {
    "normal": (
        "Normal cutting",
        "The noise is the teeth striking, evenly and in step with the spindle.",
    ),
    "side_rubbing": (
        "Side-rubbing",
        "The sides or dull edges of the cutter rub the work, once in each turn.",
    ),
    "chatter": (
        "Chatter",
        "Cutter, arbor or work vibrates at a pitch of its own, and the cut keeps it going.",
    ),
    "uneven_teeth": (
        "Uneven teeth",
        "Some teeth cut more than others: runout, a dirty spacer, or a high or missing tooth.",
    ),
    "machine_only": (
        "Machine noise only",
        "What is heard is the machine itself; it is there while idling too.",
    ),
    "cannot_tell": (
        "Can't tell",
        "The recording does not settle it.",
    ),
}

#: How a tone of the chatter is labelled in the findings.
_FORMULA = re.compile(
    r"chatter, (?P<minus>-)?(?P<times>\d+)? ?f_c(?P<rest> ?[+-] ?\d+ x tooth passing)?"
)

#: Line family -> (name, what it is).
FAMILY_WORDS: dict[str, tuple[str, str]] = {
    "tooth_passing": ("Tooth passing", "the teeth striking, and multiples of that"),
    "revolution": ("Turn of the spindle", "a multiple of the turns: runout, a high tooth"),
    "sideband": ("Sideband", "tooth passing swelling once in each turn"),
    "chatter": ("Chatter", "a pitch of its own, and copies of it spaced by tooth passing"),
    "period_doubling": ("Every second tooth", "half-way between tooth-passing multiples"),
    "mains": ("Mains", "a multiple of the mains frequency"),
    "machine": ("Machine", "there while idling too"),
    "squeal": ("Squeal", "a high, narrow ring of the cutter plate"),
    "unexplained": ("Unexplained", "stands out, and fits nothing that was stated"),
}

#: Words of the trade and of this report, explained.
GLOSSARY: tuple[tuple[str, str], ...] = (
    ("Tooth passing", "How often a tooth strikes: spindle speed times number of teeth."),
    ("Order", "How often in each turn of the spindle: order 3 comes three times a turn."),
    ("Tooth order", "How often in each tooth passing: chatter falls between the whole numbers."),
    (
        "Chatter",
        "Vibration that feeds itself: each tooth cuts the wave the tooth before it left. "
        "Its pitch belongs to the arbor, cutter or work and not to the teeth.",
    ),
    ("Onset", "The moment in the recording at which the chatter begins."),
    (
        "dB above floor",
        "How far a tone stands above the noise around it in the same recording. "
        "10 dB is clearly heard, 20 dB stands out, 40 dB rules the sound.",
    ),
    (
        "Swell (modulation)",
        "How much the noise in one band grows and shrinks, and how often in a turn. "
        "Once per turn hints at wobble or rubbing, once per tooth at teeth striking.",
    ),
    (
        "Weight",
        "How far one piece of evidence moves the answer: 0 moves nothing, 1 makes the odds "
        "about three times as good, 2 about seven times, 3 about twenty times.",
    ),
    (
        "Confidence",
        "The probability that this verdict holds. 0.80 means: of ten such answers, "
        "about eight should be right.",
    ),
)


def verdict_name(verdict: str) -> str:
    """Name of a verdict for people."""
    return VERDICT_WORDS[verdict][0]


def state_name(state: str) -> str:
    """Name of a state on a timeline: a verdict, or entry, exit, idle, quiet."""
    return VERDICT_WORDS[state][0] if state in VERDICT_WORDS else state.capitalize()


def tone_label(label: str) -> str:
    """Name of a tone without the letters of a formula: "chatter + 1 x tooth passing".

    Examples
    --------
    >>> tone_label("chatter, f_c"), tone_label("chatter, f_c -2 x tooth passing")
    ('chatter', 'chatter − 2 x tooth passing')
    >>> tone_label("chatter, 2 f_c"), tone_label("4 x tooth passing + 1 turn")
    ('2 x chatter', '4 x tooth passing + 1 turn')
    """
    formula = _FORMULA.fullmatch(label)
    if formula is None:
        return label
    base = f"{formula['times']} x chatter" if formula["times"] else "chatter"
    rest = (formula["rest"] or "").strip()
    if formula["minus"]:  # -f_c + k f_tp: the mirror image of the chatter
        return f"{rest.lstrip('+ ')} − {base}"
    if not rest:
        return base
    return f"{base} {'−' if rest[0] == '-' else '+'} {rest[1:].strip()}"


def also(findings: Findings) -> tuple[str, ...]:
    """Causes that hold beside the overall verdict, in the passes that have it."""
    held = {
        cause for one in findings.passes if one.verdict == findings.verdict for cause in one.also
    }
    return tuple(cause for cause in VERDICT_WORDS if cause in held)


def confidence_words(verdict: str, confidence: float) -> str:
    """Confidence in words and number, e.g. "very likely: about 9 in 10 (0.91)"."""
    if verdict == "cannot_tell":
        return "no verdict is given, rather than a guess"
    steps = ((0.95, "almost certain"), (0.85, "very likely"), (0.7, "likely"))
    word = next((w for least, w in steps if confidence >= least), "more likely than not")
    if confidence <= 0.5:
        word = "a weak hint"
    tenths = round(10 * confidence)
    odds = "more than 19 in 20" if tenths >= 10 else f"about {tenths} in 10"
    return f"{word}: {odds} ({confidence:.2f})"


def show_number(value: float | None, digits: int = 3) -> str:
    """A number to ``digits`` significant figures, never in e-notation; "–" when unknown."""
    if value is None or not math.isfinite(value):
        return "–"
    if value == 0:
        return "0"
    places = min(6, max(0, digits - 1 - math.floor(math.log10(abs(value)))))
    text = f"{value:.{places}f}".replace("-", "−")
    return text.rstrip("0").rstrip(".") if "." in text else text


def hertz(value: float | None) -> str:
    """A frequency with its unit: 62.5 Hz, 1656 Hz, 12.4 kHz."""
    if value is None or not math.isfinite(value):
        return "–"
    if value >= 10_000:
        return f"{value / 1000:.1f} kHz"
    return f"{value:.0f} Hz" if value >= 1000 else f"{show_number(value, 4)} Hz"


def show_clock(seconds: float, *, long: bool = False) -> str:
    """A time in the recording: 3.4 s; 2:07.3 in a ``long`` one; 1:02:07 from an hour."""
    if not long:
        return f"{seconds:.1f} s"
    tenths = round(10 * seconds)
    hours, rest = divmod(tenths, 36_000)
    minutes, left = divmod(rest, 600)
    if hours:
        return f"{hours}:{minutes:02d}:{left // 10:02d}"
    return f"{minutes}:{left // 10:02d}.{left % 10}"


def is_long(duration_s: float) -> bool:
    """Whether times in a recording are told as minutes and seconds (from two minutes on)."""
    return duration_s > 120


def show_share(share: float) -> str:
    """A share as a percentage, without claiming 0 or 100 when it is not."""
    if 0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def signed_db(value: float) -> str:
    """A level difference with its sign: +3.2 dB, −1.0 dB."""
    return f"{value:+.1f} dB".replace("-", "−")


def spindle_words(one_pass: Pass) -> str:
    """Spindle speed as heard (with its 95 % interval) or as stated, in one line."""
    spindle = one_pass.spindle
    if not spindle.heard:
        return (
            f"{show_number(spindle.stated_rev_min, 4)} rev/min as stated (not heard in the sound)"
        )
    half = (spindle.high - spindle.low) / 2
    digits = 1 if half < 1 else 0
    off = 100 * (spindle.rev_min / spindle.stated_rev_min - 1)
    stated = f"stated {show_number(spindle.stated_rev_min, 4)}"
    if abs(off) >= 0.1:
        stated += f", {abs(off):.1f} % {'faster' if off > 0 else 'slower'} than stated"
    return f"{spindle.rev_min:.{digits}f} ± {max(half, 0.1):.{digits}f} rev/min heard ({stated})"


def possible_words(one_pass: Pass) -> str:
    """ "possible chatter", where a cause is likely and not likely enough to be named; else ""."""
    return f"possible {verdict_name(one_pass.possible).lower()}" if one_pass.possible else ""


def runout_words(one_pass: Pass) -> str | None:
    """How far the strokes differ over the turn, a number and no verdict; None when not known."""
    heard = one_pass.runout
    if heard is None:
        return None
    low, share, high = (f"{100 * value:.0f}" for value in (heard.low, heard.share, heard.high))
    return f"{share} % of the mean stroke ({low} to {high} %)"


def candidates_words(one_pass: Pass) -> str | None:
    """Which speeds the sound would allow, where it does not tell which; else None."""
    if one_pass.spindle.heard or len(one_pass.spindle.candidates) < 2:
        return None
    listed = ", ".join(
        f"{show_number(each.rev_min, 4)} rev/min ({each.probability:.2f})"
        for each in one_pass.spindle.candidates[:3]
    )
    return f"The sound does not settle the speed; likeliest with this tooth count: {listed}."


def source_of(findings: Findings, number: str) -> str:
    """Where "speed" or "teeth" comes from: "stated", "found by the sound", "guessed"."""
    heard = findings.numbers
    if heard is None:
        return "stated"
    source = heard.speed if number == "speed" else heard.teeth
    return "found by the sound" if source == "found" else source


def counted_words(findings: Findings) -> str:
    """Which counts of teeth the sound allows, "48 (0.95), 47 (0.03)"; "" where it counts none.

    Nothing is told where the likeliest has not half of the probability: it would only mislead.
    """
    heard = findings.numbers
    if heard is None or not heard.counts or heard.counts[0].probability < 0.5:
        return ""
    return ", ".join(f"{one.teeth} ({one.probability:.2f})" for one in heard.counts[:3])


def fitting_words(findings: Findings) -> tuple[str, ...]:
    """The numbers that fit the sound where the stated ones do not: "106 rev/min", "47 teeth"."""
    heard = findings.numbers
    if heard is None:
        return ()
    fitting: tuple[str, ...] = ()
    if heard.rev_min is not None:
        fitting = (f"{show_number(heard.rev_min, 4)} rev/min",)
    return fitting if heard.count is None else (*fitting, f"{heard.count} teeth")


def possible(findings: Findings) -> tuple[str, ...]:
    """Causes that are possible in some pass and hold in none."""
    held = {cause for one in findings.passes for cause in (one.verdict, *one.also)}
    wanted = {one.possible for one in findings.passes if one.possible} - held
    return tuple(cause for cause in VERDICT_WORDS if cause in wanted)


def chatter_words(one_pass: Pass, *, long: bool = False) -> str | None:
    """When and how the pass chatters, in one sentence; None when it does not."""
    heard = one_pass.chatter
    if heard is None:
        return None
    kind = ", locked to every second tooth" if heard.kind == "flip" else ""
    growth = ""
    if heard.growth_per_s is not None and heard.growth_per_s > 0:
        growth = (
            f" It doubles in {show_number(math.log(2) / heard.growth_per_s, 2)} s at the start."
        )
    return (
        f"Chatter at {hertz(heard.frequency_hz)}{kind}, "
        f"from {show_clock(heard.onset_s, long=long)} on, "
        f"for {show_share(heard.share)} of the pass, {heard.level_db:.0f} dB above the floor; "
        f"{show_number(heard.waves_per_tooth, 3)} waves between one tooth and the next.{growth}"
    )


def first_step(findings: Findings) -> str:
    """What to do first, in one imperative sentence."""
    if findings.suggestions:
        return min(findings.suggestions, key=lambda one: one.rank).action
    fatal = [one.advice for one in findings.fitness.complaints if one.fatal]
    if fatal:
        return fatal[0]
    if not findings.passes:
        return "Record again, with at least ten turns of the cutter in the work."
    if findings.verdict == "normal":
        return "Nothing needs changing. Keep this recording as the sound of a good cut."
    if findings.verdict == "machine_only":
        return "Record again while the cutter is in the work."
    return "Record again: ten seconds idle first, then the whole pass."
