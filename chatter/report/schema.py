"""Writes ``schema.json``, the description of the JSON output, from the dataclasses.

The types come from the annotations in :mod:`chatter.findings`, the descriptions from
the comments and docstrings beside them, so the two cannot drift apart.  A test compares
the file with what this module makes; remake it with::

    python -m chatter.report.schema
"""

from __future__ import annotations

import inspect
import json
import re
from dataclasses import MISSING, fields, is_dataclass
from pathlib import Path
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from chatter.findings import CAUSES, LINE_NAMES, SCHEMA_VERSION, VERDICTS, Findings, Line, Pass

SCHEMA_PATH = Path(__file__).with_name("schema.json")

_PLAIN = {str: "string", bool: "boolean", int: "integer", float: "number", dict: "object"}


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of what ``--json`` writes."""
    parts: dict[str, Any] = {}
    top = _object(Findings, parts)
    top["properties"]["schema_version"]["const"] = SCHEMA_VERSION
    top["properties"]["verdict"]["enum"] = list(VERDICTS)
    one_pass = parts[Pass.__name__]["properties"]
    one_pass["verdict"]["enum"] = list(VERDICTS)
    one_pass["probabilities"]["required"] = list(CAUSES)
    parts[Line.__name__]["properties"]["name"]["enum"] = list(LINE_NAMES)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Findings of one recording",
        **top,
        "$defs": dict(sorted(parts.items())),
    }


def _object(kind: type, parts: dict[str, Any]) -> dict[str, Any]:
    hints, said = get_type_hints(kind), _comments(kind)
    properties: dict[str, Any] = {}
    for field in fields(kind):
        described = _type(hints[field.name], parts)
        if field.name in said:
            described = {**described, "description": said[field.name]}
        properties[field.name] = described
    needed = [f.name for f in fields(kind) if f.default is MISSING and f.default_factory is MISSING]
    return {
        "description": inspect.getdoc(kind),
        "type": "object",
        "properties": properties,
        "required": needed,
        "additionalProperties": False,
    }


def _type(kind: Any, parts: dict[str, Any]) -> dict[str, Any]:
    if isinstance(kind, type) and is_dataclass(kind):
        if kind.__name__ not in parts:
            parts[kind.__name__] = {}
            parts[kind.__name__] = _object(kind, parts)
        return {"$ref": f"#/$defs/{kind.__name__}"}
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        return {
            "anyOf": [_type(k, parts) for k in inner if k is not type(None)] + [{"type": "null"}]
        }
    if origin is tuple:
        if inner[-1] is Ellipsis:
            return {"type": "array", "items": _type(inner[0], parts)}
        return {
            "type": "array",
            "prefixItems": [_type(k, parts) for k in inner],
            "minItems": len(inner),
            "maxItems": len(inner),
        }
    if origin is dict:
        return {"type": "object", "additionalProperties": _type(inner[1], parts)}
    return {"type": _PLAIN[kind]}


def _comments(kind: type) -> dict[str, str]:
    """Comment behind each field in the source of ``kind``."""
    pattern = re.compile(r"^\s+(\w+):[^#\n]*#\s*(.+)$", re.MULTILINE)
    return dict(pattern.findall(inspect.getsource(kind)))


def text() -> str:
    """The schema as the text that stands in ``schema.json``."""
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    SCHEMA_PATH.write_text(text(), encoding="utf-8")
