"""Quantities for people, in inch or metric, always with their unit.

``system`` is ``"inch"`` or ``"metric"`` everywhere.
"""

from __future__ import annotations

import math
from fractions import Fraction

from chatter.job.units import UNITS

SYSTEMS = ("metric", "inch")

_UNITS = {
    "length": {"metric": "mm", "inch": "in"},
    "feed": {"metric": "mm/min", "inch": "in/min"},
    "chip load": {"metric": "mm/tooth", "inch": "in/tooth"},
    "cutting speed": {"metric": "m/min", "inch": "ft/min"},
    "spindle speed": {"metric": "rev/min", "inch": "rev/min"},
    "power": {"metric": "kW", "inch": "hp"},
    "pitch": {"metric": "mm", "inch": "in"},
    "angle": {"metric": "deg", "inch": "deg"},
    "frequency": {"metric": "Hz", "inch": "Hz"},
}


def show(value: float, kind: str, system: str = "metric", digits: int = 3) -> str:
    """A quantity with its unit, rounded to ``digits`` significant digits.

    Parameters
    ----------
    value : float
        In SI units (spindle speed: rev/min).
    kind : str
        A key of ``units.UNITS``.
    system : str
        "inch" or "metric".
    digits : int
        Significant digits; digits before the decimal point are never dropped.

    Returns
    -------
    str
        For example "6 in", "0.0787 mm/tooth"; ``units.parse`` reads it back.
    """
    unit = unit_of(kind, system)
    return f"{_number(in_units(value, kind, system), digits)} {unit}"


def unit_of(kind: str, system: str = "metric") -> str:
    """The unit in which a kind of quantity is shown."""
    return _UNITS[kind][system]


def in_units(value: float, kind: str, system: str = "metric") -> float:
    """The bare number that belongs with ``unit_of(kind, system)``, for table columns."""
    return float(Fraction(value) / UNITS[kind][unit_of(kind, system).lower()])


def _number(value: float, digits: int) -> str:
    """Plain decimal notation with the given significant digits, no trailing zeros."""
    if value == 0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def show_length(value_m: float, system: str = "metric", digits: int = 4) -> str:
    """Length [m] as "152.4 mm" or "6 in"."""
    return show(value_m, "length", system, digits)


def show_feed(value_m_s: float, system: str = "metric") -> str:
    """Table feed [m/s] as "254 mm/min", "10 in/min", or "1 3/4 in/min" as on a gear plate."""
    if system == "inch":
        sixteenths = in_units(value_m_s, "feed", system) * 16
        whole, rest = divmod(round(sixteenths), 16)
        if rest and abs(sixteenths - round(sixteenths)) < 1e-6 * sixteenths:
            part = Fraction(rest, 16)
            return f"{f'{whole} ' if whole else ''}{part.numerator}/{part.denominator} in/min"
    return show(value_m_s, "feed", system)


def show_chip_load(value_m: float, system: str = "metric") -> str:
    """Feed per tooth [m] as "0.05 mm/tooth" or "0.00197 in/tooth"."""
    return show(value_m, "chip load", system)


def show_cutting_speed(value_m_s: float, system: str = "metric") -> str:
    """Cutting speed [m/s] as "30 m/min" or "98.4 ft/min"."""
    return show(value_m_s, "cutting speed", system)


def show_spindle_speed(value_rev_min: float, digits: int = 4) -> str:
    """Spindle speed as "57 rev/min"."""
    return show(value_rev_min, "spindle speed", "metric", digits)


def show_power(value_w: float, system: str = "metric") -> str:
    """Power [W] as "1.5 kW" or "2.01 hp"."""
    return show(value_w, "power", system)


def show_frequency(value_hz: float, digits: int = 4) -> str:
    """Frequency as "45.6 Hz"."""
    return show(value_hz, "frequency", "metric", digits)


def exact(value: float, kind: str) -> str:
    """The shortest text that ``units.parse`` reads back to the very same float, for cards.

    Values stated in inches come back in inches, millimetres in millimetres.
    """
    table = UNITS[kind]
    choices = []
    for unit in dict.fromkeys((*_UNITS[kind].values(), _SI[kind])):
        factor = table[unit.lower()]
        for digits in (6, 17):
            number = f"{float(Fraction(value) / factor):.{digits}g}"
            if float(Fraction(number) * factor) == value:
                choices.append(f"{number} {unit}")
                break
    return min(choices, key=len)


_SI = {
    "length": "m",
    "feed": "m/s",
    "chip load": "m/tooth",
    "cutting speed": "m/s",
    "spindle speed": "rev/min",
    "power": "W",
    "pitch": "m",
    "angle": "rad",
    "frequency": "Hz",
}
