"""TOML out: just enough to write cards (the standard library only reads it)."""

from __future__ import annotations

import json
from collections.abc import Mapping


def toml_text(tables: Mapping[str, Mapping[str, object] | list]) -> str:
    """TOML text of named tables, or lists of tables.

    Values are text, numbers, booleans, lists of these, or lists of mappings of these
    (written as arrays of tables).
    """
    blocks: list[str] = []
    for name, table in tables.items():
        if isinstance(table, list):
            blocks.extend(_block(f"[[{name}]]", row) for row in table)
            continue
        blocks.append(_block(f"[{name}]", table))
        for key, value in table.items():
            blocks.extend(_block(f"[[{name}.{key}]]", row) for row in _group(value))
    return "\n".join(blocks)


def _block(head: str, table: Mapping[str, object]) -> str:
    lines = [f"{key} = {_value(value)}" for key, value in table.items() if not _group(value)]
    return "\n".join([head, *lines]) + "\n"


def _group(value: object) -> list[Mapping[str, object]]:
    """The rows of an array of tables; none where the value is something else."""
    return value if isinstance(value, list) and value and isinstance(value[0], Mapping) else []


def _value(value: object) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    # JSON's spelling of text, numbers and booleans is valid TOML but for the delete character.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
