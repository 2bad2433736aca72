"""Stamp: which code and which fitted numbers heard a recording.

Two answers on one recording can differ since the instrument changed; the version alone would not
tell them apart while it is worked on.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files

from chatter import __version__

#: The rooms that decide what is heard in a recording.
_HEARING = ("sound", "listening")
_DIGITS = 8
_FITTED = "model.json"


@cache
def made_by() -> str:
    """Version, digest of the code that hears, digest of the numbers fitted for it.

    Returns
    -------
    str
        "chatter 0.1.0, code 1f0c2a9b, model 77d0e1aa".
    """
    code = hashlib.sha256()
    for room in _HEARING:
        for path in sorted(files("chatter").joinpath(room).iterdir(), key=lambda one: one.name):
            if path.name.endswith((".py", ".toml")):
                code.update(f"{room}/{path.name}".encode())
                code.update(path.read_bytes())
    model = hashlib.sha256(files("chatter.listening").joinpath(_FITTED).read_bytes())
    return (
        f"chatter {__version__}, code {code.hexdigest()[:_DIGITS]}, "
        f"model {model.hexdigest()[:_DIGITS]}"
    )
