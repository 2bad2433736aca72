"""Secrets: the token in every form, and the keys that let a phone in from the network."""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import time
from collections.abc import Callable
from pathlib import Path

from chatter.errors import OutputError

FORM_COOKIE = "chatter_form"
KEY_COOKIE = "chatter_key"
_SECRET_BYTES = 32
_THROTTLE_S = 60.0


def load_secret(folder: Path) -> bytes:
    """The secret of this data folder, made on first use, readable by its owner only.

    It outlives a restart, so that a form that was open meanwhile can still be sent.
    Raises OutputError.
    """
    path = folder / "secret"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        try:
            if path.is_symlink():  # planted: it would be written through
                path.unlink()
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            kept = path.read_bytes()
            if len(kept) == _SECRET_BYTES:
                return kept
            handle = os.open(path, os.O_WRONLY | os.O_TRUNC)
        secret = secrets.token_bytes(_SECRET_BYTES)
        with os.fdopen(handle, "wb") as out:
            out.write(secret)
        return secret
    except OSError as wrong:
        raise OutputError(
            f"The data folder '{folder}' cannot be used ({wrong.strerror}): "
            "name another with --data."
        ) from wrong


class FormTokens:
    """Tokens that show that a form came from this page.

    The browser holds a random cookie that scripts cannot read; each form carries its keyed
    hash.  Another site can make a browser send the cookie, but cannot know the hash.
    """

    def __init__(self, secret: bytes) -> None:
        self._secret = secret

    def new_cookie(self) -> str:
        """A fresh value for the cookie."""
        return secrets.token_hex(16)

    def token(self, cookie: str) -> str:
        """What the forms of a page with this cookie carry."""
        return hmac.new(self._secret, b"form:" + cookie.encode(), hashlib.sha256).hexdigest()

    def holds(self, cookie: str | None, token: str | None) -> bool:
        """Whether the token belongs to the cookie."""
        if not cookie or not token:
            return False
        return hmac.compare_digest(self.token(cookie).encode(), token.encode())


class Keyring:
    """One-time keys, each exchanged once for a cookie; both die with the server."""

    def __init__(self, most_wrong: int = 10) -> None:
        self._most_wrong = most_wrong
        self._wrong: dict[str, list[float]] = {}  # address -> when it came with a wrong key
        self._open: dict[str, Callable[[], None] | None] = {}
        self._cookies: set[str] = set()

    def new_key(self, used: Callable[[], None] | None = None) -> str:
        """A key that lets one device in; ``used`` is called once it is used up."""
        key = secrets.token_urlsafe(16)
        self._open[key] = used
        return key

    def tried_too_often(self, address: str) -> bool:
        """Whether an address came with too many wrong keys within the last minute."""
        since = time.monotonic() - _THROTTLE_S
        for tried_by in list(self._wrong):
            self._wrong[tried_by] = [at for at in self._wrong[tried_by] if at > since]
            if not self._wrong[tried_by]:
                del self._wrong[tried_by]
        return len(self._wrong.get(address, ())) >= self._most_wrong

    def was_wrong(self, address: str) -> None:
        """An address came with a wrong key."""
        self._wrong.setdefault(address, []).append(time.monotonic())

    def exchange(self, key: str) -> str | None:
        """The cookie for a key, which is void from then on; None for a wrong one."""
        known = next((one for one in self._open if _same(one, key)), None)
        if known is None:
            return None
        used = self._open.pop(known)
        cookie = secrets.token_urlsafe(24)
        self._cookies.add(cookie)
        if used is not None:
            used()
        return cookie

    def lets_in(self, cookie: str | None) -> bool:
        """Whether a cookie came from a key of this run."""
        return cookie is not None and any(_same(one, cookie) for one in self._cookies)


def _same(key: str, other: str) -> bool:
    return hmac.compare_digest(key.encode(), other.encode("utf-8", "replace"))
