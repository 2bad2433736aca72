import pytest

from chatter.evaluate.boundary import Cell, Grid, boundary_lines, boundary_svg, cell_of, limit_m


@pytest.mark.parametrize("rev_min", [8000.0, 12_000.0])
def test_the_listener_hears_on_which_side_of_the_limit_a_cut_lies(rev_min):
    limit = limit_m(0.5, rev_min)
    below, beyond = (cell_of(0.5, rev_min, share * limit, 1) for share in (0.5, 2.0))
    assert not below.should and not below.chatter
    assert beyond.should and beyond.chatter, beyond


def test_cells_near_the_limit_are_left_to_doubt():
    assert Cell(0.5, 8000, 1.098e-3, 1e-3, "normal", False, 0.1).near
    assert not Cell(0.5, 8000, 1.103e-3, 1e-3, "normal", False, 0.1).near
    assert not Cell(0.5, 8000, 1.2e-3, float("inf"), "normal", False, 0.1).near


def test_the_picture_says_what_the_grid_holds():
    cells = (
        Cell(0.5, 8000, 0.5e-3, 1e-3, "normal", False, 0.1),
        Cell(0.5, 9000, 2e-3, 1e-3, "chatter", True, 0.9),
        Cell(0.5, 9000, 3e-3, 1e-3, "cannot_tell", False, 0.5),
    )
    grid = Grid(cells, {0.5: ((8000.0, 1e-3), (9000.0, 1e-3))}, 1.0, 2 / 3, "about", "sentence")
    assert "beyond the limit chatter named in 1 of 1, below it in 0 of 1" in boundary_lines(grid)
    svg = boundary_svg(grid)
    assert svg.startswith("<svg") and "<desc>sentence</desc>" in svg
