"""Where a report is written: names, no silent overwriting, all or nothing."""

from __future__ import annotations

import os
import re
import tempfile
import time
from pathlib import Path
from typing import Any

from chatter.errors import OutputError
from chatter.report.names import safe_stem

DEFAULT_FOLDER = Path("reports")


_MARK = re.compile(rb'<meta name="recording-sha256" content="([0-9a-f]+)">')


def write_report(
    heard: Any,
    out_path: str | Path | None,
    recording_path: str | Path | None,
    *,
    units: str = "metric",
) -> Path:
    """Write the report of a recording as one HTML file.

    Parameters
    ----------
    heard : Heard
        With ``findings`` and ``exhibits``.
    out_path : path or None
        A file, an existing folder, or None for ``reports/``.
    recording_path : path or None
        The sound for the player; None writes a report without one, as does a recording that
        cannot be made playable, with a sentence in its place.
    units : str
        "metric" or "inch".

    Returns
    -------
    Path
        The file written.  In a folder the name is made from the recording's, with a
        counter where a report of another recording already has that name.

    Raises
    ------
    OutputError
        The place cannot be written, or the named file is something else than an earlier
        report of the same recording.
    """
    from chatter.report.html import listen_page

    findings = heard.findings
    path = choose_path(out_path, findings.source.name, findings.source.sha256)
    sound, note = None, ""
    if recording_path is not None:
        from chatter.sound.playable import playable_or_why

        sound, note = playable_or_why(recording_path, length_s=findings.source.duration_s)
    page = listen_page(findings, heard.exhibits, sound=sound, sound_note=note, units=units)
    return write_text(path, page)


def choose_path(out_path: str | Path | None, name: str, sha256: str) -> Path:
    """The file a report goes to; see :func:`write_report`."""
    wanted = DEFAULT_FOLDER if out_path is None else Path(out_path)
    if out_path is not None and not wanted.is_dir():
        if wanted.exists() and _recording_of(wanted) != sha256:
            raise OutputError(
                f"'{wanted}' exists and is not a report of this recording; "
                "name another file with --report."
            )
        return wanted
    stem = safe_stem(name)
    path, count = wanted / f"{stem}.html", 1
    while path.exists() and _recording_of(path) != sha256:
        count += 1
        path = wanted / f"{stem}-{count}.html"
    return path


def check_place(out_path: str | Path | None) -> None:
    """Refuse, before a long listen, a place where no report can or may be written.

    Raises OutputError.
    """
    wanted = DEFAULT_FOLDER if out_path is None else Path(out_path)
    if out_path is not None and wanted.is_file() and _recording_of(wanted) is None:
        raise OutputError(
            f"'{wanted}' exists and is not a report; name another file with --report."
        )
    folder = wanted
    while not folder.is_dir():
        if folder.exists() and folder != wanted:
            raise OutputError(f"'{folder}' is not a folder; name another place to write to.")
        if folder == folder.parent:
            return
        folder = folder.parent
    if not os.access(folder, os.W_OK | os.X_OK):
        raise OutputError(f"'{folder}' cannot be written to; name another place with --report.")


def write_text(path: Path, text: str) -> Path:
    """Write a text file so that it is either there in full or not at all.

    Raises OutputError.
    """
    return write_bytes(path, text.encode("utf-8", errors="replace"))


def write_bytes(path: Path, data: bytes) -> Path:
    """Write a file so that it is either there in full or not at all.

    Raises OutputError.
    """
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".writing-", suffix=".tmp")
        with os.fdopen(handle, "wb") as out:
            out.write(data)
        os.chmod(temporary, 0o666 & ~_umask())
        _replace(temporary, path)
    except OSError as wrong:
        if temporary is not None and os.path.exists(temporary):
            os.unlink(temporary)
        reason = wrong.strerror or str(wrong)
        if path.parent.exists() and not path.parent.is_dir():
            reason = f"'{path.parent}' is a file, not a folder"
        raise OutputError(
            f"'{path}' cannot be written ({reason}); name another place to write to."
        ) from wrong
    return path


def _replace(temporary: str, path: Path) -> None:
    """Put a file in its place; a virus scanner or a sync program may hold it for a moment."""
    for wait_s in (0.05, 0.2, 0.5):
        try:
            return os.replace(temporary, path)
        except PermissionError:
            time.sleep(wait_s)
    return os.replace(temporary, path)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _recording_of(path: Path) -> str | None:
    """SHA-256 of the recording an existing report is about; None if it is no report."""
    try:
        with path.open("rb") as report:
            mark = _MARK.search(report.read(4096))
    except OSError:
        return None
    return mark.group(1).decode() if mark else None
