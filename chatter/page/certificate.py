"""A certificate of our own, so that a phone may record in the page over the shop's network.

Browsers lend the microphone only over an encrypted line.  Nobody vouches for this certificate:
the browser warns of it, and what says that the line leads here is the fingerprint, shown beside
the code in the terminal and by the browser's warning.
"""

from __future__ import annotations

import hashlib
import ssl
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from chatter.errors import OutputError


@dataclass(frozen=True)
class Certificate:
    """Where certificate and key lie, and what the browser shows of it."""

    file: Path  # both in one, readable by its owner only
    fingerprint: str  # SHA-256, "AB:CD:..."


def certificate(folder: Path, addresses: list[str]) -> Certificate:
    """The certificate of this data folder for these addresses; kept for a year.

    Parameters
    ----------
    folder : Path
    addresses : list of str
        Of this computer in the network.

    Raises
    ------
    OutputError
        The library for it is missing, or the folder cannot be written.
    """
    names = sorted({*addresses, "127.0.0.1", "localhost"})
    digest = hashlib.sha256(" ".join(names).encode()).hexdigest()[:12]
    year = datetime.now(UTC).year
    path = folder / f"certificate-{digest}-{year}.pem"
    try:
        if path.is_symlink():  # planted: what it leads to would be shown as ours
            path.unlink()
        if not path.is_file():
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            _make(path, names, datetime(year + 2, 1, 1, tzinfo=UTC))
        return Certificate(path, _fingerprint(path))
    except OSError as wrong:
        raise OutputError(
            f"The certificate '{path}' cannot be kept ({wrong.strerror or wrong}): name another "
            "folder with --data."
        ) from wrong


def _make(path: Path, names: list[str], until: datetime) -> None:
    try:
        import trustme
    except ImportError:
        raise OutputError(
            "--https needs the library trustme: install it with pip install trustme, or leave "
            "--https away and record with the phone's own recorder."
        ) from None
    issued = trustme.CA(organization_name="Chatter on this computer").issue_cert(
        *names, common_name="Chatter", not_after=until
    )
    part = path.with_suffix(".part")
    part.unlink(missing_ok=True)  # a link that was planted would be written through
    part.touch(mode=0o600)
    whole = [part.bytes() for part in (issued.private_key_pem, *issued.cert_chain_pems)]
    part.write_bytes(b"".join(whole))
    part.replace(path)


def _fingerprint(path: Path) -> str:
    """Of the first certificate in the file: the one that the browser sees."""
    text = path.read_text("ascii")
    start, end = "-----BEGIN CERTIFICATE-----", "-----END CERTIFICATE-----"
    first = text[text.index(start) : text.index(end) + len(end)]
    digest = hashlib.sha256(ssl.PEM_cert_to_DER_cert(first)).hexdigest().upper()
    return ":".join(digest[at : at + 2] for at in range(0, len(digest), 2))
