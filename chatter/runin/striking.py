"""Strikes of pitted bearings in the envelope of the hiss."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.job.machine import Bearing, Machine
from chatter.runin.idle import MeanSpectrum
from chatter.runin.items import FollowedItem, Value
from chatter.runin.orders import fault_order
from chatter.sound.spectrum import db

#: Chance that noise alone is taken for strikes.
_HEARD = 1e-3
_HARMONICS = (1, 2, 3)
_MASKED_MULTIPLES = 12
#: Belts and eccentric gears swell with the first few multiples of their shaft.
_SHAFT_MULTIPLES = 3
#: A comb is looked for whose multiple up to this one would be what was found.
_COMB_MULTIPLES = 12
#: It is one when lines stand at this share of the places between, at three of them at least.
_COMB_SHARE, _COMB_FEWEST = 0.5, 3
#: Its teeth lie this many bins apart, or it hides everything.
_COMB_APART = 8.0
#: Strikes this loud have copies beside their harmonics that could be taken for others.
_WITH_COPIES_DB = 8.0
#: A window hidden to more than this share is not looked into.
_HIDDEN = 0.7
#: An item is left out when a louder one hides more than the rest of what the shafts leave.
_STILL_OPEN = 0.75
#: Of families this near in level the one with the lowest order is taken first.
_AS_LOUD_DB = 3.0


@dataclass(frozen=True)
class _StrikePlace:
    """Strikes at the place where an envelope holds most of them."""

    value: Value
    order: float
    harmonics: int  # how many of them could be looked for
    open: float  # share of their windows that is not hidden


def all_strikes(
    envelope: MeanSpectrum, spindle_hz: float, machine: Machine, items: Sequence[FollowedItem]
) -> tuple[dict[str, Value], frozenset[str], frozenset[str]]:
    """Strikes of every part of every bearing: mean level of three harmonics, dB re floor.

    Multiples of the shafts' own turning are masked: belts and eccentric gears swell there.
    So are, the loudest first, the harmonics of a pit that is heard, with their copies one
    turn of its shaft or cage beside them, where the others are looked for: one bad bearing
    must not make all of them look bad.  What lies on any other comb that is heard, a motor's or
    that of its own shaft, cannot be told from it.

    Returns
    -------
    values : dict of str to Value
        What cannot be looked for is left out.
    hidden : frozenset of str
        Items that could be looked for, were it not for something louder.
    combed : frozenset of str
        Those of them that lie on a comb of something else.
    """
    step = envelope.step_hz
    known = {one.name: one for one in machine.bearings}
    turning = np.zeros(envelope.power.size, bool)
    for ratio in {1.0, *(b.ratio for b in known.values()), *(g.ratio for g in machine.gears)}:
        _mask(turning, step, ratio * spindle_hz, multiples=_SHAFT_MULTIPLES)
    waiting = [item for item in items if item.strikes]
    usual = {i.key: _strikes(envelope, spindle_hz, i, turning) for i in waiting}
    masked = turning.copy()
    values: dict[str, Value] = {}
    combed: set[str] = set()
    while waiting:
        places = {
            i.key: one
            for i in waiting
            if (one := _strikes(envelope, spindle_hz, i, masked)) is not None
            and _whole(one, usual[i.key])
        }
        waiting = [i for i in waiting if i.key in places]
        blind = [i for i in items if i.strikes and usual[i.key] is None]
        heard = [i for i in waiting if places[i.key].value.heard]
        # A harmonic of something that cannot be looked for is not blamed.
        blamed = {
            i.key for i in heard if _above(envelope, places[i.key].order * spindle_hz, i, blind)
        }
        for i in heard:
            base_hz = _comb_below(envelope, places[i.key].order * spindle_hz)
            if i.key not in blamed and base_hz is not None:
                combed.add(i.key)
                blamed.add(i.key)
                top = int(envelope.power.size * step / base_hz)
                _mask(masked, step, base_hz, multiples=top)
        waiting = [i for i in waiting if i.key not in blamed]
        heard = [i for i in heard if i.key not in blamed]
        if blamed and not heard:
            continue
        if not heard:
            values |= {i.key: places[i.key].value for i in waiting}
            break
        most = max(places[i.key].value.value_db for i in heard)
        near = [i for i in heard if places[i.key].value.value_db > most - _AS_LOUD_DB]
        loudest = min(near, key=lambda i: i.at)  # the others may be its harmonics
        own = places[loudest.key]
        values[loudest.key] = own.value
        waiting.remove(loudest)
        loud = own.value.value_db >= _WITH_COPIES_DB
        for beside in _copies(loudest, known) if loud else {0.0}:
            _mask(masked, step, own.order * spindle_hz, beside=beside * spindle_hz, wide=6e-3)
    hidden = {key for key, one in usual.items() if one is not None and key not in values}
    return values, frozenset(hidden), frozenset(combed)


def _comb_below(envelope: MeanSpectrum, at_hz: float) -> float | None:
    """The comb [Hz] of which what was found is a multiple; None when there is none.

    Lines then stand at most of the places between its harmonics, where strikes have none.
    """
    ratio = envelope.power / envelope.floor
    for k in range(2, _COMB_MULTIPLES + 1):
        base = at_hz / k
        if base < _COMB_APART * envelope.step_hz:
            break
        between = np.array([m for m in range(1, 3 * k) if m % k])
        place = np.round(between * base / envelope.step_hz).astype(int)
        place = place[(place > 2) & (place < ratio.size - 2)]
        limit = envelope.significant(_HEARD, bins=3 * _COMB_MULTIPLES**2)
        stand = np.maximum(np.maximum(ratio[place - 1], ratio[place]), ratio[place + 1]) > limit
        if stand.sum() >= max(_COMB_FEWEST, _COMB_SHARE * place.size):
            return base
    return None


def _above(
    envelope: MeanSpectrum, at_hz: float, item: FollowedItem, blind: Sequence[FollowedItem]
) -> bool:
    """What was found is twice or three times something that cannot be looked for.

    Another item's orders lie there, and lines stand between the harmonics found, where only
    the harmonics of the lower one would be.
    """
    limit = envelope.significant(_HEARD, bins=9)
    for k in (2, 3):
        if not any(k * o.low <= item.high and item.low <= k * o.high for o in blind):
            continue
        for multiple in range(k + 1, 3 * k):
            place = round(multiple * at_hz / k / envelope.step_hz)
            if multiple % k == 0 or place >= envelope.power.size - 2:
                continue
            near = slice(place - 1, place + 2)
            if float((envelope.power[near] / envelope.floor[near]).max()) > limit:
                return True
    return False


def _whole(place: _StrikePlace, usual: _StrikePlace | None) -> bool:
    """Hardly more is hidden than the shafts hide anyway."""
    if usual is None or place.harmonics != usual.harmonics:
        return False
    return place.open >= _STILL_OPEN * usual.open


def _copies(item: FollowedItem, known: dict[str, Bearing]) -> set[float]:
    """How far beside the harmonics their copies lie, in turns of the spindle."""
    beside = {0.0}
    for name in item.part.partition(":")[2].split(" or "):
        cage = fault_order(known[name], "cage")
        for apart in (known[name].ratio, 2.0 * known[name].ratio, cage, 2.0 * cage):
            beside |= {apart, -apart}
    return beside


def _mask(
    masked: np.ndarray,
    step_hz: float,
    base_hz: float,
    *,
    beside: float = 0.0,
    wide: float = 0.0,
    multiples: int = _MASKED_MULTIPLES,
) -> None:
    """Mask the first multiples of a frequency, or the places ``beside`` them.

    ``wide`` is the relative width: strikes come a little early or late.
    """
    for k in range(1, multiples + 1):
        f = k * base_hz + beside
        reach = 1.6 * step_hz + wide * f
        first, last = int(np.ceil((f - reach) / step_hz)), int(np.floor((f + reach) / step_hz))
        masked[max(0, first) : max(0, first, last + 1)] = True


def _strikes(
    envelope: MeanSpectrum, spindle_hz: float, item: FollowedItem, masked: np.ndarray
) -> _StrikePlace | None:
    """Strikes of one item at the one slip where its harmonics are strongest together."""
    step = envelope.step_hz
    orders = np.arange(item.low, item.high, 1e-3 * item.at)
    ratio = np.where(masked, np.nan, envelope.power / envelope.floor)
    rows, bins, opened = [], 0, []
    for h in _HARMONICS:
        at = h * orders * spindle_hz / step
        if at[-1] >= ratio.size - 2 or at[0] < 3.0:
            break
        place = np.round(at).astype(int)
        window = ratio[place[0] - 1 : place[-1] + 2]
        if np.isnan(window).mean() > _HIDDEN:
            if h == 1:
                return None
            continue  # mostly hidden: what is left would be another thing each time
        rows.append(np.fmax(np.fmax(ratio[place - 1], ratio[place]), ratio[place + 1]))
        bins = bins or window.size
        opened.append(1.0 - float(np.isnan(window).mean()))
    if not rows:
        return None
    each = np.array(rows)
    seen = np.isfinite(each)
    # The mean of levels, not of powers: one line of somebody else's is no family.  At a slip
    # where a shaft hides one harmonic the others tell.
    levels = np.where(seen, np.asarray(db(np.maximum(np.nan_to_num(each, nan=1.0), 1.0))), 0.0)
    count = seen.sum(axis=0)
    mean = np.where(count >= max(1, len(rows) - 1), levels.sum(axis=0) / np.maximum(count, 1), -1.0)
    best = int(np.argmax(mean))
    if mean[best] < 0.0:
        return None
    limit = envelope.significant(_HEARD, bins=max(1, bins))
    lowest = int(np.argmax(seen[:, best]))  # the fundamental, or the next that can be seen
    value = Value(float(mean[best]), float(each[lowest, best]) > limit)
    return _StrikePlace(value, float(orders[best]), len(rows), float(np.mean(opened)))
