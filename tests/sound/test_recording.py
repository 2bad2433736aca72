"""Any phone recording, and the traps decoders lay."""

from __future__ import annotations

import re
import threading

import numpy as np
import pytest

from chatter.errors import RecordingError
from chatter.sound import pyav_reader
from chatter.sound.recording import BOUND, Recording


def heard(path, size=65536):
    """Decode all: (samples, recording)."""
    with Recording(path) as recording:
        blocks = list(recording.blocks(size))
    for block in blocks:
        assert block.dtype == np.float32
        assert block.shape[1] == recording.channels
        assert np.all(np.isfinite(block))
        assert np.abs(block).max() <= BOUND
    assert all(len(block) == size for block in blocks[:-1])
    return np.concatenate(blocks), recording


def lag_of(sound, truth, most=2000):
    """Samples by which ``sound`` comes later than ``truth``."""
    n = 16384
    a, b = truth[5000 : 5000 + n], sound[5000 - most : 5000 + n + most]
    return int(np.argmax(np.correlate(b, a, mode="valid"))) - most


PHONE_FORMATS = [
    # name, encoder, rate, container, codec, largest start offset [samples]
    ("a.m4a", "aac", 48000, "mp4", "aac", 0),
    ("a.mp4", "aac", 44100, "mp4", "aac", 0),
    ("a.mov", "aac", 44100, "mp4", "aac", 0),
    ("a.aac", "aac", 48000, "adts", "aac", 1024),  # no edit list: the coder's priming stays
    ("a.3gp", "aac", 16000, "mp4", "aac", 1024),
    ("a.3gp", "libopencore_amrnb", 8000, "mp4", "amrnb", 90),
    ("a.amr", "libopencore_amrnb", 8000, "amr", "amrnb", 90),
    ("a.webm", "libopus", 48000, "matroska", "opus", 48),
    ("a.mkv", "aac", 96000, "matroska", "aac", 1024),
    ("a.ogg", "libopus", 48000, "ogg", "opus", 48),
    ("a.mp3", "libmp3lame", 44100, "mp3", "mp3", 0),
    ("a.caf", "alac", 48000, "caf", "alac", 0),
    ("alac.m4a", "alac", 48000, "mp4", "alac", 0),
    ("a.flac", "flac", 8000, "flac", "flac", 0),
]


@pytest.mark.parametrize(
    ("name", "encoder", "rate_hz", "container", "codec", "offset"), PHONE_FORMATS
)
def test_a_phone_format_is_heard_whole(make, name, encoder, rate_hz, container, codec, offset):
    truth = make.cut(2.0, rate_hz=rate_hz)
    extra = {"bit_rate": 12200} if "amr" in encoder else {}
    if encoder == "aac":
        extra = {"bit_rate": 2 * rate_hz}
    sound, recording = heard(make.encode(name, truth, encoder, rate_hz, **extra))
    assert (recording.container, recording.codec) == (container, codec)
    assert recording.rate_hz == rate_hz
    assert recording.lossy == (codec not in ("flac", "alac"))
    # Coders fill up their last frame: at most 2,048 samples more, never fewer.
    assert 0 <= len(sound) - len(truth) <= 2048 + offset
    lag = lag_of(sound[:, 0], truth)
    assert abs(lag) <= offset
    # Aligned, the coded sound is the sound; AMR at 12 kbit/s invents its own noise, but
    # chance would give a correlation of 0.01.
    n = len(truth) - 4096
    r = np.corrcoef(sound[1024 + lag : 1024 + lag + n, 0], truth[1024 : 1024 + n])[0, 1]
    assert r > (0.4 if "amr" in codec else 0.9)
    assert not recording.truncated
    assert recording.replaced == 0
    assert recording.fraction == 1.0


