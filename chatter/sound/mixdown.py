"""Several channels to one, without letting them cancel.

The mean of the channels is the natural choice, but some recorders store their two
channels in opposite phase, and then the mean is silence.  Which case it is is decided once,
on the first seconds that hold sound, and kept: changing over in the middle of a recording
would itself be an event.
"""

from __future__ import annotations

import numpy as np

#: The mean is given up when it is this much weaker than the loudest channel.  Two equal
#: channels that share nothing lose 3 dB, one silent channel of two 6 dB.
_CANCELS = 10.0 ** (-9.0 / 10.0)
#: Sound above this power (-70 dBFS) counts towards the decision.
_HEARD_POWER = 1e-7
#: Samples, of all channels, that are held back at most for the decision.
_MOST_HELD = 2_000_000


class Mixdown:
    """Turn blocks of several channels into mono blocks, holding back the first seconds."""

    def __init__(self, channels: int, rate_hz: int, *, decide_s: float = 10.0) -> None:
        """Start a mixdown.

        Parameters
        ----------
        channels : int
        rate_hz : int [Hz]
        decide_s : float [s]
            So much sound is held back and looked at before the choice is made.
        """
        self.channels = channels
        self.picked: int | None = None  # the channel used instead of the mean
        self._decided = channels == 1
        self._need = min(int(decide_s * rate_hz), _MOST_HELD // channels)
        self._held: list[np.ndarray] = []
        self._heard = 0
        self._silent = 0

    def feed(self, block: np.ndarray) -> np.ndarray:
        """Mix a block.

        Parameters
        ----------
        block : ndarray, shape (n, channels), float32

        Returns
        -------
        ndarray, shape (m,), float32
            Mono sound that is ready; empty while the choice is open.
        """
        if self._decided:
            return self._mix(block)
        loud = self._loud(block)
        if not loud and not self._held:
            return self._mix(block)  # silence decides nothing and need not wait
        self._held.append(block)
        if loud:
            self._heard += len(block)
        else:
            self._silent += len(block)
        if self._heard >= self._need or self._silent >= 3 * self._need:
            return self._decide()
        return np.empty(0, np.float32)

    def finish(self) -> np.ndarray:
        """What is still held back, at the end of the recording.

        Returns
        -------
        ndarray, shape (m,), float32
        """
        return np.empty(0, np.float32) if self._decided else self._decide()

    @staticmethod
    def _loud(block: np.ndarray) -> bool:
        return bool(np.max(np.einsum("ij,ij->j", block, block)) > _HEARD_POWER * len(block))

    def _decide(self) -> np.ndarray:
        power = np.zeros(self.channels)
        mixed = 0.0
        for block in self._held:
            power += np.einsum("ij,ij->j", block, block, dtype=np.float64)
            mean = self._mix(block)
            mixed += float(np.dot(mean, mean))
        if mixed < _CANCELS * power.max():
            self.picked = self._loudest(power)
        self._decided = True
        held, self._held = self._held, []
        return np.concatenate([self._mix(block) for block in held] or [np.empty(0, np.float32)])

    def _loudest(self, power: np.ndarray) -> int:
        """The loudest channel; of exact mirror images the one that starts upwards.

        Without the second rule, swapping left and right would turn the sound upside down.
        """
        best = int(np.argmax(power))
        rivals = np.flatnonzero(power >= power[best] * (1.0 - 1e-9))
        if len(rivals) > 1:
            for block in self._held:
                rows = np.flatnonzero(np.any(block[:, rivals] != 0.0, axis=1))
                if len(rows):
                    best = int(rivals[np.argmax(block[rows[0], rivals])])
                    break
        return best

    def _mix(self, block: np.ndarray) -> np.ndarray:
        if self.channels == 1:
            return block[:, 0]
        if self.picked is not None:
            return block[:, self.picked]
        if self.channels == 2:
            return np.float32(0.5) * (block[:, 0] + block[:, 1])
        return np.sort(block, axis=1).mean(axis=1, dtype=np.float32)
