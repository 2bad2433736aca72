"""The stated job as lines for people, in inch or metric."""

from __future__ import annotations

from typing import Any

from chatter.job.show import show, show_length
from chatter.job.words import material_name

#: Field of the plain job -> what it is called; the order is the order shown.
_NAMES = {
    ("cut", "speed_rev_min"): "Spindle speed, stated",
    ("cutter", "teeth"): "Teeth",
    ("cutter", "name"): "Cutter",
    ("cutter", "form"): "Form of cutter",
    ("cutter", "diameter_m"): "Diameter",
    ("cutter", "width_m"): "Width of cutter",
    ("cutter", "material"): "Cutter made of",
    ("cutter", "side_relief"): "Side relief",
    ("cutter", "max_rev_min"): "Marked maximum",
    ("cutter", "reground"): "Reground",
    ("cut", "material"): "Work",
    ("cut", "depth_m"): "Depth of cut",
    ("cut", "width_m"): "Width of cut",
    ("cut", "feed_m_s"): "Table feed",
    ("cut", "direction"): "Milling direction",
    ("cut", "purpose"): "Purpose",
    ("cut", "overhang_m"): "Overhang",
    ("machine", "name"): "Machine",
    ("machine", "speeds_rev_min"): "Its speeds",
    ("machine", "mains_hz"): "Mains",
    ("take", "span_s"): "Span judged",
}

_KINDS = (("_m_s", "feed"), ("_rev_min", "spindle speed"), ("_hz", "frequency"), ("_m", "length"))


def stated_lines(job: dict[str, Any], units: str = "metric") -> tuple[tuple[str, str], ...]:
    """What the machinist stated, as (name, value with its unit).

    Parameters
    ----------
    job : dict
        As in ``Findings.job``.
    units : str
        "metric" or "inch".
    """
    lines = []
    for (part, key), name in _NAMES.items():
        value = (job.get(part) or {}).get(key)
        if value is None or value == "" or value == []:
            continue
        lines.append((name, _text(key, value, units)))
    return tuple(lines)


def _text(key: str, value: Any, units: str) -> str:
    if key == "span_s":
        return f"{value[0]:g} to {value[1]:g} s"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(f"{one:g}" for one in value) + " rev/min"
    if isinstance(value, str):
        return material_name(value) if key == "material" else value.replace("_", " ")
    kind = next((kind for suffix, kind in _KINDS if key.endswith(suffix)), None)
    if kind == "length":
        return show_length(value, units)
    return show(value, kind, units) if kind else f"{value:g}"
