"""Heard: one recording of a comparison after it was listened to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from chatter.findings import Findings, Pass
from chatter.job.cut import Job
from chatter.listening.exhibits import Exhibits
from chatter.listening.front import listen_to
from chatter.sound.intake import Sound
from chatter.sound.spool import Spool

Progress = Callable[[float, str], None]

#: Sound that is clipped in more of its frames than this has lost the very swells compared.
CLIPPED_SHARE = 0.05
#: A pass that is the machine alone with at least this probability is no cut.
SURELY_IDLE = 0.8


@dataclass(frozen=True)
class Listened:
    """One recording after a listen; its track is measured while it is open."""

    path: Path
    job: Job
    findings: Findings
    exhibits: Exhibits
    spool: Spool

    @property
    def passes(self) -> tuple[Pass, ...]:
        """Passes in which something was cut, as far as can be told.

        A take that is all cut has nothing to be held against, and is easily called the machine
        alone: where the listen is not sure of that, and none of its passes is called a cut, what
        it holds is taken for one.  The speed must still be known or heard.
        """
        cut = tuple(p for p in self.findings.passes if p.verdict != "machine_only")
        return cut or tuple(p for p in self.findings.passes if p.confidence < SURELY_IDLE)

    @property
    def chatter_possible(self) -> float:
        """The chance that listening gives chatter, in the pass where it is greatest; 0 to 1."""
        chances = [p.probabilities.get("chatter", 0.0) for p in self.passes]
        return max((chance for chance in chances if chance == chance), default=0.0)  # nan: not told

    @property
    def unfit(self) -> str | None:
        """Why the recording cannot be compared, None when it can."""
        fitness = self.findings.fitness
        if fitness.clipped_share > CLIPPED_SHARE:
            return (
                f"Clipped in {100 * fitness.clipped_share:.0f} % of the time, which flattens every "
                "swell: move the phone away and record again."
            )
        fatal = [one for one in fitness.complaints if one.fatal]
        return f"{fatal[0].sentence} {fatal[0].advice}" if fatal and not fitness.fit else None

    @property
    def speed_rev_min(self) -> float | None:
        """Speed heard in the longest pass, None when none was heard."""
        heard = [p for p in self.passes if p.spindle.heard]
        return max(heard, key=lambda p: p.revolutions).spindle.rev_min if heard else None


def hear_take(sound: Sound, job: Job, *, units: str, progress: Progress | None) -> Listened:
    """Listen to a recording taken in.  Raises what ``chatter.listening.front.listen_to`` raises."""
    heard = listen_to(sound, job, units=units, progress=progress)
    return Listened(Path(sound.source.path), job, heard.findings, heard.exhibits, sound.spool)
