"""Values that works on cutting print, as read in them; see sources.toml for their titles."""

from __future__ import annotations

INCH, FOOT = 0.0254, 0.3048
M = 1 / 0.3048  # ft/min in a m/min

#: J. Carvill, Mechanical Engineer's Data Handbook, 1993, p. 187: HSS milling cutters, m/min.
CARVILL = {
    "alloy_steel_hard": 10,
    "grey_cast_iron_soft": 20,
    "grey_cast_iron_medium": 20,
    "grey_cast_iron_hard": 20,
    "low_carbon_steel": 28,
    "gunmetal": 35,
    "brass": 45,
    "copper": 60,
    "aluminium": 100,
}
#: Owner's manual of a bench-top mill, 2018, p. 24: HSS, ft/min; carbide double.
MANUAL = {
    "aluminium": 300,
    "brass": 150,
    "bronze": 150,
    "gunmetal": 150,
    "copper": 100,
    "grey_cast_iron_soft": 80,
    "grey_cast_iron_medium": 80,
    "grey_cast_iron_hard": 50,
    "low_carbon_steel": 90,
    "cast_steel": 80,
    "alloy_steel": 40,
    "alloy_steel_hard": 40,
    "tool_steel": 50,
    "stainless_steel": 60,
}
#: Laboratory shop-practice table (docslib 5103932), HSS, milling, ft/min; the row of stainless
#: steel has lost its label.
LABORATORY = {
    "aluminium": (250, 500),
    "brass": (150, 450),
    "gunmetal": (150, 450),
    "grey_cast_iron_soft": (80, 120),
    "grey_cast_iron_hard": (50, 100),
    "low_carbon_steel": (70, 120),
    "cast_steel": (80, 100),
    "alloy_steel_hard": (30, 60),
    "tool_steel": (40, 70),
    "stainless_steel": (30, 60),
}
#: Same, lathe column; carbide double.
LATHE = {
    "aluminium": (350, 700),
    "brass": (250, 500),
    "copper": (100, 250),
    "grey_cast_iron_soft": (100, 250),
    "grey_cast_iron_hard": (50, 150),
    "low_carbon_steel": (100, 250),
    "cast_steel": (70, 150),
    "alloy_steel_hard": (50, 150),
    "tool_steel": (50, 150),
}
#: The Ferrous Metals Data Book, tables 9-1 to 9-12, ft/min: softest class at 0.04 in deep and
#: hardest class at 0.3 in deep; face milling HSS, coated carbide; turning HSS, coated carbide.
DATA_BOOK = {
    "low_carbon_steel": ((210, 125), (1075, 495), (150, 95), (950, 450)),
    "medium_carbon_steel": ((180, 80), (1050, 420), (140, 70), (925, 400)),
    "alloy_steel": ((175, 85), (825, 410), (135, 70), (650, 375)),
    "alloy_steel_hard": ((105, 65), (725, 375), (90, 55), (575, 350)),
}
#: Carvill p. 187, brazed carbide and inserts at 0.2 mm/tooth, m/min.  The cast-iron heads are
#: garbled in the scan.
CARVILL_CARBIDE = {
    "low_carbon_steel": (100, 200),
    "medium_carbon_steel": (75, 150),  # 0.7 % carbon
    "cast_steel": (45, 80),
    "stainless_steel": (100, 125),
    "grey_cast_iron_soft": (110, 150),
    "grey_cast_iron_medium": (110, 150),
    "grey_cast_iron_hard": (110, 150),
    "aluminium": (600, 600),
}
#: Two makers of carbide end mills, ft/min.
CARBIDE_MAKERS = {
    "aluminium": ((400, 1200), (600, 1300)),
    "brass": ((250, 500), (400, 700)),
    "gunmetal": ((250, 500), (400, 700)),
    "aluminium_bronze": ((250, 400),),  # high-tensile bronze
    "manganese_bronze": ((250, 400),),
    "ductile_iron": ((100, 375), (80, 400)),
    "grey_cast_iron_soft": ((100, 500), (200, 500)),
    "grey_cast_iron_hard": ((100, 500), (100, 450)),
    "low_carbon_steel": ((150, 400), (250, 550)),
    "medium_carbon_steel": ((125, 300), (100, 250)),
    "alloy_steel": ((150, 250),),  # to 35 HRC
    "alloy_steel_hard": ((150, 250),),
    "tool_steel": ((30, 150), (100, 300)),
    "stainless_steel": ((200, 400), (250, 400)),
}
#: T.O. 1-1A-9, table 2-8, turning 302 to 316, ft/min: rough, finish; HSS, carbide.
STAINLESS = ((20, 40), (50, 80)), ((150, 200), (150, 300))
#: University tutorial sheet, turning HSS, m/min.
SHEET = {
    "aluminium": (60, 150),
    "brass": (45, 120),
    "grey_cast_iron_soft": (22, 30),
    "grey_cast_iron_hard": (22, 30),
    "low_carbon_steel": (25, 45),
    "stainless_steel": (9, 18),
}
#: Navy training text 14345, HSS drills, ft/min.
NAVY = {
    "low_carbon_steel": (80, 110),
    "medium_carbon_steel": (70, 80),
    "alloy_steel": (50, 70),
    "stainless_steel": (30, 40),
    "brass": (200, 300),
    "aluminium": (200, 300),
    "grey_cast_iron_soft": (70, 150),
}
#: A tool maker's tables, HSS drill and HSS reamer, ft/min: softest and hardest class.
DRILL_MAKER = {
    "grey_cast_iron_soft": ((100, 65), (90, 60)),
    "grey_cast_iron_medium": ((90, 60), (80, 55)),
    "grey_cast_iron_hard": ((60, 40), (30, 20)),
    "ductile_iron": ((100, 65), (40, 25)),
    "low_carbon_steel": ((90, 60), (70, 45)),
    "medium_carbon_steel": ((90, 60), (60, 40)),
    "cast_steel": ((70, 45), (45, 30)),
    "alloy_steel_hard": ((55, 30), (45, 30)),
    "tool_steel": ((50, 35), (30, 20)),
    "stainless_steel": ((55, 35), (50, 30)),
    "aluminium": ((400, 400), (350, 350)),
}
#: A drill-press manual, HSS, ft/min.
PRESS = {
    "low_carbon_steel": (80, 110),
    "medium_carbon_steel": (70, 80),
    "tool_steel": (50, 60),
    "alloy_steel_hard": (20, 30),  # 300 to 400 HB
    "stainless_steel": (30, 40),
    "chilled_iron": (30, 40),
    "grey_cast_iron_medium": (70, 100),
    "grey_cast_iron_soft": (100, 150),
    "aluminium_bronze": (70, 150),  # high-tensile bronze
    "manganese_bronze": (70, 150),
    "brass": (200, 300),
}
#: A saw manual, small band saws, m/min.
BAND = {
    "stainless_steel": (20, 30),
    "tool_steel": (20, 30),
    "alloy_steel": (30, 45),
    "grey_cast_iron_hard": (30, 45),
    "manganese_bronze": (30, 45),  # hard bronze
    "low_carbon_steel": (45, 60),
    "grey_cast_iron_soft": (45, 60),
    "aluminium": (45, 85),  # hard and soft
}
#: Machine Shop Work (c. 1909-16), Table IV, carbon-steel cutters, ft/min.
TABLE_IV = {
    "grey_cast_iron_soft": (60,),
    "cast_steel": (40,),
    "low_carbon_steel": (36, 24),
    "tool_steel": (30, 20),
    "brass": (120, 100),
    "gunmetal": (80, 60),
}


