"""Dataclasses as plain data, as JSON, and back: the one place that does it.

Plain data are dicts, lists, strings, whole and finite numbers, true, false and None: what strict
JSON (RFC 8259) can hold.  A number that is not finite becomes None.  The names are those of the
fields, and the way back follows the annotations of the fields.
"""

from __future__ import annotations

import json
import math
from dataclasses import fields, is_dataclass
from functools import cache
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")


class Misfit(ValueError):
    """Plain data that are not of the wanted kind; says where, in half a sentence."""


def to_plain(thing: Any) -> Any:
    """A dataclass, or dicts, lists and tuples of such, as plain data; NumPy scalars too."""
    if is_dataclass(thing) and not isinstance(thing, type):
        return {one.name: to_plain(getattr(thing, one.name)) for one in fields(thing)}
    if isinstance(thing, dict):
        return {str(key): to_plain(value) for key, value in thing.items()}
    if isinstance(thing, list | tuple):
        return [to_plain(one) for one in thing]
    if thing is None or isinstance(thing, str | bool | int):
        return thing
    value = float(thing)  # also NumPy scalars
    return value if math.isfinite(value) else None


def to_json(thing: Any, *, indent: int | None = 2) -> str:
    """The same as strict JSON, characters beyond ASCII as they are, without a final newline.

    Parameters
    ----------
    thing : dataclass, or dicts, lists and tuples of such
    indent : int or None
        Spaces a level; None writes one line.
    """
    return json.dumps(to_plain(thing), indent=indent, ensure_ascii=False, allow_nan=False)


def from_plain(kind: type[T], plain: Any, where: str = "", *, drop_unknown: bool = False) -> T:
    """What :func:`to_plain` made, as ``kind`` again.

    Parameters
    ----------
    kind : type
        A dataclass.
    plain : dict
    where : str
        What the whole is called in complaints; without it, by the name of ``kind``.
    drop_unknown : bool
        Leave out fields that ``kind`` does not have, such as those of a newer program.

    Raises
    ------
    Misfit
        Not an object, a field too many or too few, or no list where a list should be.
    """
    made: T = _built(kind, plain, where or kind.__name__, drop_unknown)
    return made


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _built(kind: Any, value: Any, where: str, drop: bool) -> Any:
    """``value`` as the annotated type ``kind``."""
    if isinstance(kind, type) and is_dataclass(kind):
        return _object(kind, value, where, drop)
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        if value is None:
            return None
        return _built(next(k for k in inner if k is not type(None)), value, where, drop)
    if origin is tuple:
        return _tuple(inner, value, where, drop)
    if origin is dict and isinstance(value, dict):
        return {key: _built(inner[1], each, f"{where}.{key}", drop) for key, each in value.items()}
    if kind is float and value is None:
        return math.nan  # it was not finite
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    return value


def _object(kind: type, value: Any, where: str, drop: bool) -> Any:
    if not isinstance(value, dict):
        raise Misfit(f"{where} should be an object")
    hints = _hints(kind)
    unknown = [key for key in value if key not in hints]
    if unknown and not drop:
        raise Misfit(f"{where} has an unknown field '{unknown[0]}'")
    known = {
        key: _built(hints[key], each, f"{where}.{key}", drop)
        for key, each in value.items()
        if key in hints
    }
    try:
        return kind(**known)
    except TypeError as missing:
        raise Misfit(f"{where} is incomplete ({missing})") from missing


def _tuple(inner: tuple[Any, ...], value: Any, where: str, drop: bool) -> tuple[Any, ...]:
    if not isinstance(value, list | tuple):
        raise Misfit(f"{where} should be a list")
    each = [inner[0]] * len(value) if inner[-1] is Ellipsis else inner
    if len(each) != len(value):
        raise Misfit(f"{where} should hold {len(each)} values, not {len(value)}")
    return tuple(
        _built(k, v, f"{where}[{i}]", drop)
        for i, (k, v) in enumerate(zip(each, value, strict=True))
    )
