"""Sound for the report's player: playable, small, and aligned with the findings."""

from __future__ import annotations

import io

import av
import numpy as np
import pytest

from chatter.errors import RecordingError
from chatter.sound.intake import take_in
from chatter.sound.playable import playable, playable_or_why
from chatter.sound.recording import Recording


def decoded(path) -> tuple[np.ndarray, int]:
    with Recording(path) as recording:
        return np.concatenate(list(recording.blocks())), recording.rate_hz


def streams(data: bytes) -> list[tuple[str, str]]:
    with av.open(io.BytesIO(data)) as container:
        return [(s.type, s.codec_context.name) for s in container.streams]


def lag_s(make, result, path) -> float:
    """By how much the player's sound comes later than what the findings are made of."""
    sound = take_in(path)
    with sound.spool as spool:
        track, rate_hz = spool.read(0, spool.n), spool.rate_hz
    played, played_hz = decoded(make.bytes("played.bin", result.data))
    t = np.arange(len(track)) / rate_hz
    mono = np.interp(t, np.arange(len(played)) / played_hz, played.mean(axis=1))
    n, most = rate_hz // 4, rate_hz // 10
    piece = track[rate_hz : rate_hz + n]
    both = np.correlate(mono[rate_hz - most : rate_hz + n + most], piece, mode="valid")
    return (int(np.argmax(both)) - most) / rate_hz


AS_IT_IS = [
    ("a.mp3", "libmp3lame", {}, "audio/mpeg"),
    ("a.ogg", "libopus", {}, "audio/ogg"),
    ("a.flac", "flac", {}, "audio/flac"),
    ("a.wav", "pcm_s16le", {}, "audio/wav"),
]


@pytest.mark.parametrize(("name", "encoder", "options", "mime"), AS_IT_IS)
def test_what_browsers_play_is_passed_on(make, name, encoder, options, mime):
    path = make.encode(name, make.cut(2.0), encoder, **options)
    result = playable(path)
    assert result.mime == mime
    assert result.data == path.read_bytes()


REMUXED = [
    ("a.m4a", "aac", {}, "audio/mp4"),
    ("a.mov", "aac", {}, "audio/mp4"),
    ("a.3gp", "aac", {}, "audio/mp4"),
    ("a.aac", "aac", {}, "audio/mp4"),
    ("a.mkv", "aac", {}, "audio/mp4"),
    ("frag.mp4", "aac", {"movflags": "frag_keyframe+empty_moov"}, "audio/mp4"),
    ("a.webm", "libopus", {}, "audio/webm"),
    ("a.mkv", "libopus", {}, "audio/webm"),
]


@pytest.mark.parametrize(("name", "encoder", "options", "mime"), REMUXED)
def test_coded_sound_moves_house_without_being_coded_again(make, name, encoder, options, mime):
    path = make.encode(name, make.cut(2.0), encoder, **options)
    result = playable(path)
    assert result.mime == mime
    assert "unchanged" in result.how
    before, _ = decoded(path)
    after, _ = decoded(make.bytes("out.bin", result.data))
    assert len(before) == len(after)
    assert np.array_equal(before, after)


def test_a_film_loses_its_picture(make):
    path = make.film("f.mp4", make.cut(2.0), seconds=2.0)
    result = playable(path)
    assert streams(result.data) == [("audio", "aac")]
    assert np.array_equal(decoded(path)[0], decoded(make.bytes("o", result.data))[0])


CODED_AGAIN = [
    ("a.amr", "libopencore_amrnb", 8000),
    ("a.3gp", "libopencore_amrnb", 8000),
    ("alac.m4a", "alac", 48000),
    ("a.caf", "pcm_s16le", 48000),
    ("a.aiff", "pcm_s16be", 44100),
    ("a.mov", "pcm_s16le", 48000),
]


@pytest.mark.parametrize(("name", "encoder", "rate_hz"), CODED_AGAIN)
def test_what_browsers_do_not_play_is_coded_again(make, name, encoder, rate_hz):
    path = make.encode(name, make.cut(3.0, rate_hz=rate_hz), encoder, rate_hz)
    result = playable(path)
    assert result.mime == "audio/mp4"
    assert "coded again" in result.how
    assert streams(result.data) == [("audio", "aac")]
    with Recording(make.bytes("o", result.data)) as again:
        assert again.channels == 1
        assert again.rate_hz == min(rate_hz, 24000)


