"""Is the recording fit to judge a cut by, and if not, how to record better?"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from chatter.findings import Complaint, Fitness
from chatter.sound.band import usable_band
from chatter.sound.clipping import clipped_frames, clipping_depth_db
from chatter.sound.pumping import gain_swing_db, gated_share

if TYPE_CHECKING:
    from chatter.sound.intake import Sound
    from chatter.sound.stats import SoundStats

#: Fewer revolutions than this say nothing of lines locked to the revolution.
LEAST_REVOLUTIONS = 8.0

_SILENT_DBFS = -80.0
_FAINT_DBFS = -55.0
_CLIPPED_SHARE = 0.01
#: Heavy clipping of most of the recording leaves no level and no waveform to judge.
_HOPELESSLY_CLIPPED_SHARE = 0.5
_HOPELESS_DEPTH_DB = -2.2
_NARROW_HZ = 6000.0
_NO_BASS_HZ = 250.0
_REPLACED_SHARE = 1e-4
_HOPELESSLY_REPLACED_SHARE = 0.2
_GATED_SHARE = 0.01


def judge_fitness(sound: Sound) -> Fitness:
    """Judge a recording before the cut in it is judged.

    Parameters
    ----------
    sound : Sound
        As taken in.

    Returns
    -------
    Fitness
        ``fit`` is False only when a complaint is fatal.
    """
    heard = sound.heard
    frames = clipped_frames(heard)
    clipped = float(np.mean(frames))
    swing_db = gain_swing_db(heard)
    low_hz, high_hz = usable_band(heard)
    loud_dbfs = _dbfs(float(np.percentile(heard.power, 95.0)) - heard.offset**2)
    checks = [
        _level(loud_dbfs),
        _clipping(clipped, clipping_depth_db(heard, frames)),
        _gain_pumping(swing_db),
        _gating(gated_share(heard)),
        _band(low_hz, high_hz, loud_dbfs),
        _bass(low_hz, loud_dbfs),
        _damage(heard),
        _truncation(sound),
    ]
    complaints = tuple(c for c in checks if c is not None)
    return Fitness(
        fit=not any(c.fatal for c in complaints),
        level_dbfs=round(_dbfs(float(np.mean(heard.power)) - heard.offset**2), 2),
        clipped_share=clipped,
        gain_pumping_db=swing_db,
        band_low_hz=low_hz,
        band_high_hz=high_hz,
        complaints=complaints,
    )


def with_further(fitness: Fitness, further: tuple[Complaint, ...]) -> Fitness:
    """The same with complaints found elsewhere (see :func:`length_complaint`) put in front."""
    fit = fitness.fit and not any(one.fatal for one in further)
    return replace(fitness, fit=fit, complaints=(*further, *fitness.complaints))


def length_complaint(
    cutting_s: float, rev_min: float, *, least_revolutions: float = LEAST_REVOLUTIONS
) -> Complaint | None:
    """Say when there are too few revolutions of cutting.

    Parameters
    ----------
    cutting_s : float [s]
        Time the cutter was in the work.
    rev_min : float [rev/min]
        Spindle speed.
    least_revolutions : float

    Returns
    -------
    Complaint or None
        Fatal below half of what is needed.
    """
    revolutions = cutting_s * rev_min / 60.0
    if revolutions >= least_revolutions:
        return None
    missing_s = (least_revolutions - revolutions) * 60.0 / rev_min
    more = f"{missing_s:.0f}" if missing_s >= 10.0 else f"{missing_s:.1f}"
    return Complaint(
        name="length",
        value=revolutions,
        unit="revolutions",
        sentence=(
            f"The cut lasts {cutting_s:.1f} s, {revolutions:.1f} revolutions at {rev_min:.4g} "
            f"rev/min; it needs at least {least_revolutions:g} revolutions, {more} more seconds."
        ),
        advice=(
            f"Record at least {least_revolutions * 60.0 / rev_min:.1f} s of unbroken cutting, "
            "better three times as much."
        ),
        fatal=revolutions < 0.5 * least_revolutions,
    )


def _dbfs(power: float) -> float:
    return 10.0 * float(np.log10(max(power, 1e-15)))


def _level(loud_dbfs: float) -> Complaint | None:
    if loud_dbfs >= _FAINT_DBFS:
        return None
    silent = loud_dbfs < _SILENT_DBFS
    what = "holds next to nothing" if silent else "is very faint"
    return Complaint(
        name="level",
        value=loud_dbfs,
        unit="dBFS",
        sentence=(
            f"The recording {what}: even its louder parts are {-loud_dbfs:.0f} dB below full scale."
        ),
        advice=(
            "Put the phone within half a metre to a metre of the cut, uncover its microphone, "
            "and check that the recorder is allowed to use it."
        ),
        fatal=silent,
    )


def _clipping(share: float, depth_db: float) -> Complaint | None:
    if share < _CLIPPED_SHARE:
        return None
    fatal = share > _HOPELESSLY_CLIPPED_SHARE and depth_db > _HOPELESS_DEPTH_DB
    end = (
        "so heavily that the cut cannot be judged"
        if fatal
        else "which makes lines of its own at multiples of the tooth frequency"
    )
    return Complaint(
        name="clipping",
        value=share,
        unit="share",
        sentence=f"The sound is clipped in {100.0 * share:.0f} % of the recording, {end}.",
        advice=(
            "Move the phone two or three times as far away, or turn the recording level down, "
            "until the level meter stays off its end stop."
        ),
        fatal=fatal,
    )


def _gain_pumping(swing_db: float) -> Complaint | None:
    if swing_db <= 0.0:
        return None
    return Complaint(
        name="gain_pumping",
        value=swing_db,
        unit="dB",
        sentence=(
            f"The recorder's automatic gain moved by about {swing_db:.0f} dB: the background "
            "creeps up after each loud stretch, so loud and soft cannot be compared."
        ),
        advice=(
            "Switch off automatic gain and noise suppression (use a plain recorder program, not "
            "a call or a voice note)."
        ),
        fatal=False,
    )


def _gating(share: float) -> Complaint | None:
    if share < _GATED_SHARE:
        return None
    return Complaint(
        name="gating",
        value=share,
        unit="share",
        sentence=(
            f"The recorder cut {100.0 * share:.0f} % of the sound to dead silence between louder "
            "parts (a noise gate)."
        ),
        advice="Switch off noise suppression and voice activation in the recorder.",
        fatal=False,
    )


def _band(low_hz: float, high_hz: float, loud_dbfs: float) -> Complaint | None:
    if high_hz >= _NARROW_HZ or loud_dbfs < _SILENT_DBFS:
        return None
    return Complaint(
        name="band_limit",
        value=high_hz,
        unit="Hz",
        sentence=(
            f"Only {low_hz:.0f} to {high_hz:.0f} Hz reached the file; rubbing and squeal, from "
            "about 1,000 to 8,000 Hz, can be judged in part only."
        ),
        advice=(
            "Record with a music or plain recorder setting (48 kHz, AAC, FLAC or WAV), not as a "
            "voice note or telephone call."
        ),
        fatal=False,
    )


def _bass(low_hz: float, loud_dbfs: float) -> Complaint | None:
    if low_hz <= _NO_BASS_HZ or loud_dbfs < _SILENT_DBFS:
        return None
    return Complaint(
        name="low_cut",
        value=low_hz,
        unit="Hz",
        sentence=(
            f"Next to nothing below {low_hz:.0f} Hz reached the file, so the lower multiples of "
            "the tooth frequency are missing."
        ),
        advice="Switch off the low-cut or wind filter of the recorder.",
        fatal=False,
    )


def _damage(heard: SoundStats) -> Complaint | None:
    share = heard.replaced / max(1, heard.n * heard.channels)
    if share < _REPLACED_SHARE and not heard.lost_packets:
        return None
    parts = []
    if heard.replaced:
        parts.append(f"{heard.replaced} samples ({100.0 * share:.2g} %) were no sound at all")
    if heard.lost_packets:
        parts.append(f"{heard.lost_packets} packets could not be decoded")
    return Complaint(
        name="damage",
        value=share,
        unit="share",
        sentence=f"The file is damaged: {' and '.join(parts)}; they were left out.",
        advice="Copy the file from the phone again, or record in another format (AAC, WAV).",
        fatal=share > _HOPELESSLY_REPLACED_SHARE,
    )


def _truncation(sound: Sound) -> Complaint | None:
    if not sound.source.truncated:
        return None
    return Complaint(
        name="truncated",
        value=sound.source.duration_s,
        unit="s",
        sentence=(
            f"The file breaks off; the {sound.source.duration_s:.1f} s before the break were kept."
        ),
        advice="Copy the file from the phone again and let the copy finish.",
        fatal=False,
    )
