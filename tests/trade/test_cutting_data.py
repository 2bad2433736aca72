"""The tables themselves: complete, ordered, sourced; and how rows are chosen."""

from __future__ import annotations

from itertools import pairwise, product

import pytest

from chatter.job.build import build_job
from chatter.job.cutter import FORMS
from chatter.job.words import TOOL_MATERIALS, materials
from chatter.trade import cutting_data as data

STATUSES = {"seen", "memory", "common practice, no source"}
INCH = 0.0254


def test_every_work_has_speeds_for_every_material_and_cutter() -> None:
    rows = {(row.work, row.material, row.tool) for row in data.speed_table().values()}
    assert rows == set(product(data.WORKS, materials(), TOOL_MATERIALS))


def test_every_material_has_an_energy_and_a_class() -> None:
    assert {row.material for row in data.energy_table().values()} == set(materials())
    assert set(data._classes()) == set(materials())


def test_every_form_but_the_band_saw_has_chip_loads_in_every_class() -> None:
    classes = set(data._classes().values())
    assert set(data._chip_table()) == set(product(set(FORMS) - {"band_saw"}, classes))


@pytest.mark.parametrize(
    "row", data.speed_table().values(), ids=lambda row: f"{row.work}-{row.material}-{row.tool}"
)
def test_speed_rows_are_ordered_and_sourced(row: data.SpeedRow) -> None:
    assert 0 < row.low_m_s <= row.start_m_s <= row.high_m_s
    assert row.low_m_s < row.high_m_s
    assert row.status in STATUSES
    assert row.sources
    assert all(data.source_titles(row.sources))


@pytest.mark.parametrize("row", data.chip_rows(), ids=lambda r: f"{r['form']}-{r['class']}")
def test_chip_rows_are_ordered_and_sourced(row: dict) -> None:
    sizes = [point[0] for point in row["at"]]
    assert sizes == sorted(set(sizes)) and (len(sizes) == 1) == ("by" not in row)
    for one in row["at"]:
        assert 0 < one[1] < one[2] < one[3]
    assert row["status"] in STATUSES
    assert all(data.source_titles(tuple(row["sources"])))
    assert row["status"] != "seen" or set(row["sources"]) - {"common_practice"}


@pytest.mark.parametrize("row", data.energy_table().values(), ids=lambda row: row.material)
def test_energy_rows_are_sourced(row: data.EnergyRow) -> None:
    assert row.status in STATUSES
    assert all(data.source_titles(row.sources))


def test_between_two_sizes_nothing_jumps() -> None:
    """A thousandth of an inch more never changes a chip load by more than a fiftieth."""
    by_diameter = [(form, "diameter_m") for form in ("end_mill", "drill")]
    for form, by in (*by_diameter, ("slitting_saw", "width_m")):
        for material in materials():
            sizes = [0.06 + 0.001 * i for i in range(1500)]
            starts = [data.chip_row(form, material, **{by: size * INCH}).start_m for size in sizes]
            for before, after in pairwise(starts):
                assert before <= after <= 1.05 * before


def test_feed_a_turn_is_shared_by_the_lips_of_a_drill() -> None:
    one, two = (data.chip_row("drill", "brass", None, 0.01, n) for n in (1, 2))
    assert one.start_m == pytest.approx(2 * two.start_m)
    assert data.chip_row("reamer", "brass", None, 0.01, 6).start_m == pytest.approx(0.002 * INCH)


@pytest.mark.parametrize("form", [None, "single_point", "drill", "reamer", "parting_tool"])
def test_faster_cutter_materials_are_faster(form: str | None) -> None:
    for material in materials():
        tops = [
            data.speed_row(material, tool, form).high_m_s
            for tool in ("carbon_steel", "hss", "carbide")
        ]
        assert tops == sorted(tops), material
        assert tops[1] / tops[0] > 1.2
        assert tops[2] / tops[1] > 1.2


def test_harder_iron_is_cut_slower() -> None:
    for tool in TOOL_MATERIALS:
        soft, medium, hard = (
            data.speed_row(f"grey_cast_iron_{grade}", tool) for grade in ("soft", "medium", "hard")
        )
        assert soft.high_m_s > medium.high_m_s > hard.high_m_s


def test_thin_saws_get_thin_chips() -> None:
    def limit(width_inches: float | None) -> float:
        width = None if width_inches is None else width_inches * INCH
        return data.chip_row("slitting_saw", "low_carbon_steel", width).high_m / INCH

    assert [limit(w) for w in (0.020, 0.0625, 0.125)] == pytest.approx([0.0005, 0.0015, 0.003])
    assert limit(None) == limit(0.005)  # a width that is not stated counts as thin
    assert data.chip_row("slab", "low_carbon_steel", 0.001).start_m == pytest.approx(0.004 * INCH)


def test_tough_metals_get_the_low_end() -> None:
    for form in set(FORMS) - {"band_saw"}:
        for width_m in (0.001, 0.002, 0.01):
            easy = data.chip_row(form, "brass", width_m, 0.05)
            tough = data.chip_row(form, "stainless_steel", width_m, 0.05)
            assert tough.high_m <= easy.high_m
            assert tough.start_m <= easy.start_m
            assert data.chip_row(form, None, width_m, 0.05) == tough


def test_ranges_of_a_job() -> None:
    job = build_job(
        {
            "cut.speed": "57",
            "cutter.teeth": "48",
            "cutter.form": "slitting saw",
            "cutter.width": "1/8 in",
            "cut.material": "cast iron",
        }
    )
    low, high = data.cutting_speed_range(job)
    assert (low * 60, high * 60) == pytest.approx((50 * 0.3048, 100 * 0.3048))
    assert data.chip_load_range(job) == pytest.approx((0.0005 * INCH, 0.003 * INCH))
    bare = build_job({"cut.speed": "57", "cutter.teeth": "48"})
    assert data.cutting_speed_range(bare) is None
    assert data.chip_load_range(bare) is None


def test_thin_chips_take_more_energy() -> None:
    at = data.specific_energy_j_m3
    assert at("low_carbon_steel", 0.25e-3) == pytest.approx(1.6e9)
    # sixteen times thinner: 16^0.25 = 2
    assert at("low_carbon_steel", 0.25e-3 / 16) == pytest.approx(3.2e9)
    assert at("low_carbon_steel", 1e-9) == at("low_carbon_steel", 5e-6)
    assert at("cheese", 1e-4) is None
