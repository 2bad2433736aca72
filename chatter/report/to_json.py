"""Findings as JSON and back, for whoever looks for it among the reports.

It is written in :mod:`chatter.findings_json`, on the ground floor, because the logbook keeps
findings as JSON too; ``schema.json`` beside this file documents each field.
"""

from __future__ import annotations

from chatter.findings_json import as_json, as_plain, from_json

__all__ = ["as_json", "as_plain", "from_json"]
