"""The ways in which a file is damaged; each takes bytes and a generator, and gives bytes.

What cables, full disks, broken uploads, renamed files and people with time do to recordings.
"""

from __future__ import annotations

import io
import random
import struct
from collections.abc import Callable

Damage = Callable[[bytes, random.Random, "tuple[bytes, ...]"], bytes]


def _bits(data: bytes, rng: random.Random, _others) -> bytes:
    """A few bits anywhere."""
    harmed = bytearray(data)
    for _ in range(rng.choice((1, 4, 32, 256))):
        harmed[rng.randrange(len(harmed))] ^= 1 << rng.randrange(8)
    return bytes(harmed)


def _head_bits(data: bytes, rng: random.Random, _others) -> bytes:
    """Bits of the header, where they do most."""
    harmed = bytearray(data)
    for _ in range(rng.choice((1, 2, 8))):
        harmed[rng.randrange(min(256, len(harmed)))] ^= 1 << rng.randrange(8)
    return bytes(harmed)


def _cut_end(data: bytes, rng: random.Random, _others) -> bytes:
    """An upload that broke off."""
    return data[: rng.randrange(len(data))]


def _cut_start(data: bytes, rng: random.Random, _others) -> bytes:
    """A piece out of the middle of a file."""
    return data[rng.randrange(1, len(data)) :]


def _hole(data: bytes, rng: random.Random, _others) -> bytes:
    """A stretch that is missing."""
    start = rng.randrange(len(data))
    return data[:start] + data[start + rng.randrange(1, len(data) // 4 + 2) :]


def _zeros(data: bytes, rng: random.Random, _others) -> bytes:
    """A stretch of zeros, as a copy leaves it that was not flushed."""
    start = rng.randrange(len(data))
    length = rng.randrange(1, len(data) // 3 + 2)
    return data[:start] + bytes(min(length, len(data) - start)) + data[start + length :]


def _noise(data: bytes, rng: random.Random, _others) -> bytes:
    """A stretch of random bytes."""
    start = rng.randrange(len(data))
    length = min(rng.choice((16, 512, 8192)), len(data) - start)
    return data[:start] + rng.randbytes(length) + data[start + length :]


def _swapped_head(data: bytes, rng: random.Random, others: tuple[bytes, ...]) -> bytes:
    """The header of another container."""
    length = rng.choice((4, 12, 64, 512))
    return rng.choice(others)[:length] + data[length:]


def _repeated(data: bytes, rng: random.Random, _others) -> bytes:
    """A chunk that stands several times."""
    start = rng.randrange(len(data))
    chunk = data[start : start + rng.choice((64, 4096, 65536))]
    return data[:start] + chunk * rng.randrange(2, 6) + data[start:]


def _lying_length(data: bytes, rng: random.Random, _others) -> bytes:
    """A length near the start that is not true."""
    harmed = bytearray(data)
    at = rng.randrange(0, min(200, max(1, len(harmed) - 8)), 2)
    value = rng.choice((0, 1, 0x7FFFFFFF, 0xFFFFFFFF, rng.randrange(1 << 32)))
    harmed[at : at + 4] = struct.pack(rng.choice(("<I", ">I")), value)
    return bytes(harmed)


def _joined(data: bytes, rng: random.Random, others: tuple[bytes, ...]) -> bytes:
    """Two files one after the other."""
    return data + rng.choice(others)


def _odd_samples(data: bytes, rng: random.Random, _others) -> bytes:
    """A whole WAV of floats that are no numbers, endless, or far beyond full scale."""
    import numpy as np
    import soundfile

    from chatter.lab.fuzz.seeds import made_cut

    sound = made_cut(16000, 4.0)
    share = rng.choice((0.0001, 0.05, 0.6, 1.0))
    bad = np.random.default_rng(rng.randrange(1 << 30)).random(len(sound)) < share
    sound[bad] = rng.choice((np.nan, np.inf, -np.inf, 1e30, -40.0, 0.0))
    out = io.BytesIO()
    soundfile.write(out, sound, 16000, "FLOAT", format="WAV")
    return out.getvalue() or data


def _odd_shape(data: bytes, rng: random.Random, _others) -> bytes:
    """A whole WAV with an odd rate, many channels, or next to no samples."""
    import numpy as np
    import soundfile

    rate_hz = rng.choice((1, 100, 4001, 7350, 10000, 22254, 96000, 192000, 500000))
    channels = rng.choice((1, 1, 2, 3, 8, 32, 33, 256))
    n = rng.choice((0, 1, 7, 500, 20000, 60000))
    noise = np.random.default_rng(rng.randrange(1 << 30)).standard_normal((n, channels))
    out = io.BytesIO()
    soundfile.write(out, 0.1 * noise, rate_hz, "PCM_16", format="WAV")
    return out.getvalue() or data


def _disguised(data: bytes, rng: random.Random, _others) -> bytes:
    """What is no recording, under the name of one."""
    return rng.choice(
        (
            b"#EXTM3U\n#EXTINF:1,\nfile:///etc/passwd\n",
            b"ffconcat version 1.0\nfile '/etc/passwd'\n",
            b"[playlist]\nFile1=/etc/passwd\nNumberOfEntries=1\n",
            b"\x00" * 5000,
            b"",
            b"PK\x03\x04" + data[:4000],
            b"\xff\xfe" + "A letter to the grinder.".encode("utf-16-le"),
            b"%PDF-1.4\n" + data[:2000],
            rng.randbytes(20000),
        )
    )


#: Name -> what is done.
WAYS: dict[str, Damage] = {
    "bits": _bits,
    "bits of the header": _head_bits,
    "end cut off": _cut_end,
    "start cut off": _cut_start,
    "hole": _hole,
    "zeros": _zeros,
    "noise": _noise,
    "another's header": _swapped_head,
    "chunk repeated": _repeated,
    "lying length": _lying_length,
    "two files joined": _joined,
    "odd samples": _odd_samples,
    "odd rate or channels": _odd_shape,
    "disguise": _disguised,
}
