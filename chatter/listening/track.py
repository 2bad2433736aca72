"""A mono track that can be read anywhere."""

from __future__ import annotations

from dataclasses import dataclass

from chatter.listening.spans import Span
from chatter.sound.spectrum import Reader
from chatter.sound.spool import Spool


@dataclass(frozen=True)
class Track:
    """``n`` samples at ``rate_hz``; ``read(a, b)`` yields samples [a, b)."""

    read: Reader
    n: int
    rate_hz: int

    @classmethod
    def of(cls, spool: Spool) -> Track:
        """The track that a spool holds; to be read while the spool is open."""
        return cls(spool.read, spool.n, spool.rate_hz)

    def samples(self, span: Span) -> tuple[int, int]:
        """First sample of a span and the one after its last."""
        return int(span.start_s * self.rate_hz), int(span.end_s * self.rate_hz)