def printed_ft_min(work: str, tool: str, material: str) -> list[float]:
    """All values the works print, doubled or halved where they say so."""
    kin = (material,)
    if material == "grey_cast_iron_medium":
        kin = ("grey_cast_iron_soft", "grey_cast_iron_hard", material)

    def both(table: dict, times: float = 1.0) -> list[float]:
        return [times * end for each in kin for end in _flat(table.get(each, ()))]

    if (work, tool) == ("milling", "carbon_steel"):
        return both(TABLE_IV)
    if work == "milling":
        hss = [v * M for each in kin for v in _flat(CARVILL.get(each, ()))]
        hss += both(MANUAL) + both(LABORATORY) + both({k: d[0] for k, d in DATA_BOOK.items()})
        if tool == "hss":
            return hss + (PHOSPHOR if material == "phosphor_bronze" else [])
        return [
            *(2 * v for v in hss),
            *(v * M for v in both(CARVILL_CARBIDE)),
            *both(CARBIDE_MAKERS),
            *both({k: d[1] for k, d in DATA_BOOK.items()}),
            *(PHOSPHOR_CARBIDE if material == "phosphor_bronze" else []),
        ]
    if work == "turning":
        at = {"hss": 2, "carbide": 3}[tool]
        times = {"hss": 1.0, "carbide": 2.0}[tool]
        found = both(LATHE, times) + both({k: d[at] for k, d in DATA_BOOK.items()})
        if tool == "hss":
            found += [v * M for v in both(SHEET)]
        if material == "stainless_steel":
            found += _flat(STAINLESS[at - 2])
        if material == "phosphor_bronze":
            found += PHOSPHOR if tool == "hss" else PHOSPHOR_CARBIDE
        if (material, tool) == ("brass", "carbide"):
            found += [180 * M, 270 * M]  # Carvill p. 192
        return found
    if work == "drilling":
        lab = {"aluminium": 250, "copper": 70, "cast_steel": 50, "tool_steel": 60}
        return [
            *both(NAVY),
            *both(PRESS),
            *both({k: [p[0] for p in d] for k, d in DRILL_MAKER.items()}),
            *both(lab),
            *([13 * M] if material == "phosphor_bronze" else []),
            *([60 * M] if material == "brass" else []),
        ]
    return [v * M for v in both(BAND)]


#: Carvill p. 192, phosphor bronze, rough and fine turning, m/min.
PHOSPHOR = [18 * M, 36 * M]
PHOSPHOR_CARBIDE = [120 * M, 180 * M]


def _flat(value: object) -> list[float]:
    if isinstance(value, int | float):
        return [value]
    return [end for each in value for end in _flat(each)]
