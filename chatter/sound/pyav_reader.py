"""Blocks out of everything else a phone makes: AAC, AMR, Opus in WebM, ALAC, mp3 ..."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from chatter.errors import RecordingError

if TYPE_CHECKING:
    import av
    import numpy as np

    from chatter.sound.sniff import Look

#: Only containers that hold sound themselves: FFmpeg would otherwise follow a playlist
#: disguised as a recording to other files.
_OPTIONS = {
    "format_whitelist": (
        "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,ogg,mp3,aac,amr,amrnb,amrwb,wav,flac,caf,aiff"
    ),
    "protocol_whitelist": "file",
}
#: So many packets in a row that decode to nothing mean there is nothing to hear.
_MOST_LOST_IN_A_ROW = 200
_SCALE = {"u8": 128.0, "s16": 32768.0, "s32": 2147483648.0, "s64": 2.0**63}
_CONTAINERS = {"mov,mp4,m4a,3gp,3g2,mj2": "mp4", "matroska,webm": "matroska", "aac": "adts"}
_LOSSLESS = ("pcm_", "alac", "flac", "wavpack")


def open_container(look: Look) -> av.container.InputContainer:
    """Open a file with PyAV, guarded against playlists and odd tags.

    Parameters
    ----------
    look : Look
        The file.

    Returns
    -------
    av.container.InputContainer

    Raises
    ------
    RecordingError
        No container in the list can be made out.
    """
    import av

    av.logging.set_level(None)
    try:
        return av.open(f"file:{look.path.absolute()}", metadata_errors="replace", options=_OPTIONS)
    except _decoder_errors():
        raise RecordingError(_unreadable(look)) from None


def _decoder_errors() -> tuple[type[Exception], ...]:
    """What FFmpeg's decoders were seen to raise on damaged files, beside their own errors."""
    import av

    return (
        av.error.FFmpegError,
        OSError,
        EOFError,
        ValueError,  # UnicodeDecodeError in tags
        LookupError,  # DecoderNotFoundError
        RuntimeError,  # NotImplementedError ("patch welcome")
    )


def _unreadable(look: Look) -> str:
    name = look.path.name
    if look.kind == "mp4":
        return (
            f"{name} cannot be heard: its index is missing or damaged, as when an upload broke "
            "off or the recorder was stopped by force; copy it from the phone again."
        )
    return (
        f"{name} is no sound file this program knows, or it is damaged: copy it again, or save "
        "it as m4a, mp3, ogg, flac or wav."
    )


class PyavReader:
    """A file opened by PyAV."""

    def __init__(self, look: Look) -> None:
        self._look = look
        self.broke_off = False
        self.lost_packets = 0
        self._position = 0
        self._packets = 0
        self._container = open_container(look)
        try:
            self._stream = self._choose_stream()
            self._frames = self._decoded()
            first = next(self._frames, None)
        except _decoder_errors():
            self.close()
            raise RecordingError(_unreadable(look)) from None
        except RecordingError:
            self.close()
            raise
        if first is None:
            self.close()
            raise RecordingError(
                f"{look.path.name} holds no sound that can be decoded: copy it from the phone "
                "again."
            )
        name = self._container.format.name
        self.container = _CONTAINERS.get(name, name)
        self.codec = self._stream.codec_context.name.removesuffix("float")  # "mp3float"
        # The first frame is believed, not the header (HE-AAC states half its rate).
        self._first = first
        self.rate_hz = int(first.sample_rate)
        self.channels = len(first.layout.channels)
        self.lossy = not self.codec.startswith(_LOSSLESS)

    def _choose_stream(self) -> av.AudioStream:
        """The first audio stream that has a decoder (a film may have one that has none)."""
        streams = self._container.streams.audio
        if not streams:
            what = "a film without sound" if self._container.streams.video else "without sound"
            raise RecordingError(
                f"{self._look.path.name} is {what}: record again with the microphone switched on."
            )
        for stream in streams:
            if stream.codec_context is not None:
                return stream
        raise RecordingError(
            f"{self._look.path.name} holds sound in a coding this program does not know: "
            "save it as m4a, mp3, ogg, flac or wav."
        )

    def _decoded(self) -> Iterator[av.AudioFrame]:
        """Yield decoded frames; note what broke instead of raising."""
        errors = _decoder_errors()
        in_a_row = 0
        packets = self._container.demux(self._stream)
        while True:
            try:
                packet = next(packets, None)
            except errors:
                self.broke_off = True
                break
            if packet is None:
                break
            if packet.size:
                self._packets += 1
                self._position = packet.pos or self._position
            try:
                frames = packet.decode()
            except errors:
                self.lost_packets += 1
                in_a_row += 1
                if in_a_row >= _MOST_LOST_IN_A_ROW:
                    break
                continue
            if packet.size:
                in_a_row = 0
            yield from frames
        # An mp4 index counts its packets (0 when there is no index); others count otherwise.
        counted = self._stream.frames if self._look.kind == "mp4" else 0
        if in_a_row or self._packets < counted:
            self.broke_off = True

    def blocks(self, size: int) -> Iterator[np.ndarray]:
        """Yield float32 blocks of ``size`` frames, the last one shorter.

        Parameters
        ----------
        size : int
            Frames in a block.

        Yields
        ------
        ndarray, shape (n, channels), float32
        """
        import av

        fifo = av.AudioFifo()
        first = self._first
        kind = (first.format.name, first.sample_rate, first.layout.name)
        frame: av.AudioFrame | None = first
        while frame is not None:
            if (frame.format.name, frame.sample_rate, frame.layout.name) == kind:
                frame.pts = None
                fifo.write(frame)
                while fifo.samples >= size and (full := fifo.read(size)) is not None:
                    yield self._floats(full)
            else:
                self.lost_packets += 1  # damage: a recorder does not change rate half-way
            frame = next(self._frames, None)
        if fifo.samples and (rest := fifo.read()) is not None:
            yield self._floats(rest)

    def _floats(self, frame: av.AudioFrame) -> np.ndarray:
        data = frame.to_ndarray()
        kind = frame.format.name.removesuffix("p")
        data = data.T if frame.format.is_planar else data.reshape(-1, self.channels)
        if kind == "flt":
            return data
        offset = 128.0 if kind == "u8" else 0.0
        scale = _SCALE.get(kind, 1.0)
        return ((data.astype("float64") - offset) / scale).astype("float32")

    def fraction(self) -> float:
        """Share of the file that has been read, 0..1, by position and not by stated length."""
        return min(1.0, self._position / self._look.size_bytes)

    def close(self) -> None:
        """Close the file."""
        self._container.close()