@pytest.mark.parametrize(
    ("name", "encoder", "rate_hz"), [*CODED_AGAIN, ("a.m4a", "aac", 44100), ("a.aac", "aac", 48000)]
)
def test_picture_and_sound_agree_to_20_ms(make, name, encoder, rate_hz):
    path = make.encode(name, make.cut(3.0, rate_hz=rate_hz), encoder, rate_hz)
    result = playable(path)
    assert abs(lag_s(make, result, path) - result.offset_s) < 0.002


@pytest.mark.parametrize("left", [-1.0, 0.0])
def test_the_right_channel_can_be_heard(make, left):
    """Also when the left one is its mirror image, or silent."""
    sound = make.cut(2.0)
    path = make.encode("a.mov", np.stack([left * sound, sound], 1), "alac")
    played, _ = decoded(make.bytes("o", playable(path).data))
    assert np.std(played) > 0.4 * np.std(sound)


@pytest.mark.parametrize("limit", [45_000, 60_000, 150_000])
def test_what_is_too_large_is_coded_more_tightly(make, limit):
    path = make.write("a.wav", make.cut(15.0))
    result = playable(path, max_bytes=limit)
    assert len(result.data) <= limit
    assert "first" not in result.how
    played, rate_hz = decoded(make.bytes("o", result.data))
    assert len(played) / rate_hz == pytest.approx(15.0, abs=0.2)


def test_who_knows_the_length_saves_a_decode(make, monkeypatch):
    path = make.write("a.wav", make.cut(15.0))
    counted = playable(path, max_bytes=60_000)
    passes = []
    blocks = Recording.blocks
    monkeypatch.setattr(
        Recording, "blocks", lambda self, *size: passes.append(1) or blocks(self, *size)
    )
    assert playable(path, max_bytes=60_000, length_s=15.0).data == counted.data
    assert len(passes) == 1
    playable(path, max_bytes=60_000)
    assert len(passes) == 3


def test_what_is_far_too_large_is_cut_and_says_so(make):
    path = make.write("a.wav", make.cut(70.0))
    result = playable(path, max_bytes=40_000)
    assert len(result.data) <= 40_000
    assert "only the first" in result.how


def test_a_broken_upload_plays_as_far_as_it_goes(make):
    path = make.head(make.encode("a.m4a", make.cut(4.0), "aac", movflags="faststart"), 0.5)
    result = playable(path)
    assert np.array_equal(decoded(path)[0], decoded(make.bytes("o", result.data))[0])


def test_no_recording_no_sound(make):
    with pytest.raises(RecordingError):
        playable(make.bytes("a.m4a", b"nothing to hear\n"))


#: Rates that AAC does not know: the least rate it does know, that keeps all of the sound.
ODD_RATES = [(7350, 8000), (10000, 11025), (11000, 11025), (20000, 22050), (22000, 22050)]
ODD_RATES += [(22254, 24000), (23999, 24000)]


@pytest.mark.parametrize(("rate_hz", "coded_hz"), ODD_RATES)
def test_a_rate_that_aac_does_not_know_is_changed(make, rate_hz, coded_hz):
    """8-bit sound of old computers was sampled at 22,254 Hz, cheap recorders at 10,000."""
    path = make.write("a.aiff", make.cut(3.0, rate_hz=rate_hz), rate_hz)
    result = playable(path)
    assert streams(result.data) == [("audio", "aac")]
    played, played_hz = decoded(make.bytes("o", result.data))
    assert played_hz == coded_hz
    assert 0.0 <= len(played) / played_hz - 3.0 < 1024 / coded_hz  # a frame of AAC fills up
    assert abs(lag_s(make, result, path) - result.offset_s) < 0.002


def test_a_large_wav_at_such_a_rate_is_coded_tightly(make):
    path = make.write("a.wav", make.cut(15.0, rate_hz=20000), 20000)
    result = playable(path, max_bytes=60_000)
    assert len(result.data) <= 60_000
    _, rate_hz = decoded(make.bytes("o", result.data))
    assert rate_hz == 16000


def test_a_failing_player_is_one_sentence_and_no_error(make, monkeypatch):
    path = make.write("a.wav", make.cut(1.0))
    good, said = playable_or_why(path)
    assert good.mime == "audio/wav" and "the file itself" in said

    def fails(*_args, **_more):
        raise ValueError("no such\ncoder")

    monkeypatch.setattr("chatter.sound.playable.playable", fails)
    none, said = playable_or_why(path)
    assert none is None
    assert "ValueError: no such coder" in said and said.endswith("play the recording itself.")


def test_what_cannot_be_heard_has_no_player_and_says_why(make):
    none, said = playable_or_why(make.bytes("a.m4a", b"nothing to hear\n"))
    assert none is None and "is text, not sound" in said
