"""Our table of units against pint's definitions (pint, https://pint.readthedocs.io)."""

from __future__ import annotations

import pint
import pytest

from chatter.job import units

REGISTRY = pint.UnitRegistry()

#: our spelling -> pint's
SPELLINGS = {
    '"': "inch",
    "″": "inch",
    "”": "inch",
    "in": "inch",
    "inches": "inch",
    "°": "degree",
    "deg": "degree",
    "degrees": "degree",
    "um": "micrometer",
    "µm": "micrometer",
    "μm": "micrometer",
    "sec": "second",
    "min": "minute",
    "ipm": "inch/minute",
    "ipt": "inch",
    "sfm": "foot/minute",
    "sfpm": "foot/minute",
    "fpm": "foot/minute",
    "w": "watt",
    "kw": "kilowatt",
    "hp": "horsepower",
    "ps": "metric_horsepower",
    "hz": "hertz",
    "khz": "kilohertz",
}
SI = {
    "length": "meter",
    "feed": "meter/second",
    "chip load": "meter",
    "cutting speed": "meter/second",
    "power": "watt",
    "angle": "radian",
    "frequency": "hertz",
}
CASES = [(kind, unit) for kind in SI for unit in units.UNITS[kind]]


@pytest.mark.parametrize(("kind", "unit"), CASES)
def test_factor_agrees_with_pint(kind: str, unit: str) -> None:
    name = "/".join(SPELLINGS.get(part, part) for part in unit.removesuffix("/tooth").split("/"))
    expected = REGISTRY.Quantity(1.0, name).to(SI[kind]).magnitude
    # pint multiplies floats, we exact fractions: only rounding may differ
    assert float(units.UNITS[kind][unit]) == pytest.approx(expected, rel=1e-12)


def test_mechanical_horsepower_is_not_the_metric_one() -> None:
    # 745.6999 W and 735.4988 W, 1.4 % apart: taking the one for the other must fail above
    assert units.parse("1 hp", "power") == pytest.approx(745.69987158227, rel=1e-13)
    assert units.parse("1 PS", "power") == pytest.approx(735.49875, rel=1e-13)
