"""Does a file end where its own structure says it ends?

A broken-off upload is often decoded without complaint up to the break.  The container
knows better: sizes written at its start reach beyond the end of the file.  Bare streams
of frames (AMR, ADTS, mp3 without an info tag) carry no such size and cannot be told from
shorter recordings.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import BinaryIO

#: Sizes that mean "not known" in RIFF files written to a pipe.
_UNKNOWN_RIFF = (0, 0xFFFFFFFF, 0x7FFFFFFF)
_TAIL_BYTES = 1 << 17  # two of the largest Ogg pages (65,307 bytes each, RFC 3533)


def breaks_off(path: Path, kind: str) -> bool:
    """Whether the container says that the file should be longer than it is.

    Parameters
    ----------
    path : Path
        The file.
    kind : str
        As given by :func:`chatter.sound.sniff.look`.

    Returns
    -------
    bool
        False also when the container cannot tell.
    """
    tests = {
        "mp4": _mp4,
        "matroska": _matroska,
        "riff": _riff,
        "aiff": _aiff,
        "caf": _caf,
        "ogg": _ogg,
        "mp3": _mp3,
    }
    test = tests.get(kind)
    if test is None:
        return False
    size = os.path.getsize(path)
    with open(path, "rb") as file:
        return test(file, size)


def _mp4(file: BinaryIO, size: int) -> bool:
    """Walk the top-level boxes (ISO/IEC 14496-12, 4.2): does one reach beyond the end?"""
    at = 0
    while at + 8 <= size:
        file.seek(at)
        head = file.read(16)
        length = int.from_bytes(head[:4], "big")
        if length == 1:
            length = int.from_bytes(head[8:16], "big")
        if length == 0:  # "to the end of the file"
            return False
        if length < 8:
            return False  # not a box: damaged, but nothing says how long it should be
        at += length
    return at > size


def _riff(file: BinaryIO, size: int) -> bool:
    file.seek(0)
    head = file.read(8)
    length = int.from_bytes(head[4:8], "little")
    if head[:4] != b"RIFF" or length in _UNKNOWN_RIFF:
        return False
    return length + 8 > size + 1  # the pad byte of an odd chunk is often missing


def _aiff(file: BinaryIO, size: int) -> bool:
    file.seek(4)
    return int.from_bytes(file.read(4), "big") + 8 > size + 1


def _caf(file: BinaryIO, size: int) -> bool:
    """Walk the chunks (Core Audio Format specification, 1.0: type, 64-bit size)."""
    at = 8
    while at + 12 <= size:
        file.seek(at)
        length = int.from_bytes(file.read(12)[4:], "big", signed=True)
        if length < 0:  # "to the end of the file"
            return False
        at += 12 + length
    return at > size


def _mp3(file: BinaryIO, size: int) -> bool:
    """Compare with the byte count in the encoder's info tag, when there is one.

    Layout of the tag (Xing / LAME, from memory): name, 4 flag bytes, then a frame count if
    flag 1 and a byte count if flag 2 are set; the count begins at the frame with the tag.
    """
    file.seek(0)
    head = file.read(10)
    start = 0
    if head[:3] == b"ID3":  # four times seven bits, header not counted
        start = 10 + sum((head[6 + i] & 0x7F) << (21 - 7 * i) for i in range(4))
    file.seek(start)
    frame = file.read(200)
    at = max(frame.find(b"Xing"), frame.find(b"Info"))
    if at < 0 or len(frame) < at + 16:
        return False
    flags = int.from_bytes(frame[at + 4 : at + 8], "big")
    if not flags & 2:
        return False
    field = at + 8 + (4 if flags & 1 else 0)
    stated = int.from_bytes(frame[field : field + 4], "big")
    frame_bytes = 2048  # writers differ on whether the frame with the tag counts
    return start + stated > size + frame_bytes


def _matroska(file: BinaryIO, size: int) -> bool:
    """Walk the EBML header and look at the Segment's size (RFC 8794, RFC 9559)."""
    at = 0
    for _ in range(8):
        file.seek(at)
        head = file.read(16)
        if len(head) < 2:
            return False
        id_length = _leading(head[0])
        if not id_length or len(head) <= id_length:
            return False
        size_length = _leading(head[id_length])
        field = head[id_length : id_length + size_length]
        if not size_length or len(field) < size_length:
            return False
        bits = 7 * size_length
        length = int.from_bytes(field, "big") & ((1 << bits) - 1)
        data = at + id_length + size_length
        if head[:id_length] == b"\x18\x53\x80\x67":
            unknown = length == (1 << bits) - 1
            return not unknown and data + length > size
        at = data + length
    return False


def _leading(byte: int) -> int:
    """Length in bytes of an EBML number that begins with ``byte``; 0 if it is none."""
    return 9 - byte.bit_length() if byte else 0


def _ogg(file: BinaryIO, size: int) -> bool:
    """Whether the last page is whole and marked as end of stream (RFC 3533, 4 and 6)."""
    start = max(0, size - _TAIL_BYTES)
    file.seek(start)
    tail = file.read()
    at = tail.rfind(b"OggS")
    while at >= 0 and at + 27 <= len(tail) and tail[at + 4] != 0:
        at = tail.rfind(b"OggS", 0, at)  # these four letters inside sound data: no page
    if at < 0 or at + 27 > len(tail):
        return True
    segments = tail[at + 26]
    lacing = tail[at + 27 : at + 27 + segments]
    end = at + 27 + segments + sum(lacing)
    return len(lacing) < segments or end > len(tail) or not tail[at + 5] & 0x04
