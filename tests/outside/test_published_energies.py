"""Specific cutting energies against the values of two textbooks, from memory."""

from __future__ import annotations

import pytest

from chatter.trade import cutting_data as data

#: M. P. Groover, Fundamentals of Modern Manufacturing, specific energy at 0.25 mm chip
#: thickness, J/mm3: from memory.
GROOVER = {
    "grey_cast_iron_soft": 1.1,  # 125-175 HB
    "grey_cast_iron_medium": 1.6,  # 175-250 HB
    "low_carbon_steel": 1.6,  # 150-200 HB
    "medium_carbon_steel": 2.2,  # 201-250 HB
    "alloy_steel": 2.8,  # 251-300 HB
    "stainless_steel": 2.8,
    "brass": 2.2,
    "bronze": 2.2,
    "gunmetal": 2.2,
    "aluminium": 0.8,  # alloys
}


@pytest.mark.parametrize(("material", "value"), GROOVER.items())
def test_specific_energy_by_groover(material: str, value: float) -> None:
    assert data.energy_row(material).energy_j_m3 == pytest.approx(value * 1e9, rel=1e-9)
    assert data.energy_row(material).status == "memory"


#: Kalpakjian & Schmid, Manufacturing Engineering and Technology, approximate specific energy
#: in cutting, J/mm3, with drive losses left out: from memory, order of magnitude only.
KALPAKJIAN = {
    "aluminium": (0.4, 1.1),
    "grey_cast_iron_soft": (1.1, 5.4),
    "grey_cast_iron_medium": (1.1, 5.4),
    "grey_cast_iron_hard": (1.1, 5.4),
    "copper": (1.4, 3.3),
    "brass": (1.4, 3.3),
    "bronze": (1.4, 3.3),
    "stainless_steel": (2.0, 5.2),
    "low_carbon_steel": (1.6, 9.3),
    "medium_carbon_steel": (1.6, 9.3),
    "cast_steel": (1.6, 9.3),
    "alloy_steel": (1.6, 9.3),
    "tool_steel": (1.6, 9.3),
}


@pytest.mark.parametrize(("material", "ends"), KALPAKJIAN.items())
def test_specific_energies_are_of_the_known_order(material: str, ends: tuple) -> None:
    energy = data.energy_row(material).energy_j_m3 / 1e9
    assert ends[0] <= energy <= ends[1]
