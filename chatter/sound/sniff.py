"""Look at a file's first bytes before any decoder is asked.

The suffix is never believed.  What is certainly no recording (nothing, a directory, text,
a playlist) is refused here in one sentence, because decoders either accept such files in
surprising ways (a playlist makes them open *other* files) or refuse them in words that
help nobody.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from chatter.errors import RecordingError

_HEAD_BYTES = 4096

#: Suffixes of files that hold bare samples without a header.
_BARE_SUFFIXES = frozenset({".raw", ".pcm", ".s16", ".s16le", ".f32", ".sw", ".al", ".ul"})


#: First bytes of older formats that hold plain samples and that libsndfile reads (its list of
#: formats; marks from memory): AU, big-endian WAV, IRCAM, NIST Sphere, Creative Voice, Portable
#: Voice, Ensoniq PARIS, Matlab 5, FastTracker instruments.
_PLAIN_MARKS = (
    *(b".snd", b"dns.", b"RIFX", b"NIST", b"Creative Voice", b"PVF1", b" paf", b"fap "),
    *(b"\x64\xa3\x01\x00", b"\x64\xa3\x02\x00", b"\x64\xa3\x03\x00", b"\x64\xa3\x04\x00"),
    *(b"\x00\x01\xa3\x64", b"\x00\x02\xa3\x64", b"\x00\x03\xa3\x64"),
    *(b"MATLAB 5.0", b"Extended Instrument"),
)


@dataclass(frozen=True)
class Look:
    """What the first bytes say.

    Attributes
    ----------
    path : Path
        The file.
    size_bytes : int
        Its size on disk.
    kind : str
        ``"mp4"``, ``"matroska"``, ``"amr"``, ``"adts"``, ``"mp3"``, ``"riff"``,
        ``"aiff"``, ``"caf"``, ``"ogg"``, ``"flac"``, ``"plain"`` (an older format of plain
        samples) or ``"other"``.
    """

    path: Path
    size_bytes: int
    kind: str


def look(path: str | Path) -> Look:
    """Read the first bytes of a file and say what it seems to be.

    Parameters
    ----------
    path : str or Path
        File to look at.

    Returns
    -------
    Look

    Raises
    ------
    RecordingError
        The file is missing, unreadable, no plain file, empty, or text.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise RecordingError(
                f"{path} is a folder, not a recording: name one sound file inside it."
            )
        if path.exists() and not path.is_file():
            raise RecordingError(f"{path} is no ordinary file: copy the recording to disk first.")
        size = path.stat().st_size
        with open(path, "rb") as file:
            head = file.read(_HEAD_BYTES)
    except (FileNotFoundError, NotADirectoryError):
        raise RecordingError(
            f"There is no file {path}: check the name and the folder it is in."
        ) from None
    except PermissionError:
        raise RecordingError(
            f"{path} may not be read by this user: change its permissions or copy it."
        ) from None
    except (OSError, ValueError) as error:
        raise RecordingError(f"{path} cannot be opened ({error}): copy it to disk again.") from None
    if not head:
        raise RecordingError(f"{path.name} is empty (0 bytes): copy it from the phone again.")
    kind = _kind(head)
    if kind == "other" and not head.strip(b"\x00"):
        raise RecordingError(
            f"{path.name} begins with nothing but zeros ({size} bytes): the copy was not "
            "finished; copy it from the phone again."
        )
    if kind == "other" and _is_text(head):
        raise RecordingError(
            f"{path.name} is text, not sound, whatever its name says: name the recording itself."
        )
    if kind == "other" and path.suffix.lower() in _BARE_SUFFIXES:
        raise RecordingError(
            f"{path.name} holds bare samples without a header, so their rate and width are "
            "unknown: save it as WAV in the program that made it."
        )
    return Look(path=path, size_bytes=size, kind=kind)


def _kind(head: bytes) -> str:
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"):
        return "mp4"
    if head[:4] == b"\x1a\x45\xdf\xa3":
        return "matroska"
    if head[:5] == b"#!AMR":
        return "amr"
    if head[:4] in (b"RIFF", b"RF64", b"riff"):
        return "riff"
    if head[:4] == b"caff":
        return "caf"
    if head[:4] == b"FORM":
        return "aiff"
    if head[:4] == b"OggS":
        return "ogg"
    if head[:4] == b"fLaC":
        return "flac"
    if head.startswith(_PLAIN_MARKS):
        return "plain"
    if head[:3] == b"ID3":
        return "mp3"
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xF6 == 0xF0:
        return "adts"  # sync word with layer bits 00
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0 and head[1] & 0x06 in (2, 4):
        return "mp3"  # layer III or II; layer I would also match the mark of UTF-16 text
    return "other"


def _is_text(head: bytes) -> bool:
    """Whether the bytes are text: UTF-8 or UTF-16 without control characters."""
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = head[: len(head) // 2 * 2].decode("utf-16", "replace")
    else:
        if b"\x00" in head:
            return False
        # A multi-byte character may be cut at the end of the head: forgive three bytes.
        try:
            text = head.decode("utf-8")
        except UnicodeDecodeError as error:
            if error.start < len(head) - 3:
                return False
            text = head[: error.start].decode("utf-8")
    odd = sum(1 for c in text if ord(c) < 32 and c not in "\t\n\r\f\x1b")
    return odd == 0
