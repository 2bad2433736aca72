"""What stands in a logbook: one frozen dataclass per table, its fields the columns.

``uid`` is the identity of a row in every copy of the book, ``number`` its short number in this
file; both are given by the book.  A field that names another row holds that row's uid.  Times
are UTC in ISO 8601 to the microsecond; dates are ISO dates.  ``None`` means not known.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from chatter.findings import Findings
    from chatter.job.cut import Job
    from chatter.job.cutter import Cutter
    from chatter.job.machine import Machine
    from chatter.tapping.findings import TapFindings

#: What a recording is of.
KINDS = ("cut", "idle", "tap", "other")


@dataclass(frozen=True, kw_only=True)
class BookRow:
    """What every row has."""

    uid: str = ""
    number: int = 0
    created_at: str = ""
    changed_at: str = ""


@dataclass(frozen=True, kw_only=True)
class MachineRow(BookRow):
    """A machine, by its card."""

    name: str
    card: str  # TOML, as ``chatter.job.cards.read_card`` reads it
    facts: str = "{}"  # JSON: the fields of Machine in SI units
    note: str = ""

    @property
    def machine(self) -> Machine:
        """The machine on the card."""
        from chatter.logbook.card_text import machine_on_card

        return machine_on_card(self.card, self.name)


@dataclass(frozen=True, kw_only=True)
class CutterRow(BookRow):
    """A cutter, by its card."""

    name: str
    card: str
    facts: str = "{}"
    note: str = ""

    @property
    def cutter(self) -> Cutter:
        """The cutter on the card."""
        from chatter.logbook.card_text import cutter_of

        return cutter_of(self.card, self.name)


@dataclass(frozen=True, kw_only=True)
class RegrindRow(BookRow):
    """A cutter came back from the grinder."""

    cutter: str
    ground_on: str  # date
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class RecordingRow(BookRow):
    """A recording, known by its content."""

    sha256: str
    name: str  # of the file, as it was handed in
    size_bytes: int
    keeping: str  # "copy": kept beside the book; "reference": only pointed at
    place: str  # copy: path within the folder beside the book; reference: full path
    kind: str = "cut"  # one of KINDS
    duration_s: float | None = None
    machine: str | None = None
    phone: str = ""
    position: str = ""  # where the phone lay
    hours: float | None = None  # running hours of the machine
    recorded_at: str | None = None
    dated_by: str = ""  # "stated", or "file": the file's own date, which a copy may have changed
    simulated: bool = False
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class JobRow(BookRow):
    """What was stated of a cut."""

    card: str  # TOML of a job card
    facts: str  # JSON, as ``chatter.plain.to_json`` makes it
    machine: str | None = None
    cutter: str | None = None

    @property
    def job(self) -> Job:
        """The job, equal to the one that was stored."""
        from chatter.job.build import job_from_plain

        return job_from_plain(json.loads(self.facts))


@dataclass(frozen=True, kw_only=True)
class ListenRow(BookRow):
    """What one version of the program found in a recording."""

    recording: str
    job: str
    findings_json: str
    schema_version: int
    made_by: str
    verdict: str
    confidence: float
    heard_at: str

    @property
    def findings(self) -> Findings:
        """The findings, as the listen gave them.  Raises CardError on another schema."""
        from chatter.findings_json import read_findings

        return read_findings(self.findings_json)


@dataclass(frozen=True, kw_only=True)
class TapRow(BookRow):
    """A tap test."""

    findings_json: str
    schema_version: int
    tapped_at: str
    what: str = ""
    machine: str | None = None
    cutter: str | None = None
    recording: str | None = None

    @property
    def found(self) -> TapFindings:
        """The tap findings.  Raises CardError on another schema."""
        from chatter.tapping.findings import read_taps

        return read_taps(self.findings_json, f"Tap test {self.number} of the logbook")


@dataclass(frozen=True, kw_only=True)
class NoteRow(BookRow):
    """A remark on a machine, a cutter or a recording, or on none of them."""

    text: str
    machine: str | None = None
    cutter: str | None = None
    recording: str | None = None


@dataclass(frozen=True, kw_only=True)
class SurfaceRow(BookRow):
    """What the cut surface looks like: one sign of ``chatter.trade.surface``."""

    sign: str  # a name in chatter/trade/surface.toml
    face: str = ""  # which face: "left wall", "floor", ...
    seen_on: str | None = None  # date
    machine: str | None = None
    cutter: str | None = None
    recording: str | None = None
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class LabelRow(BookRow):
    """What it really was, how that is known, and what cured it."""

    recording: str
    verdict: str  # one of chatter.findings.CAUSES, or "not_sure"
    cure: str = ""
    pass_index: int | None = None  # None: the whole recording
    by: str = ""
    note: str = ""
    how_known: str = ""  # one of chatter.logbook.collection.HOW_KNOWN; "" not told
    start_s: float | None = None  # of the pass, as it was found when this was said
    end_s: float | None = None
    blind: bool = False  # said before the program's answer was seen


@dataclass(frozen=True, kw_only=True)
class PhotoRow(BookRow):
    """A photograph, kept beside the book."""

    sha256: str
    name: str
    size_bytes: int
    place: str  # path within the folder beside the book
    caption: str = ""
    taken_at: str | None = None
    machine: str | None = None
    cutter: str | None = None
    recording: str | None = None


@dataclass(frozen=True, kw_only=True)
class CompareRow(BookRow):
    """A comparison of recordings."""

    title: str
    sentence: str  # its verdict
    result_json: str
    schema_version: int
    recordings: str  # JSON list of uids

    @property
    def result(self) -> Any:
        """The result as plain data."""
        return json.loads(self.result_json)


@dataclass(frozen=True, kw_only=True)
class TuningRow(BookRow):
    """What the labels of a shop taught about how sure the program may be."""

    machine: str | None  # None: cuts that name no machine
    made_by: str
    tuning_json: str  # as chatter.teaching.tuning reads it


@dataclass(frozen=True, kw_only=True)
class VoiceRow(BookRow):
    """The lines of a machine in one idle recording at one speed."""

    recording: str
    rev_min: float  # as stated
    made_by: str
    voice_json: str  # as chatter.teaching.voice reads it


@dataclass(frozen=True, kw_only=True)
class EarlierRow(BookRow):
    """How a row read before it was changed, here or by an import; nothing is thrown away."""

    of_table: str
    of_uid: str
    row_json: str


#: Row type -> its table, in an order in which every row comes after those it names.
TABLES: dict[type[BookRow], str] = {
    MachineRow: "machines",
    CutterRow: "cutters",
    RegrindRow: "regrinds",
    RecordingRow: "recordings",
    JobRow: "jobs",
    ListenRow: "listens",
    TapRow: "taps",
    NoteRow: "notes",
    SurfaceRow: "surfaces",
    LabelRow: "labels",
    PhotoRow: "photos",
    CompareRow: "compares",
    TuningRow: "tunings",
    VoiceRow: "voices",
    EarlierRow: "earlier",
}