@pytest.mark.parametrize("rate_hz", [8000, 11025, 96000])
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize(
    ("name", "how"),
    [
        ("a.wav", {"subtype": "PCM_16"}),
        ("a.wav", {"subtype": "PCM_24"}),
        ("a.wav", {"subtype": "FLOAT"}),
        ("a.wav", {"subtype": "PCM_U8"}),
        ("a.aiff", {}),
        ("a.flac", {}),
        ("a.caf", {"subtype": "PCM_16"}),
    ],
)
def test_uncoded_sound_comes_back_as_it_was(make, name, how, rate_hz, channels):
    sound = make.cut(0.5, rate_hz=rate_hz)
    truth = np.stack([sound, -0.5 * sound], axis=1)[:, :channels]
    got, recording = heard(make.write(name, truth, rate_hz, **how), size=1000)
    assert got.shape == truth.shape
    step = 2.0**-7 if how.get("subtype") == "PCM_U8" else 2.0**-15
    assert np.abs(got - truth).max() <= step
    assert (recording.rate_hz, recording.channels) == (rate_hz, channels)
    assert not recording.lossy


def test_the_name_is_not_believed(make):
    path = make.write("a.wav", make.cut(0.5))
    sound, recording = heard(path.rename(path.with_suffix(".m4a")))
    assert recording.container == "wav"
    m4a = make.encode("b.m4a", make.cut(0.5), "aac")
    sound, recording = heard(m4a.rename(m4a.with_suffix(".wav")))
    assert recording.container == "mp4"
    assert len(sound) >= 24000


def test_a_film_gives_its_sound(make):
    sound, recording = heard(make.film("f.mp4", make.cut(1.0)))
    assert recording.codec == "aac"
    assert abs(len(sound) - 48000) <= 2048  # the coder fills up its frames


# --- trap 1: decoders return nonsense -------------------------------------------------


