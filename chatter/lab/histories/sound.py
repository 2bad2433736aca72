"""One recording of a history: the aged machine, the room, the phone that stood there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from chatter.lab.histories.draw import History, Visit
from chatter.lab.histories.voice import machine_voice
from chatter.lab.simulate.phone import through_phone
from chatter.lab.simulate.radiation import convolve
from chatter.lab.simulate.room import room_response

RATE_HZ = 24_000
#: A phone put back by hand stands a centimetre elsewhere, and the shop is never quite the
#: same: the room's tail is new by this share, and the more so the shorter the waves.
_MOVED, _MOVED_PER_HZ, _MOST_MOVED = 0.1, 1.0 / 4000.0, 0.9


def simulate_recording(
    history: History, visit: Visit, speed: int, *, duration_s: float, take: int = 0
) -> np.ndarray:
    """The sound as the phone hands it to its encoder, float32 of shape (n,), at 24 kHz.

    Parameters
    ----------
    history, visit
    speed : int
        Index among the speeds on the card.
    duration_s : float
    take : int
        Another number, another chance.
    """
    index = history.visits.index(visit)
    rng = np.random.default_rng([history.seed, 7, index, speed, take])
    stated = history.machine.speeds_rev_min[speed]
    # The motor slips a little more on a cold day, and alike at every gear step.
    true_hz = stated / 60.0 * (1.0 + history.plate_error[speed]) * (1 + 8e-4 * rng.normal())
    dry = machine_voice(history.voice, visit.age, true_hz, duration_s, RATE_HZ, rng)
    wet = convolve(dry, _response(history, rng))
    phone = replace(visit.post.microphone, peak=float(rng.uniform(0.25, 0.7)))
    return through_phone(wet, RATE_HZ, phone, rng)


def _response(history: History, rng: np.random.Generator) -> np.ndarray:
    """The room from the usual place, and a little of it from beside that."""
    usual = room_response(history.room, RATE_HZ, np.random.default_rng([history.seed, 11]))
    beside = room_response(history.room, RATE_HZ, rng)
    n = min(len(usual), len(beside))
    usual[0] = beside[0] = 0.0  # the direct sound is put back below
    hz = np.fft.rfftfreq(2 * n, 1.0 / RATE_HZ)
    moved = np.minimum(_MOST_MOVED, _MOVED + hz * _MOVED_PER_HZ)
    mixed = np.sqrt(1.0 - moved**2) * np.fft.rfft(usual[:n], 2 * n)
    mixed += moved * np.fft.rfft(beside[:n], 2 * n)
    response = np.fft.irfft(mixed, 2 * n)
    response[0] += 1.0
    return response.astype(np.float32)
