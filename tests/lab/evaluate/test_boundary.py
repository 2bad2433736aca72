import pytest

from chatter.lab.evaluate.boundary import (
    Cell,
    Grid,
    boundary_lines,
    boundary_svg,
    cell_of,
    limit_m,
    unstable,
)


@pytest.mark.parametrize("rev_min", [8000.0, 12_000.0])
def test_the_listener_hears_on_which_side_of_the_limit_a_cut_lies(rev_min):
    limit = limit_m(0.5, rev_min)
    below, beyond = (cell_of(0.5, rev_min, share * limit, 1) for share in (0.5, 2.0))
    assert not below.should and not below.chatter
    assert beyond.should and beyond.chatter, beyond


def test_the_side_of_the_limit_agrees_with_the_limit():
    limit = limit_m(0.5, 8000.0)
    sides = unstable(0.5, 8000.0, [0.5 * limit, 0.99 * limit, 1.01 * limit, 2 * limit])
    assert sides == [False, False, True, True]


def test_cells_near_the_limit_are_left_to_doubt():
    limit = limit_m(0.5, 8000.0)
    # NEAR is a tenth: a cell counts as near from limit / 1.1 to limit / 0.9.
    assert [cell_of(0.5, 8000.0, k * limit, 1).near for k in (0.895, 0.925, 1.08, 1.125)] == [
        False, True, True, False,
    ]  # fmt: skip


def test_the_picture_says_what_the_grid_holds():
    cells = (
        Cell(0.5, 8000, 0.5e-3, False, False, "normal", False, 0.1),
        Cell(0.5, 9000, 2e-3, True, False, "chatter", True, 0.9),
        Cell(0.5, 9000, 3e-3, True, False, "cannot_tell", False, 0.5),
    )
    grid = Grid(cells, {0.5: ((8000.0, 1e-3), (9000.0, 1e-3))}, 1.0, 2 / 3, "about", "sentence")
    assert "beyond the limit chatter named in 1 of 1, below it in 0 of 1" in boundary_lines(grid)
    svg = boundary_svg(grid)
    assert svg.startswith("<svg") and "<desc>sentence</desc>" in svg
