"""Chatter listens to a metal-cutting operation and says what the noise is.

>>> import chatter
>>> heard = chatter.listen("slot-3.m4a", chatter.load_job("slot-3.toml"))
>>> heard.findings.verdict
'chatter'

The front doors ``listen``, ``plan``, ``tap``, ``load_job`` and ``open_book`` are opened when they
are first asked for, so that importing the package costs next to nothing.  ``chatter.listen`` is
at once the module and, called, its function of the same name; so are ``plan`` and ``tap``.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType

__version__ = "0.1.0"

__all__ = ["listen", "load_job", "open_book", "plan", "tap"]

#: Modules that are front doors themselves.
_ROOMS = ("listen", "plan", "tap")

#: Functions that are front doors, and the modules that hold them.
_FUNCTIONS = {"load_job": "chatter.job.cards", "open_book": "chatter.logbook"}


class _Door(ModuleType):
    """A module that, called, calls its function of the same name."""

    def __call__(self, *given: object, **named: object) -> object:
        return vars(self)[self.__name__.rpartition(".")[2]](*given, **named)


class _House(ModuleType):
    """The package: its rooms become doors as the import system puts them in."""

    def __setattr__(self, name: str, value: object) -> None:
        if name in _ROOMS and isinstance(value, ModuleType):
            value.__class__ = _Door
        super().__setattr__(name, value)


def __getattr__(name: str) -> object:
    """Open a front door (PEP 562)."""
    if name in _ROOMS:
        return import_module(f"chatter.{name}")
    if name in _FUNCTIONS:
        return getattr(import_module(_FUNCTIONS[name]), name)
    raise AttributeError(f"module 'chatter' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


sys.modules[__name__].__class__ = _House
