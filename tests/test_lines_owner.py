"""Which line lies on a cell: the table of cells against a dictionary, and what a line followed on meets."""

from __future__ import annotations

import numpy as np
import pytest

from wetscout.kernels import lines_follow
from wetscout.linework.shape import Owner, resample


def _twin(lines: list[np.ndarray], cols: int) -> dict[int, int]:
    """The same with Python's dictionary, point by point."""
    owner: dict[int, int] = {}
    for number, points in enumerate(lines):
        for row, col in np.floor(resample(points, 0.7) + 0.5).astype(int).tolist():
            for y, x in ((row, col), (row + 1, col), (row - 1, col), (row, col + 1), (row, col - 1)):
                if 0 <= x < cols and y >= 0:
                    owner.setdefault(y * cols + x, number)
    return owner


@pytest.mark.parametrize(("seed", "cols"), [(1, 400), (2, 97), (3, 5_000_000)])
def test_the_first_line_on_a_cell_owns_it(seed: int, cols: int) -> None:
    rng = np.random.default_rng(seed)
    lines = [np.cumsum(rng.uniform(-8.0, 9.0, (30, 2)), axis=0) + rng.uniform(0.0, 60.0, 2) for _ in range(25)]
    owner = Owner(cols)
    for number, points in enumerate(lines):
        owner.claim(points, number)
    wanted = _twin(lines, cols)
    cells, number = owner.table
    there = cells >= 0
    assert dict(zip(cells[there].tolist(), number[there].tolist(), strict=True)) == wanted
    # the table has grown, each cell is found again, and one that was not entered is not
    assert owner.used == len(wanted) and cells.size >= 2 * owner.used > 1 << 10
    for cell in [*list(wanted)[::17], max(wanted) + 1]:
        at = lines_follow._slot(cells, cell)
        assert cells[at] == (cell if cell in wanted else -1)


def test_a_line_followed_on_stops_at_another_but_not_at_itself() -> None:
    z = np.zeros((60, 80), np.float32)
    z[28:33] = -1.0
    owner = Owner(80)
    owner.claim(np.array([[30.0, 2.0], [30.0, 12.0]]), 0)
    sizes, fan = (4.0, 5.0, 7.0, 7.0), np.zeros(1)
    alone, met = lines_follow.follow(z, 30.0, 12.0, 0.0, 1.0, 0, owner.table, 80, sizes, fan, 0.2, 12)
    assert met == -1 and alone[-1, 1] > 50.0
    owner.claim(np.array([[10.0, 40.0], [50.0, 40.0]]), 1)
    new, met = lines_follow.follow(z, 30.0, 12.0, 0.0, 1.0, 0, owner.table, 80, sizes, fan, 0.2, 12)
    assert met == 1 and abs(new[-1, 1] - 40.0) <= 3.0
