"""Opening a logbook: whole, ours, of a form this program knows, and in the newest form.

Before anything is written the file is looked at through a read-only connection, so that a
damaged or foreign file stays as it is.  Steps from one form of the book to the next are the SQL
files in ``steps/``; each is applied and recorded in one transaction, after a copy of the book
was made.
"""

from __future__ import annotations

import os
import time
from contextlib import closing, suppress
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from chatter.errors import BookError
from chatter.logbook.form import missing_part
from chatter.logbook.saying import damaged, spoken
from chatter.places import Places

if TYPE_CHECKING:
    import sqlite3

    from sqlite_utils import Database

#: "chlb" in the file's head marks a book of this program.
APPLICATION_ID = 0x63686C62
#: How long to wait for another writer.
PATIENCE_S = 20.0
_OLDEST_SQLITE = (3, 38, 0)  # STRICT tables and JSON functions
_STEP_SET = "chatter.logbook"


def connect(path: Path, *, write: bool) -> Database:
    """A connection to a book that was looked at and brought to its newest form.

    Raises
    ------
    BookError
        No book, no place for one, not a book, damaged, newer than this program, or in use.
    """
    import sqlite3

    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise BookError(
            f"The logbook needs SQLite 3.38 or newer and this Python has "
            f"{sqlite3.sqlite_version}: install a newer Python."
        )
    if path.is_dir():
        raise BookError(f"'{path}' is a folder, not a logbook: name a file with --book.")
    new = not path.exists() or path.stat().st_size == 0
    if new and not write:
        raise BookError(
            f"There is no logbook at '{path}': start one with 'chatter listen --log' or "
            "'chatter log machine', or name another with --book."
        )
    with spoken(path, "opened"):
        if new:
            path.parent.mkdir(parents=True, exist_ok=True)
            done = set()
        else:
            done = _look(path, write=write)
        behind = bool(set(migration_steps()) - done)
        if not write:
            if behind:
                raise BookError(
                    f"The logbook '{path}' is of an older form: open it once for writing, "
                    "for example with 'chatter log check'."
                )
            return _settle(readable(path))
        connection = _patient(path)
        try:
            db = _settle(connection)
            if behind:
                _bring_up(db, Places(path), new=not done)
        except BaseException:
            connection.close()
            raise
        return db


@cache
def migration_steps() -> dict[str, str]:
    """Name of each step and its SQL, in order."""
    folder = files("chatter.logbook").joinpath("steps")
    steps = sorted(folder.iterdir(), key=lambda file: file.name)
    return {
        file.name.removesuffix(".sql"): file.read_text(encoding="utf-8")
        for file in steps
        if file.name.endswith(".sql")
    }


def _uri(path: Path, options: str) -> str:
    return f"{path.absolute().as_uri()}?{options}"


def readable(path: Path) -> sqlite3.Connection:
    """A read-only connection; a book in a folder that cannot be written to is read as it lies.

    So is one on a full disk, where SQLite finds no room for the index of what waits to go into
    the book: that index is then kept in memory, and nobody else may open the book meanwhile.
    """
    import sqlite3

    options = "mode=ro"
    waiting = path.with_name(f"{path.name}-wal")
    unwritten = not waiting.exists() or waiting.stat().st_size == 0
    if unwritten and not os.access(path.parent, os.W_OK):
        options = "mode=ro&immutable=1"  # nobody can be writing there
    connection = _open(path, options)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        return connection
    except sqlite3.OperationalError as wrong:
        connection.close()
        name = getattr(wrong, "sqlite_errorname", "") or ""
        if not name.startswith(("SQLITE_CANTOPEN", "SQLITE_IOERR", "SQLITE_FULL")):
            raise
    except BaseException:
        connection.close()
        raise
    if unwritten:
        return _open(path, "mode=ro&immutable=1")
    connection = _open(path, "mode=rw")
    connection.execute("PRAGMA locking_mode = EXCLUSIVE")
    connection.execute("PRAGMA query_only = ON")
    return connection


def _open(path: Path, options: str) -> sqlite3.Connection:
    import sqlite3

    return sqlite3.connect(
        _uri(path, options), uri=True, timeout=PATIENCE_S, check_same_thread=False
    )


def _patient(path: Path) -> sqlite3.Connection:
    """A writing connection in WAL mode; setting that mode does not wait by itself."""
    import sqlite3

    connection = _open(path, "mode=rwc")
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL").fetchone()
            return connection
        except sqlite3.OperationalError as wrong:
            busy = (getattr(wrong, "sqlite_errorname", "") or "").startswith("SQLITE_BUSY")
            if not busy or time.monotonic() > until:
                connection.close()
                raise
            time.sleep(0.02)


