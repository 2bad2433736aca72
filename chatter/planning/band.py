"""A band saw: blade speed, teeth to the inch and tooth passing; it has no spindle to choose."""

from __future__ import annotations

import math
from itertools import pairwise

from chatter.job import show
from chatter.job.cutter import Cutter
from chatter.planning.setting import Wish
from chatter.trade.cutting_data import SpeedRow

#: Thickness of the work and teeth to the inch, [in] (a blade maker's chart for variable pitch,
#: as the mean of the two numbers of each pitch; Machinery's Handbook, 31st edition, p. 1245).
CHART = ((0.25, 12.0), (0.75, 8.0), (1.25, 6.5), (2.5, 5.0), (4.0, 3.5), (8.0, 2.5))
#: Teeth in the work at once: at least, and at most in soft metal (three works agree).
FEWEST, MOST = 3.0, 14.0
_INCH_M = 0.0254


def advised_pitch_m(thickness_m: float) -> float:
    """Distance from tooth to tooth [m] for a thickness of work; never fewer than 3 in it."""
    inches = thickness_m / _INCH_M
    if inches <= CHART[0][0]:
        return min(_INCH_M / CHART[0][1], thickness_m / FEWEST)
    for (x0, y0), (x1, y1) in pairwise(CHART):
        if inches <= x1:
            return _INCH_M / (y0 * (y1 / y0) ** (math.log(inches / x0) / math.log(x1 / x0)))
    return _INCH_M / CHART[-1][1]


def tooth_passing_hz(blade_speed_m_s: float, pitch_m: float) -> float:
    """Teeth passing a point each second: blade speed over tooth pitch [Hz]."""
    return blade_speed_m_s / pitch_m


def band_lines(cutter: Cutter, wish: Wish, speeds: SpeedRow | None, units: str) -> list[str]:
    """What is advised, without full stops."""
    lines = []
    if speeds is not None:
        low, start, high = (
            show.show_cutting_speed(v, units)
            for v in (speeds.low_m_s, speeds.start_m_s, speeds.high_m_s)
        )
        lines.append(f"Blade speed {low} to {high}, start at {start}; with cutting fluid")
        lines.append("Dry: a third slower")
    if wish.depth_m is not None:
        tpi = _INCH_M / advised_pitch_m(wish.depth_m)
        lines.append(
            f"Teeth: about {tpi:.0f} to the inch for {show.show_length(wish.depth_m, units, 3)} "
            f"thick; never fewer than {FEWEST:.0f} in the work"
        )
    speed = wish.blade_speed_m_s or (None if speeds is None else speeds.start_m_s)
    if speed is not None and cutter.pitch_m is not None:
        passing = show.show_frequency(tooth_passing_hz(speed, cutter.pitch_m), 3)
        at = show.show_cutting_speed(speed, units)
        lines.append(f"Tooth passing at {at}: {passing}")
    return lines


def band_problems(
    cutter: Cutter, wish: Wish, speeds: SpeedRow | None, units: str
) -> tuple[str, ...]:
    """What speaks against the blade or its speed as stated."""
    said = []
    speed, pitch_m, thick_m = wish.blade_speed_m_s, cutter.pitch_m, wish.depth_m
    if speeds is not None and speed is not None and speed > speeds.high_m_s * 1.001:
        said.append(
            f"{show.show_cutting_speed(speed, units)} is above the advised "
            f"{show.show_cutting_speed(speeds.high_m_s, units)}: the blade will dull fast."
        )
    if pitch_m is not None and thick_m is not None:
        teeth = thick_m / pitch_m
        if teeth < FEWEST:
            said.append(
                f"Only {teeth:.1f} teeth are in the work: fewer than {FEWEST:.0f} catch and strip "
                "the blade; take finer teeth, or lay the work flat."
            )
        elif teeth > 2.0 * MOST:
            said.append(f"{teeth:.0f} teeth are in the work at once and clog: take coarser teeth.")
    return tuple(said)
