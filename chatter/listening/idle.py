"""The machine idling: what its own voice is made of, before or between the passes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.listening.passes import Span
from chatter.sound.spectrum import Reader


@dataclass(frozen=True)
class Idle:
    """Where the machine can be heard idling.

    Attributes
    ----------
    read : callable
        Reads mono samples; of the recording itself or of a separate idle recording.
    rate_hz : int
    spans : tuple of Span
        Longest first.
    """

    read: Reader
    rate_hz: int
    spans: tuple[Span, ...]

    def mean_spectrum(self, n: int) -> np.ndarray | None:
        """Mean power spectrum with frames of ``n`` samples, None when too short.

        Shape (n // 2 + 1,), same scaling as ``power_frames``.
        """
        from chatter.sound.spectrum import power_frames

        total, frames = np.zeros(n // 2 + 1), 0
        for span in self.spans:
            start, stop = int(span.start_s * self.rate_hz), int(span.end_s * self.rate_hz)
            hop = max(n // 2, (stop - start) // 120)
            for _, block in power_frames(self.read, start, stop, n=n, hop=hop):
                total += block.sum(axis=0)
                frames += block.shape[0]
            if frames >= 200:
                break
        return total / frames if frames else None
