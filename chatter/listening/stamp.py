"""Stamp: which code and which fitted numbers heard a recording.

Two answers on one recording can differ since the instrument changed; the version alone would not
tell them apart while it is worked on.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files

from chatter import __version__
from chatter.listening.trees import model_digest

#: The rooms that decide what is heard in a recording.
_HEARING = ("sound", "listening")
_DIGITS = 8


def made_by() -> str:
    """Version, digest of the code that hears, digest of the numbers fitted for it.

    Returns
    -------
    str
        "chatter 0.1.0, code 1f0c2a9b, model 77d0e1aa"; the ready-made app holds no sources to
        digest, and says "code as built".
    """
    return f"chatter {__version__}, code {_code()}, model {model_digest()[:_DIGITS]}"


@cache
def _code() -> str:
    digest = hashlib.sha256()
    for name in _HEARING:
        room = files("chatter").joinpath(name)
        held = sorted(room.iterdir(), key=lambda one: one.name) if room.is_dir() else []
        if not any(path.name.endswith(".py") for path in held):
            return "as built"
        for path in held:
            if path.name.endswith((".py", ".toml")):
                digest.update(f"{name}/{path.name}".encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()[:_DIGITS]
