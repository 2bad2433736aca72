"""The table of a batch as CSV."""

from __future__ import annotations

import csv
import os
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path

from chatter.batch.row import LedgerRow
from chatter.errors import OutputError

NAME = "summary.csv"


def write_sheet(rows: Sequence[LedgerRow], folder: Path) -> Path:
    """Write the rows; the file is there whole or not at all.

    Raises
    ------
    OutputError
        It cannot be written.
    """
    columns = [one.name for one in fields(LedgerRow)]
    path, half = folder / NAME, folder / f".{NAME}.half"
    try:
        with half.open("w", encoding="utf-8", errors="replace", newline="") as out:
            sheet = csv.writer(out)
            sheet.writerow(columns)
            for row in rows:
                sheet.writerow(["" if x is None else x for x in vars(row).values()])
            out.flush()
            os.fsync(out.fileno())
        half.replace(path)
    except OSError as wrong:
        raise OutputError(
            f"'{path}' cannot be written ({wrong.strerror}): free some space, close it in other "
            "programs, or name another folder with --out."
        ) from wrong
    return path
