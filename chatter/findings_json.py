"""Findings read back from their JSON, with a schema version.

:func:`chatter.plain.to_json` writes them.  The field names are those of
:mod:`chatter.findings`; ``chatter/report/schema.json`` documents each of them.
"""

from __future__ import annotations

import json

from chatter.errors import CardError
from chatter.findings import SCHEMA_VERSION, Findings
from chatter.plain import Misfit, from_plain


def read_findings(text: str) -> Findings:
    """Findings from their JSON.

    Raises
    ------
    CardError
        The text is not JSON, is of another schema version, or lacks a field.
    """
    try:
        data = json.loads(text)
    except ValueError as wrong:
        raise CardError(
            f"These findings are not JSON ({wrong}); write them again with --json."
        ) from wrong
    version = data.get("schema_version") if isinstance(data, dict) else None
    if version != SCHEMA_VERSION:
        raise CardError(
            f"These findings have schema version {version!r} and this program reads "
            f"{SCHEMA_VERSION}; listen to the recording again."
        )
    try:
        return from_plain(Findings, data, "findings")
    except Misfit as wrong:
        raise CardError(f"{wrong}; listen to the recording again.") from wrong
