"""Broken-off uploads: what came is kept, and it is said."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.errors import RecordingError
from chatter.sound.recording import Recording
from chatter.sound.sniff import look
from chatter.sound.wholeness import breaks_off


def heard(path, size=65536):
    with Recording(path) as recording:
        return np.concatenate(list(recording.blocks(size))), recording


BROKEN = [
    ("a.m4a", "aac", {"movflags": "faststart"}),
    ("a.mp4", "aac", {"movflags": "frag_keyframe+empty_moov"}),
    ("a.webm", "libopus", {}),
    ("a.mkv", "aac", {}),
    ("a.ogg", "libopus", {}),
    ("a.flac", "flac", {}),
    ("a.mp3", "libmp3lame", {}),
    ("a.wav", "pcm_s16le", {}),
    ("a.aiff", "pcm_s16be", {}),
]


@pytest.mark.parametrize(("name", "encoder", "options"), BROKEN)
def test_what_came_before_the_break_is_kept(make, name, encoder, options):
    truth = make.cut(8.0)
    path = make.encode(name, truth, encoder, **options)
    whole, recording = heard(path)
    assert not recording.truncated
    kept, recording = heard(make.head(path, 0.6))
    assert recording.truncated
    # 60 % of the bytes hold about 60 % of the sound (index and coder take some of it)
    assert 0.45 < len(kept) / len(whole) <= 0.63
    n = len(kept) - 4800
    assert np.abs(kept[:n] - whole[:n]).max() < 1e-3


def test_an_upload_broken_before_its_index_says_so(make):
    path = make.head(make.encode("a.m4a", make.cut(4.0), "aac"), 0.5)
    with pytest.raises(RecordingError, match="index is missing"):
        Recording(path)


# Not FLAC, which states samples and not bytes: the reader counts them.
CONTAINERS = [*(b for b in BROKEN if b[0] != "a.flac"), ("a.caf", "alac", {}), ("b.m4a", "aac", {})]


@pytest.mark.parametrize(("name", "encoder", "options"), CONTAINERS)
@pytest.mark.parametrize("share", [0.3, 0.85, 0.995])
def test_the_container_itself_knows(make, name, encoder, options, share):
    path = make.encode(name, make.cut(4.0), encoder, **options)
    assert not breaks_off(path, look(path).kind)
    if name == "a.mp3":
        share = min(share, 0.85)  # the info tag is trusted to two kilobytes only
    broken = make.head(path, share)
    assert breaks_off(broken, look(broken).kind)


def test_of_a_broken_flac_the_last_whole_frame_is_kept(make):
    path = make.head(make.encode("a.flac", make.cut(8.0), "flac"), 0.6)
    coarse, _ = heard(path, 65536)
    fine, _ = heard(path, 512)
    assert len(fine) - len(coarse) < 4608  # one FLAC frame


def test_a_note_after_the_sound_is_no_break(make):
    path = make.write("a.wav", make.cut(0.5))
    longer = make.bytes("b.wav", path.read_bytes() + b"LIST\x04\0\0\0note")
    assert not breaks_off(longer, "riff")
