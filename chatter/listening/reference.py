"""Sound to hold a pass against: the machine idling, or the other passes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from chatter.listening.spans import Span
from chatter.listening.track import Track
from chatter.sound.spectrum import power_frames

_FRAMES_A_SPAN = 120
_FRAMES = 200
_MOST_PASSES = 8


@dataclass(frozen=True)
class Reference:
    """Stretches of a track, longest first.

    ``same_take`` says whether the phone's gain is the same as in the pass: levels of
    another recording can only be compared after scaling (see ``like``).
    """

    track: Track
    spans: tuple[Span, ...]
    same_take: bool = True
    _known: dict[int, np.ndarray | None] = field(default_factory=dict, compare=False, repr=False)

    @property
    def longest_s(self) -> float:
        """Length of the longest stretch."""
        return max(s.length_s for s in self.spans)

    def mean_spectrum(self, n: int) -> np.ndarray | None:
        """Mean power spectrum with frames of ``n`` samples, None when all are too short.

        Shape (n // 2 + 1,), same scaling as ``power_frames``.  Every pass asks for the same
        few lengths, so each is read once.
        """
        if n not in self._known:
            self._known[n] = self._read(n)
        return self._known[n]

    def _read(self, n: int) -> np.ndarray | None:
        total, frames = np.zeros(n // 2 + 1), 0
        for span in self.spans:
            start, stop = self.track.samples(span)
            hop = max(n // 2, (stop - start) // _FRAMES_A_SPAN)
            for _, block in power_frames(self.track.read, start, stop, n=n, hop=hop):
                total += block.sum(axis=0)
                frames += block.shape[0]
            if frames >= _FRAMES:
                break
        return total / frames if frames else None

    def like(self, mean: np.ndarray, n: int) -> np.ndarray | None:
        """Mean spectrum on the bins of ``mean``; of another take, scaled so that the two
        noise floors agree, which leaves how far each line stands out of its own."""
        spectrum = self.mean_spectrum(n)
        if spectrum is None:
            return None
        spectrum = spectrum[: mean.size]
        if self.same_take:
            return spectrum
        heard = (mean[: spectrum.size] > 0) & (spectrum > 0)
        if not heard.any():
            return None
        return spectrum * float(np.median(mean[: spectrum.size][heard] / spectrum[heard]))


def idle_reference(
    track: Track, idle_track: Track | None, rest: tuple[Span, ...]
) -> Reference | None:
    """The machine idling: the stated idle recording, else what lies between the passes."""
    if idle_track is not None and idle_track.rate_hz == track.rate_hz:
        whole = Span(0.0, idle_track.n / idle_track.rate_hz)
        return Reference(idle_track, (whole,), same_take=False)
    # the borders of a pass still hold some of it
    inner = (Span(s.start_s + 0.15, s.end_s - 0.15) for s in rest)
    spans = tuple(sorted((s for s in inner if s.length_s > 0.25), key=lambda s: -s.length_s))
    return Reference(track, spans) if spans else None


@dataclass(frozen=True)
class References:
    """What the passes of a recording are held against: idling, and one another.

    Attributes
    ----------
    idle : Reference or None
    passes : dict
        Pass -> its middle; each on its own: in zig-zag cuts one direction may chatter and
        the other not.
    """

    idle: Reference | None
    passes: dict[Span, Reference]

    @classmethod
    def of(cls, track: Track, spans: tuple[Span, ...], idle: Reference | None) -> References:
        """References of a recording with these passes."""
        middles = {
            s: Span(s.start_s + 0.15 * s.length_s, s.end_s - 0.15 * s.length_s) for s in spans
        }
        return cls(idle, {s: Reference(track, (m,)) for s, m in middles.items()})

    def others(self, own: Span) -> tuple[Reference, ...]:
        """The passes nearest in time to one of them."""
        others = sorted(
            (s for s in self.passes if s != own), key=lambda s: abs(s.start_s - own.start_s)
        )
        return tuple(self.passes[s] for s in others[:_MOST_PASSES])


def quiet_pass_spectrum(others: tuple[Reference, ...], n: int) -> np.ndarray | None:
    """Lower quartile of the other passes' mean spectra, bin by bin; None without others."""
    spectra = [s for s in (one.mean_spectrum(n) for one in others) if s is not None]
    if not spectra:
        return None
    return np.quantile(np.stack(spectra), 0.25, axis=0)
