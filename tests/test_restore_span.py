"""The line of a plug: closed forms of a trapezoid ditch, and the cheapest way by scipy's Dijkstra."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from wetscout.kernels.span import cheapest_beside, spread_cost
from wetscout.records import Cut
from wetscout.restore.plug import size_plug
from wetscout.restore.span import Bank, span
from wetscout.settings.restore import RestoreSettings

S = RestoreSettings()
BED, SIDE, DEEP = 1.2, 1.5, 1.5


def graph_of(cost, region, step_m):
    """Edges between neighbours, each the mean of both cells times its length."""
    rows, cols = cost.shape
    one, two, price = [], [], []
    for r in range(rows):
        for c in range(cols):
            for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
                a, b = r + dr, c + dc
                if 0 <= a < rows and 0 <= b < cols and region[r, c] and region[a, b]:
                    one.append(r * cols + c)
                    two.append(a * cols + b)
                    price.append(0.5 * (cost[r, c] + cost[a, b]) * step_m * np.hypot(dr, dc))
    return coo_array((price, (one, two)), shape=(rows * cols, rows * cols))


def test_the_cheapest_neighbour_is_that_of_a_list():
    rng = np.random.default_rng(4)
    cost, paid = rng.integers(1, 4, (2, 7, 9)).astype(np.float64)
    paid[rng.random(paid.shape) < 0.3] = np.inf
    corner = float(np.hypot(1, 1))
    for r in range(7):
        for c in range(9):
            near = [
                (paid[q] + 0.5 * (cost[q] + cost[r, c]) * 2.0 * float(np.hypot(q[0] - r, q[1] - c)), q)
                for q in ((r + i, c + j) for i in (-1, 0, 1) for j in (-1, 0, 1) if i or j)
                if 0 <= q[0] < 7 and 0 <= q[1] < 9
            ]
            price, (row, col) = min(near)
            assert cheapest_beside(paid, cost, (r, c), (2.0, corner)) == (price, row * 9 + col)


@given(seed=st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_least_cost_equals_dijkstra_of_scipy(seed):
    rng = np.random.default_rng(seed)
    cost, region = rng.uniform(0.1, 5.0, (9, 11)), rng.random((9, 11)) < 0.8
    sources = (rng.random((9, 11)) < 0.1) & region
    paid, came = spread_cost(cost, sources, region, 2.0)
    where = np.flatnonzero(sources)
    want = np.full(99, np.inf)
    if where.size:
        want = dijkstra(graph_of(cost, region, 2.0), directed=False, indices=where).min(axis=0)
    want[~region.ravel()] = np.inf
    np.testing.assert_allclose(paid.ravel(), want, rtol=1e-12)
    assert ((came == -2) == ~np.isfinite(paid)).all() and ((came == -1) == sources).all()


def trench(angle, cell_m, banks=(0.3, 0.3)):
    """A straight trapezoid ditch through level ground at 10 m + a bank height on each side, window of 60 m."""
    n = round(60 / cell_m)
    y, x = (np.mgrid[0:n, 0:n] + 0.5) * cell_m - 30.0
    along, off = x * np.cos(angle) + y * np.sin(angle), -x * np.sin(angle) + y * np.cos(angle)
    natural = 10.0 + np.where(off > 0, banks[1], banks[0])
    bed = 10.3 - DEEP + np.clip(np.abs(off) - BED / 2, 0, None) / SIDE
    today = np.minimum(natural, bed)
    t = np.arange(-40, 41)
    way = tuple(np.floor(n / 2 + t * f(angle) + 0.25).astype(np.int64) for f in (np.sin, np.cos))
    return today.astype(np.float32), natural, way, along


def plug(today, natural, way, angle, cell_m, spill, covered=None):
    covered = np.zeros(today.shape, dtype=bool) if covered is None else covered
    bank = Bank(today.copy(), np.abs(today - natural) <= 0.05, covered, spill, cell_m)
    line = span(bank, way, way[0].size // 2, S)
    r, c = (int(a[a.size // 2]) for a in way)
    cut = Cut(r, c, np.sin(angle), np.cos(angle), 8.9, spill, 8.8, 1, False, *way)
    return line, size_plug(today, line, cut, spill, cell_m, S)


@pytest.mark.parametrize(
    ("angle", "cell_m", "within"), [(0.0, 0.5, 0.05), (0.4, 0.5, 0.08), (0.785, 0.5, 0.08), (0.3, 1.0, 0.12)]
)
def test_a_plug_in_a_trapezoid_ditch(angle, cell_m, within):
    """Crest level with both banks: V = H w (b + s H) + (z1 + z2)(b H^2 / 2 + s H^3 / 3), top width b + 2 s H.

    b 1.2, s 1.5, H 1.5, w 3, z 3: 33.75 m3 over 5.7 m (plain geometry, the same as in test_restore).
    """
    today, natural, way, _ = trench(angle, cell_m)
    line, size = plug(today, natural, way, angle, cell_m, 10.0)
    assert line[0].size == 2
    assert size.fill_m3 == pytest.approx(33.75, rel=within)
    assert size.across_m == pytest.approx(BED + 2 * SIDE * DEEP, abs=2.5 * cell_m)
    assert size.height_m == pytest.approx(DEEP, abs=0.1)
    # square to the ditch
    d_row, d_col = np.diff(line[0])[0], np.diff(line[1])[0]
    assert abs(d_row * np.sin(angle) + d_col * np.cos(angle)) <= 0.35 * np.hypot(d_row, d_col)


def test_a_plug_stands_where_the_ditch_is_narrowest():
    angle, cell_m = 0.0, 0.5
    today, natural, way, along = trench(angle, cell_m)
    # 6 m down the way the ditch is half as deep: fill left of an old crossing
    neck = np.abs(along - 6.0) < 2.5
    today = np.where(neck & (today < 9.6), np.float32(9.6), today)
    line, size = plug(today, natural, way, angle, cell_m, 10.0)
    assert line[1].mean() * cell_m - 30.0 == pytest.approx(6.0, abs=3.0)
    assert size.fill_m3 < 0.6 * 33.75


def test_a_plug_stands_beside_a_road_and_not_in_the_way_opened_through_it():
    today, natural, way, along = trench(0.0, 0.5)
    road = np.abs(along) < 5.0
    # opened through the fill is a slot one metre wide: cheapest of all, and no place for a plug
    off = np.abs((np.arange(120) + 0.5) * 0.5 - 30.0)[:, None]
    today = np.where(road & (off > 0.6), np.float32(11.0), today)
    line, size = plug(today, natural, way, 0.0, 0.5, 10.0, covered=road & (off <= 0.6))
    assert abs(line[1].mean() * 0.5 + 0.25 - 30.0) >= 5.0
    assert size.fill_m3 == pytest.approx(33.75, rel=0.1)


def test_a_plug_goes_on_to_undug_ground():
    """A heap beside the ditch stands high enough and is no bank: the plug goes on past it to ground that holds."""
    today, natural, way, _ = trench(0.0, 0.5)
    y = (np.arange(120) + 0.5) * 0.5 - 30.0
    low = (y > 3.0) & (y < 12.0)
    today[low] = 9.7
    natural[low] = 10.3
    heap = (y > 5.0) & (y < 8.0)
    today[heap] = 10.6
    _, size = plug(today, natural, way, 0.0, 0.5, 10.0)
    assert size.across_m == pytest.approx(12.0 + 2.85, abs=1.5)


def test_banks_that_are_not_told_apart_give_no_line():
    today, _, way, _ = trench(0.0, 0.5)
    none = np.zeros(today.shape, dtype=bool)
    bank = Bank(today, none, none, 10.0, 0.5)
    assert span(bank, way, way[0].size // 2, S) is None