def _settle(connection: sqlite3.Connection) -> Database:
    """Settings of every connection.

    synchronous=FULL: in WAL mode the default would survive a killed program, but a power cut
    could take the last entries with it; a sync for each entry costs a few milliseconds.
    """
    from sqlite_utils import Database

    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA cell_size_check = ON")
    return Database(connection, recursive_triggers=False, execute_plugins=False)


def _look(path: Path, *, write: bool) -> set[str]:
    """The steps a book has behind it.  Raises BookError unless it is whole and ours."""
    import sqlite3

    with path.open("rb") as book:
        head = book.read(16)
    if head != b"SQLite format 3\0":
        raise BookError(f"'{path}' is not a logbook: name another file with --book.")
    try:
        with closing(readable(path)) as connection:
            return _known(connection, path)
    except sqlite3.OperationalError as wrong:
        # A program that was killed while it started the book left a change half done, which
        # SQLite takes back as soon as somebody may write.
        name = getattr(wrong, "sqlite_errorname", "") or ""
        if not write or not name.startswith("SQLITE_READONLY"):
            raise
    with closing(
        sqlite3.connect(_uri(path, "mode=rw"), uri=True, timeout=PATIENCE_S)
    ) as connection:
        return _known(connection, path)


def _known(connection: sqlite3.Connection, path: Path) -> set[str]:
    answer = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if answer != "ok":
        raise BookError(damaged(path, " ".join(str(answer).split())))
    mark = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = {
        row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type='table'")
    }
    if mark != APPLICATION_ID and tables:
        raise BookError(
            f"'{path}' is a database of another program: name another file with --book."
        )
    done = _applied(connection) if "_sqlite_migrations" in tables else set()
    if tables and not done & set(migration_steps()):
        raise BookError(damaged(path, "its record of forms is missing"))
    newer = sorted(done - set(migration_steps()))
    if newer:
        raise BookError(
            f"The logbook '{path}' was written by a newer version of this program (its form "
            f"{newer[-1]} is not known here): update chatter; nothing was changed."
        )
    lacks = missing_part(connection, migration_steps()) if done == set(migration_steps()) else None
    if lacks is not None:
        raise BookError(damaged(path, lacks))
    return done


def _applied(connection: sqlite3.Connection) -> set[str]:
    asked = "SELECT name FROM _sqlite_migrations WHERE migration_set = ?"
    return {row[0] for row in connection.execute(asked, (_STEP_SET,))}


def _bring_up(db: Database, around: Places, *, new: bool) -> None:
    """Apply the steps that lack, each with its record, all in one transaction."""
    from sqlite_utils.migrations import Migrations

    if not new:
        backup(db.conn, around, f"before-{max(migration_steps())}")
    ladder = Migrations(_STEP_SET)
    for name, sql in migration_steps().items():
        ladder(name=name)(lambda db, sql=sql: db.executescript(sql))
    db.conn.execute(
        "BEGIN IMMEDIATE"
    )  # a second program that opens it now waits, and finds it done
    try:
        db.conn.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        ladder.apply(db)
        db.conn.execute("COMMIT")
    except BaseException:
        db.rollback()
        raise


def backup(connection: sqlite3.Connection, around: Places, why: str) -> Path:
    """Copy a book while others may be writing in it; the copy appears whole or not at all.

    Parameters
    ----------
    connection : sqlite3.Connection
        To the book.
    around : Places
    why : str
        Goes into the name of the copy.

    Returns
    -------
    Path
        The copy, in the folder of backups.

    Raises
    ------
    BookError
        The copy cannot be written, or is not whole.
    """
    import sqlite3

    folder = around.backups
    stamp = time.strftime("%Y%m%dT%H%M%S", time.gmtime())
    target = free(folder / f"{around.book.stem}-{stamp}-{why}.db")
    half = target.with_suffix(".half")
    with spoken(target):
        folder.mkdir(parents=True, exist_ok=True)
        try:
            with closing(sqlite3.connect(half)) as copy:
                connection.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
                if copy.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
                    raise BookError(f"The copy '{half}' is not whole: check the disk.")
            flush(half)
            half.replace(target)
            flush(folder)
        except BaseException:
            with suppress(OSError):
                half.unlink(missing_ok=True)
            raise
    return target


def free(path: Path) -> Path:
    """The path, or with a counter where something has that name already."""
    count, tried = 1, path
    while tried.exists():
        count += 1
        tried = path.with_stem(f"{path.stem}-{count}")
    return tried


def flush(path: Path) -> None:
    """Have a file, or the names in a folder, written through to the disk."""
    if os.name == "nt":  # which flushes neither folders nor files that are open for reading
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
