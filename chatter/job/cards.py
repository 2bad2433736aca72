"""Job and machine cards: small TOML files that can be kept and reused.

A job card has the sections ``[cutter]``, ``[cut]``, ``[machine]`` and ``[take]``.  Instead
of its own ``[machine]`` it may name a machine card, ``machine = "mill.toml"``, found
relative to the card.  Paths in ``[take]`` are relative to the card as well.  Cuts that were
made before stand in tables ``[[observed]]`` (short for ``[[cut.observed]]``).
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from chatter.errors import CardError, JobError, OutputError
from chatter.job.build import (
    Statement,
    job_of,
    merge_statements,
    part_of,
    read_statement,
    statement_of,
)
from chatter.job.cut import Job
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine
from chatter.job.schema import SECTIONS, field_of
from chatter.job.toml_text import toml_text
from chatter.job.units import echo
from chatter.job.words import hint

_OBSERVED = "observed"
_PATHS = ("take.idle", "take.taps")
_LARGEST_BYTES = 1_000_000  # a card is a page of text; more is some other file


def load_job(path: str | Path) -> Job:
    """The job on a card.

    Raises
    ------
    CardError
        Naming file, section and key.
    """
    with told_by_card(path):
        return job_of(load_statement(path))


def load_machine(path: str | Path) -> Machine:
    """The machine on a machine card (its keys at the top, or under ``[machine]``).

    Raises CardError.
    """
    return part_of(_machine_statement(path), "machine")


def job_from_cards(
    card: str | Path | None,
    overrides: Mapping[str, object],
    machine: str | Path | None = None,
    texts: Mapping[str, str] | None = None,
) -> Job:
    """The job of a card, a machine card and command-line options, the later ones winning.

    Parameters
    ----------
    card : path or None
        A job card; it may leave out what ``overrides`` give.
    overrides : mapping
        Option texts as in ``build.read_statement``.
    machine : path or None
        A machine card; replaces the whole machine of the job card.
    texts : mapping, optional
        Texts of a machine or cutter card by section, as a logbook holds them; each replaces
        its whole section.

    Raises
    ------
    JobError, CardError
    """
    values = statement_from(card, overrides, machine, texts)
    with told_by_card(card):
        return job_of(values)


def statement_from(
    card: str | Path | None,
    overrides: Mapping[str, object],
    machine: str | Path | None = None,
    texts: Mapping[str, str] | None = None,
) -> Statement:
    """As ``job_from_cards``, but as a read statement that need not be complete."""
    values = load_statement(card) if card is not None else {}
    if machine is not None:
        values = {name: value for name, value in values.items() if not name.startswith("machine.")}
        values |= _machine_statement(machine)
    for section, text in (texts or {}).items():
        values = {
            name: value for name, value in values.items() if not name.startswith(f"{section}.")
        }
        values |= read_card(text, section, f"The {section} card")
    return merge_statements(values, read_statement(overrides))


def load_statement(path: str | Path) -> Statement:
    """All that a job card states, in SI units.  Raises CardError."""
    path = Path(path)
    document = _load(path)
    values: Statement = {}
    for section, table in document.items():
        if section == _OBSERVED:
            values |= _section(path, "cut", {_OBSERVED: table})
            continue
        if section not in SECTIONS:
            nearest = hint(section, {each: each for each in (*SECTIONS, _OBSERVED)})
            raise CardError(
                f"{path.name}: '{echo(section)}' is not a section of a job card: {nearest}"
            )
        if section == "machine" and isinstance(table, str):
            values |= _machine_statement(path.parent / table)
        else:
            values |= _section(path, section, table)
    for name in _PATHS:
        if name in values:
            values[name] = str(path.parent / str(values[name]))
    if values.keys() >= {"cut.feed", "cut.chip_load"}:
        raise CardError(f"{path.name}: [cut] has both feed and chip_load: keep one of the two.")
    return values


def save_job(job: Job, path: str | Path) -> None:
    """Write a job card that ``load_job`` reads back to an equal job.  Raises OutputError."""
    _save(job_text(job, path), path)


def job_text(job: Job, path: str | Path) -> str:
    """The text of a job card that is to stand at ``path``."""
    tables: dict[str, dict] = {}
    for name, value in statement_of(job).items():
        section, _, key = name.partition(".")
        if name in _PATHS:
            value = _beside(str(value), path)
        tables.setdefault(section, {})[key] = field_of(section, key).write(value)
    made = tables.get("cut", {}).pop(_OBSERVED, [])
    return toml_text({**tables, _OBSERVED: made} if made else tables)


def _beside(named: str, card: str | Path) -> str:
    """A path as a card holds it: relative where it lies beside or below the card."""
    other, folder = Path(named).absolute(), Path(card).absolute().parent
    inside = other.is_relative_to(folder)
    return (other.relative_to(folder) if inside else other).as_posix()


def save_machine(machine: Machine, path: str | Path) -> None:
    """Write a machine card that ``load_machine`` reads back.  Raises OutputError."""
    _save(machine_text(machine), path)


def machine_text(machine: Machine) -> str:
    """The text of a machine card; ``read_card`` reads it back."""
    return _part_text(machine, "machine", Machine())


def cutter_text(cutter: Cutter) -> str:
    """The text of a cutter card: a ``[cutter]`` section alone; ``read_card`` reads it back."""
    return _part_text(cutter, "cutter", Cutter(teeth=0))


def _part_text(part: Machine | Cutter, section: str, default: Machine | Cutter) -> str:
    stated = {}
    for each in SECTIONS[section]:
        value = getattr(part, each.attribute)
        if value != getattr(default, each.attribute):
            stated[each.key] = each.write(value)
    return toml_text({section: stated})


def read_card(text: str, section: str, name: str = "This card") -> Statement:
    """What the text of a machine or cutter card states, in SI units.

    Parameters
    ----------
    text : str
        TOML, the keys at the top or under their section; a job card will do as well, of
        which only this section is read.
    section : str
        "machine" or "cutter".
    name : str
        Name of the card, for the complaint.

    Raises
    ------
    CardError
        Naming section and key.
    """
    path = Path(name)
    document = _parse(text, path)
    inner = document.get(section)
    if isinstance(inner, dict):
        return _section(path, section, inner)
    if set(document) & set(SECTIONS) - {each.key for each in SECTIONS[section]}:
        raise CardError(f"{path.name} has no section [{section}]: write it, or name another card.")
    return _section(path, section, document)


@contextmanager
def told_by_card(card: str | Path | None) -> Iterator[None]:
    """What is wrong with a job inside is said with the name of its card, if it has one."""
    try:
        yield
    except JobError as error:
        if card is None or isinstance(error, CardError):
            raise
        raise CardError(f"{Path(card).name}: {error}") from None


def _machine_statement(path: str | Path) -> Statement:
    path = Path(path)
    document = _load(path)
    inner = document.get("machine")
    table = inner if isinstance(inner, dict) and len(document) == 1 else document
    return _section(path, "machine", table)


def _section(path: Path, section: str, table: object) -> Statement:
    if not isinstance(table, dict):
        raise CardError(
            f"{path.name}: '{section}' is not a section: write [{section}] and its keys below."
        )
    values: Statement = {}
    for key, stated in table.items():
        try:
            values[f"{section}.{key}"] = field_of(section, key).read(stated)
        except JobError as error:
            raise CardError(f"{path.name}, [{section}] {echo(key)}: {error}") from None
    return values


def _load(path: Path) -> dict:
    return _parse(read_text(path), path)


def read_text(path: str | Path) -> str:
    """The text of a card.  Raises CardError."""
    path = Path(path)
    try:
        if path.is_file() and path.stat().st_size > _LARGEST_BYTES:
            raise CardError(f"{path.name} is too large for a card: name the right file.")
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise CardError(f"There is no card '{path}': check the name.") from None
    except OSError as error:
        raise CardError(
            f"The card '{path}' cannot be read ({error.strerror}): check the file."
        ) from None
    except UnicodeDecodeError:
        raise CardError(
            f"{path.name} is not a card in TOML (it is not text): correct it."
        ) from None


def _parse(text: str, path: Path) -> dict:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise CardError(
            f"{path.name} is not a card in TOML ({echo(str(error), 120)}): correct it."
        ) from None


def _save(text: str, path: str | Path) -> None:
    try:
        Path(path).write_text(text, encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"The card cannot be written to '{path}' ({error.strerror}): name another place."
        ) from None
