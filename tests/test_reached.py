"""Which site a way of water comes to: boxes, banks and plugs made by hand, plain geometry."""

from __future__ import annotations

import numpy as np
import pytest

from wetscout.records import Patch, Plug, Site
from wetscout.sites.reached import Reached, joined

# a pool of 20 x 30 m with its corner at row 20, column 30, floor at 9 m, spill at 10 m, in ground at 11 m
ROW0, COL0, H, W = 20, 30, 20, 30


def ground(bank_col: int | None = None) -> np.ndarray:
    z = np.full((60, 100), 11.0, dtype=np.float32)
    z[ROW0 : ROW0 + H, COL0 : COL0 + W] = 9.0
    if bank_col is not None:
        z[ROW0 - 1 : ROW0 + H + 1, bank_col] = 10.2
    return z


def site(*plugs: tuple[tuple[float, float], tuple[float, float]]) -> Site:
    values = {"spill_m": 10.0, "_floor_row": 30, "_floor_col": 45}
    laid = tuple(Plug(f"p{k}", "s", None, k, np.array(p[0]), np.array(p[1]), {}) for k, p in enumerate(plugs))
    return Site("s", Patch(ROW0, COL0, np.ones((H, W), dtype=bool)), None, (), laid, (), values)


def down(col: int, first: int = 0, last: int = 60) -> tuple[np.ndarray, np.ndarray]:
    rows = np.arange(first, last)
    return rows, np.full(rows.size, col)


def test_a_way_through_a_pool_comes_to_it_where_it_enters() -> None:
    z = ground()
    reached = Reached([site()], z, 1.0, 5.0)
    assert reached.first(down(40), -1) == (0, ROW0)
    assert reached.first(down(40), 0) is None
    assert reached.first(down(40, 0, ROW0 + 4), -1) is None
    assert reached.first(down(70), -1) is None


@pytest.mark.parametrize(("bank", "hit"), [(None, (0, ROW0)), (32, None)])
def test_a_ditch_between_its_banks_along_the_margin_does_not(bank: int | None, hit: tuple[int, int] | None) -> None:
    assert Reached([site()], ground(bank), 1.0, 5.0).first(down(31), -1) == hit


def test_a_ditch_beside_the_shore_comes_to_a_plug_across_it() -> None:
    z = ground()
    z[:, 25:30] = 9.5
    assert Reached([site()], z, 1.0, 5.0).first(down(27), -1) is None
    across = ((28.0, 28.0), (23.0, 31.0))
    assert Reached([site(across)], z, 1.0, 5.0).first(down(27), -1) == (0, 28)
    # farther off than 8 m it may stand below the place where another ditch joins
    far = ((50.0, 50.0), (23.0, 31.0))
    assert Reached([site(far)], z, 1.0, 5.0).first(down(27), -1) is None
    # a plug beside the way, and the way along the shore for long
    beside = ((28.0, 34.0), (30.0, 30.0))
    assert Reached([site(beside)], z, 1.0, 5.0).first(down(28), -1) == (0, 18)
    assert Reached([site(beside)], z, 1.0, 5.0).first(down(28, 26, 36), -1) is None


def test_what_lies_behind_a_plug_is_not_joined_to_the_floor() -> None:
    """A neck of the pool, 3 m by 10 m: a way into it comes to the pool, but not where a plug parts it from the rest."""
    z = ground()
    z[:, COL0 : COL0 + 10] = 11.0
    z[28:31, COL0 : COL0 + 10] = 9.0
    way = np.full(12, 29), np.arange(25, 37)
    assert Reached([site()], z, 1.0, 5.0).first(way, -1) == (0, 5)
    across = ((25.0, 33.0), (39.0, 39.0))
    assert Reached([site(across)], z, 1.0, 5.0).first(way, -1) is None
    # on to the plug it is dammed by it
    assert Reached([site(across)], z, 1.0, 5.0).first((np.full(15, 29), np.arange(25, 40)), -1) is not None


def test_joined_ground_holds_the_floor_or_a_tenth() -> None:
    low = np.zeros((10, 20), dtype=bool)
    low[:, :12] = low[:, 13:16] = low[5, 18] = True
    assert joined(low, (5, 5)).sum() == 10 * 12 + 10 * 3
    assert joined(low, (5, 18)).sum() == low.sum()
    assert not joined(np.zeros((3, 3), dtype=bool), (1, 1)).any()
