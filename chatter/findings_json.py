"""Findings as JSON and back, with a schema version.

The field names are those of :mod:`chatter.findings`; ``chatter/report/schema.json``
documents each of them.  The output is strict JSON: a number that is not finite is
written as ``null``, never as ``NaN`` or ``Infinity``.
"""

from __future__ import annotations

import json
import math
from dataclasses import fields, is_dataclass
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from chatter.errors import CardError, ChatterError
from chatter.findings import SCHEMA_VERSION, Findings


def as_plain(thing: Any) -> Any:
    """Findings (or any part of them) as dicts, lists, strings, finite numbers and None."""
    if is_dataclass(thing):
        return {one.name: as_plain(getattr(thing, one.name)) for one in fields(thing)}
    if isinstance(thing, dict):
        return {str(key): as_plain(value) for key, value in thing.items()}
    if isinstance(thing, list | tuple):
        return [as_plain(one) for one in thing]
    if thing is None or isinstance(thing, str | bool | int):
        return thing
    value = float(thing)  # also NumPy scalars
    return value if math.isfinite(value) else None


def as_json(findings: Findings, *, indent: int | None = 2) -> str:
    """Findings as a JSON text.

    Parameters
    ----------
    findings : Findings
    indent : int or None
        Spaces per level; None writes one line.

    Returns
    -------
    str
        Strict JSON (RFC 8259), UTF-8 characters unescaped, without a final newline.
    """
    return json.dumps(as_plain(findings), indent=indent, ensure_ascii=False, allow_nan=False)


def from_json(text: str) -> Findings:
    """Findings from the text :func:`as_json` wrote.

    Raises
    ------
    ChatterError
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
    return _build(Findings, data, "findings")


def _build(kind: Any, value: Any, where: str) -> Any:
    """Rebuild ``value`` as the annotated type ``kind``."""
    if isinstance(kind, type) and is_dataclass(kind):
        if not isinstance(value, dict):
            raise CardError(f"{where} should be an object; listen to the recording again.")
        hints = get_type_hints(kind)
        try:
            return kind(**{k: _build(hints[k], v, f"{where}.{k}") for k, v in value.items()})
        except KeyError as unknown:
            raise CardError(
                f"{where} has an unknown field {unknown}; listen to the recording again."
            ) from unknown
        except ChatterError:
            raise
        except TypeError as missing:
            raise CardError(
                f"{where} is incomplete ({missing}); listen to the recording again."
            ) from missing
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        if value is None:
            return None
        return _build(next(one for one in inner if one is not type(None)), value, where)
    if origin is tuple:
        if not isinstance(value, list):
            raise CardError(f"{where} should be a list; listen to the recording again.")
        each = [inner[0]] * len(value) if inner[-1] is Ellipsis else inner
        return tuple(
            _build(k, v, f"{where}[{i}]") for i, (k, v) in enumerate(zip(each, value, strict=True))
        )
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    return value