@pytest.mark.parametrize("nonsense", [np.nan, np.inf, -np.inf, 1e14, -1e30])
def test_decoder_nonsense_is_replaced_and_counted(make, monkeypatch, nonsense):
    path = make.encode("a.amr", make.cut(2.0, rate_hz=8000), "libopencore_amrnb", 8000)
    honest = pyav_reader.PyavReader._floats

    def mad(self, frame):
        block = honest(self, frame).copy()
        block[100:150] = nonsense
        return block

    clean, _ = heard(path, 4000)
    monkeypatch.setattr(pyav_reader.PyavReader, "_floats", mad)
    sound, recording = heard(path, 4000)
    blocks = -(-len(sound) // 4000)
    full = blocks if len(sound) % 4000 >= 150 or len(sound) % 4000 == 0 else blocks - 1
    assert recording.replaced >= 50 * full
    assert recording.replaced <= 50 * blocks
    assert np.all(sound[100:150] == 0.0)
    assert np.array_equal(sound[150:4000], clean[150:4000])


def test_a_file_of_nothing_but_nonsense_is_refused(make):
    path = make.write("a.wav", np.full(48000, np.nan, np.float32), subtype="FLOAT")
    with pytest.raises(RecordingError, match="100 % of the samples"):
        heard(path)


# --- trap 3: stated lengths lie -------------------------------------------------------


def test_a_length_stated_too_long_is_not_believed(make):
    """An mp4 whose headers claim ten hours: samples are counted."""
    path = make.encode("a.m4a", make.cut(2.0), "aac")
    data = bytearray(path.read_bytes())
    for box in (b"mvhd", b"mdhd", b"tkhd"):
        at = data.find(box)
        assert at > 0
        field = at + 4 + (16 if box != b"tkhd" else 20)
        scale = int.from_bytes(data[at + 16 : at + 20], "big") if box != b"tkhd" else 1000
        data[field : field + 4] = (36000 * scale).to_bytes(4, "big")
    with Recording(make.bytes("liar.m4a", bytes(data))) as recording:
        fractions = []
        for _ in recording.blocks(4800):
            fractions.append(recording.fraction)
    assert recording.duration_s == pytest.approx(2.0, abs=0.05)
    assert fractions == sorted(fractions)
    # by bytes read: half-way through the file it says about half, not 0.003 %
    assert 0.3 < fractions[len(fractions) // 2] < 0.8


@pytest.mark.parametrize("stated", [0, 0xFFFFFFFF])
def test_a_wav_written_to_a_pipe_is_whole(make, stated):
    path = make.write("a.wav", make.cut(1.0))
    data = bytearray(path.read_bytes())
    at = data.find(b"data")
    data[4:8] = data[at + 4 : at + 8] = stated.to_bytes(4, "little")
    sound, recording = heard(make.bytes("pipe.wav", bytes(data)))
    assert abs(len(sound) - 48000) <= 4
    assert not recording.truncated


def test_a_streamed_webm_without_length_is_counted(make):
    path = make.encode("a.webm", make.cut(2.0), "libopus", live="1")
    _, recording = heard(path)
    assert recording.duration_s == pytest.approx(2.0, abs=0.03)
    assert not recording.truncated


def test_an_amr_length_is_counted(make):
    path = make.encode("a.amr", make.cut(3.0, rate_hz=8000), "libopencore_amrnb", 8000)
    _, recording = heard(path)
    assert recording.duration_s == pytest.approx(3.0, abs=0.021)  # one frame of 20 ms


# --- trap 4: channels -----------------------------------------------------------------


def test_stereo_stays_stereo_and_ordered(make):
    left = make.cut(1.0)
    sound, recording = heard(make.encode("a.m4a", np.stack([left, 0.1 * left], 1), "aac"))
    assert recording.channels == 2
    power = np.mean(sound**2, axis=0)
    assert power[1] / power[0] == pytest.approx(0.01, rel=0.5)


# --- trap 7 and the rest of what is no recording --------------------------------------


def refused(path) -> str:
    with pytest.raises(RecordingError) as caught:
        heard(path)
    sentence = str(caught.value)
    assert "\n" not in sentence
    assert path.name in sentence
    assert re.search(r"(: |; |, or )[a-z]", sentence), "says what to do"
    assert sentence.endswith(".")
    return sentence


def test_a_film_without_sound(make):
    assert "film without sound" in refused(make.film("f.mp4"))


def test_an_empty_file(make):
    assert "0 bytes" in refused(make.bytes("a.m4a", b""))


def test_a_sound_file_without_samples(make):
    assert "0 samples" in refused(make.write("a.wav", np.zeros(0, np.float32)))


def test_text_named_wav(make):
    assert "is text" in refused(make.bytes("a.wav", b"Monday: slot 3, 57 rev/min\n" * 40))
    assert "is text" in refused(make.bytes("b.wav", "Fräser läuft, 57 U/min".encode("utf-16")))


def test_a_folder(make):
    assert "is a folder" in refused(make.folder)


def test_a_missing_file(make):
    assert "There is no file" in refused(make.folder / "nothing.m4a")
    path = make.bytes("a.wav", b"x")
    assert "There is no file" in refused(path / "inside.wav")


def test_a_file_that_may_not_be_read(make, monkeypatch):
    # root may read everything, so the refusal itself is made here
    path = make.write("a.wav", make.cut(0.1))

    def no(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("builtins.open", no)
    assert "may not be read" in refused(path)


def test_a_pipe_is_refused_without_waiting(make):
    import os

    path = make.folder / "pipe"
    os.mkfifo(path)
    answer: list[str] = []
    thread = threading.Thread(target=lambda: answer.append(refused(path)), daemon=True)
    thread.start()
    thread.join(5.0)
    assert answer
    assert "no ordinary file" in answer[0]


def test_zeros_left_by_an_unfinished_copy(make):
    assert "nothing but zeros" in refused(make.bytes("a.m4a", bytes(50_000)))


@pytest.mark.parametrize("name", ["a.raw", "a.pcm"])
def test_bare_samples(make, name):
    data = (3000 * make.cut(0.5)).astype("<i2").tobytes()
    assert "without a header" in refused(make.bytes(name, data))


@pytest.mark.parametrize("seed", range(20))
def test_random_bytes(make, seed):
    data = np.random.default_rng(seed).bytes(20_000)
    refused(make.bytes("a.m4a", b"\x00" + data))


# --- trap 8: damage inside ------------------------------------------------------------


@pytest.mark.parametrize("name", ["a.m4a", "a.webm", "a.mp3", "a.amr", "a.flac", "a.ogg", "a.wav"])
def test_damage_gives_sound_or_one_sentence(make, name):
    """Seeded damage: never another exception, never unbounded sound."""
    encoder = {
        "a.m4a": "aac",
        "a.webm": "libopus",
        "a.mp3": "libmp3lame",
        "a.amr": "libopencore_amrnb",
        "a.flac": "flac",
        "a.ogg": "libopus",
        "a.wav": "pcm_s16le",
    }[name]
    rate_hz = 8000 if name == "a.amr" else 48000
    whole = make.encode(name, make.cut(2.5, rate_hz=rate_hz), encoder, rate_hz).read_bytes()
    rng = np.random.default_rng(20)
    outcomes = set()
    for _ in range(25):
        data = np.frombuffer(whole, np.uint8).copy()
        if rng.random() < 0.5:  # anywhere
            data[rng.integers(0, len(data), 6)] = rng.integers(0, 256, 6)
        else:  # in the header and tags
            data[rng.integers(0, min(700, len(data)), 8)] = rng.integers(0, 256, 8)
        try:
            heard(make.bytes(f"damaged_{name}", data.tobytes()))
            outcomes.add("sound")
        except RecordingError as error:
            assert "\n" not in str(error)
            outcomes.add("sentence")
    assert "sound" in outcomes


def test_tags_that_are_no_text_do_no_harm(make):
    path = make.encode("a.mp3", make.cut(0.5), "libmp3lame")
    tag = b"TIT2" + (6).to_bytes(4, "big") + b"\0\0" + b"\x03\xff\xfe\xc0\x80\xff"
    head = b"ID3\x04\0\0" + bytes([0, 0, 0, len(tag)])
    data = path.read_bytes()
    sound, _ = heard(make.bytes("tags.mp3", head + tag + data))
    assert len(sound) >= 24000


# --- trap 9: playlists ----------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "ffconcat version 1.0\nfile 'secret.wav'\n",
        "#EXTM3U\n#EXTINF:1,\nsecret.wav\n",
        "#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\nsecret.wav\n#EXT-X-ENDLIST\n",
    ],
)
def test_a_playlist_opens_no_other_file(make, text):
    make.write("secret.wav", make.cut(0.5))
    assert "is text" in refused(make.bytes("list.m4a", text.encode()))


def test_a_playlist_is_refused_by_the_decoder_itself_too(make):
    """Should a playlist pass the first look, the list of allowed formats stops it."""
    from chatter.sound.sniff import Look

    make.write("secret.wav", make.cut(0.5))
    path = make.bytes("list.m4a", b"ffconcat version 1.0\nfile 'secret.wav'\n")
    with pytest.raises(RecordingError):
        pyav_reader.PyavReader(Look(path, path.stat().st_size, "other"))


def test_a_name_that_looks_like_an_address_is_a_file(make):
    path = make.encode("a.m4a", make.cut(0.5), "aac")
    odd = path.rename(path.with_name("concat:http:a b#?.m4a"))
    assert heard(odd)[1].duration_s == pytest.approx(0.5, abs=0.05)


def test_a_damaged_mp3_prints_nothing(make, capfd):
    """Found by damaging files: whatever is not known by its first bytes was given to a decoder
    that looks for mp3 in it, and says on the terminal what it thinks of it."""
    whole = make.encode("a.mp3", make.cut(2.0), "libmp3lame").read_bytes()
    rng = np.random.default_rng(10)
    for turn in range(12):
        harmed = bytearray(whole)
        for at in rng.integers(64, len(whole), 30):
            harmed[at] = rng.integers(256)
        if turn % 2:
            harmed[:4] = bytes(rng.integers(0, 250, 4, np.uint8))
        path = make.bytes("a.mp3", bytes(harmed))
        try:
            with Recording(path) as recording:
                list(recording.blocks())
        except RecordingError:
            pass
    said = capfd.readouterr()
    assert said.out == "" and said.err == ""


@pytest.mark.parametrize("kind", ["AU", "NIST", "VOC", "PVF", "IRCAM", "W64", "RF64", "PAF"])
def test_older_formats_of_plain_samples_are_heard(make, kind):
    path = make.write("a.bin", make.cut(0.5), format=kind, subtype="PCM_16")
    with Recording(path) as recording:
        assert sum(map(len, recording.blocks())) == 24000
