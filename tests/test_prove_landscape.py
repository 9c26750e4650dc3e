"""Invented landscapes: what is said of them is so, looked at with other means than those that made them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage
from skimage.morphology import reconstruction

from wetscout.errors import InputError
from wetscout.prove import Landscape, make_landscape
from wetscout.prove.fields import sample
from wetscout.prove.landscape import TrueBasin

SIZE_M = 750.0


@pytest.fixture(
    scope="module", params=[("everything", 4, 750.0), ("flat lake plain", 7, 750.0), ("natural levee", 4, 900.0)]
)
def land(request: pytest.FixtureRequest) -> Landscape:
    kind, seed, size_m = request.param
    return make_landscape(kind, seed, 1.0, size_m)


def cells_of(basin: TrueBasin) -> tuple[np.ndarray, np.ndarray]:
    r, c = np.nonzero(basin.pool.mask)
    return r + basin.pool.row0, c + basin.pool.col0


def filled(z: np.ndarray) -> np.ndarray:
    """Depression filling by scikit-image (reconstruction by erosion; Soille 2004, ch. 6)."""
    seed = np.full_like(z, z.max())
    seed[[0, -1], :], seed[:, [0, -1]] = z[[0, -1], :], z[:, [0, -1]]
    return reconstruction(seed, z, method="erosion", footprint=np.ones((3, 3)))


def test_pools_are_the_fill_of_the_natural_ground(land: Landscape) -> None:
    level = filled(land.ground)
    for b in land.basins:
        at = cells_of(b)
        ground = land.ground[at]
        assert ground.min() == pytest.approx(b.floor_m) and (ground < b.spill_m).all()
        assert b.area_m2 == ground.size
        assert b.volume_m3 == pytest.approx(float((b.spill_m - ground.astype(np.float64)).sum()))
        if b.parent_id < 0 or b.at_edge:
            assert np.allclose(level[at], b.spill_m, atol=1e-4) or b.parent_id >= 0
    # and no deep closed water of the ground is missing from the truth
    known = np.zeros(land.z.shape, dtype=bool)
    for b in land.basins:
        known[cells_of(b)] = True
    lost = ndimage.label((level - land.ground > 0.2) & ~known, np.ones((3, 3)))[0]
    assert max(np.bincount(lost.ravel())[1:], default=0) < 260


def test_water_really_leaves_drained_basins(land: Landscape) -> None:
    level = filled(land.opened)
    drained = [b for b in land.basins if b.drained]
    assert len(drained) >= 4
    for b in drained:
        at = cells_of(b)
        deep = land.ground[at] <= b.floor_m + 0.3 * b.depth_m
        left = np.median(np.minimum(level[at][deep], b.spill_m)) - b.floor_m
        assert left <= 0.3 * b.depth_m + 1e-4
        assert any(c.outflow for c in b.crossings)
    for b in land.basins:
        if not b.drained and not b.partial:
            assert b.left > 0.9 and b.crossings == ()


def test_crossings_lie_on_the_rim_with_the_bed_below(land: Landscape) -> None:
    for b in land.basins:
        for c in b.crossings:
            beside = sample(land.ground, c.col, c.row, 1.0)
            assert (np.abs(beside - b.spill_m) <= 0.05).sum() >= beside.size - 2
            assert beside.min() > b.spill_m - 0.3
            line = land.ditches[c.line_id]
            near = np.hypot(line.row[:, None] - c.row, line.col[:, None] - c.col).min(axis=0)
            assert near.max() < 1e-6
            here = np.argmin(np.hypot(line.row - c.row[0], line.col - c.col[0]))
            assert line.level_m[max(0, here - 3) : here + 4].min() < b.spill_m - 0.05


def test_drains_end_lower_than_they_begin_in_something_that_goes_on(land: Landscape) -> None:
    rows, cols = land.z.shape
    for d in land.ditches:
        if d.kind == "roadside":
            continue
        # silt and slumps: up to 0.2 m against the grade
        assert (d.level_m - np.minimum.accumulate(d.level_m)).max() < 0.25
        r, c = d.row[-1], d.col[-1]
        if not (0 <= r < rows and 0 <= c < cols):
            continue
        others = [o for o in land.ditches if o.line_id != d.line_id and o.kind != "roadside"] + list(land.streams)
        assert min(np.hypot(o.row - r, o.col - c).min() for o in others) < 8.0


def test_the_dem_shows_roads_over_ditches_and_nothing_else_that_is_not_there(land: Landscape) -> None:
    extra = land.z - land.opened
    roads = np.ones(land.z.shape, dtype=bool)
    for road in land.roads:
        r, c = np.rint(road.row).astype(int), np.rint(road.col).astype(int)
        ok = (r >= 0) & (c >= 0) & (r < roads.shape[0]) & (c < roads.shape[1])
        roads[r[ok], c[ok]] = False
    off = ndimage.distance_transform_edt(roads) if land.roads else np.full(land.z.shape, 99.0)
    away = extra[off > 30]
    assert away.std() == pytest.approx(land.noise_m, rel=0.15)
    assert np.abs(away).max() < 7 * land.noise_m
    for culvert in land.culverts:
        r, c = np.rint(culvert.row.mean()), np.rint(culvert.col.mean())
        if 5 < r < land.z.shape[0] - 5 and 5 < c < land.z.shape[1] - 5 and culvert.length_m > 8:
            assert extra[int(r) - 3 : int(r) + 4, int(c) - 3 : int(c) + 4].max() > 0.3


def test_road_crowns_show_at_their_level() -> None:
    land = make_landscape("roads over ditches", 2, 1.0, SIZE_M)
    assert land.roads and land.culverts
    for road in land.roads:
        r, c = np.rint(road.row).astype(int), np.rint(road.col).astype(int)
        ok = (r >= 0) & (c >= 0) & (r < land.z.shape[0]) & (c < land.z.shape[1])
        error = land.z[r[ok], c[ok]] - road.level_m[ok]
        # other roads and bridges out of the way: the median is the crown
        assert abs(np.median(error)) < 0.03


def test_the_same_seed_makes_the_same_landscape() -> None:
    one, two = (make_landscape("rolling till plain", 9, 1.0, 400.0) for _ in range(2))
    other = make_landscape("rolling till plain", 10, 1.0, 400.0)
    assert np.array_equal(one.z, two.z) and len(one.basins) == len(two.basins)
    assert not np.array_equal(one.z, other.z)


@pytest.mark.parametrize("kind", ["none drained", "none drained on lake plain"])
def test_none_drained(kind: str) -> None:
    land = make_landscape(kind, 6, 1.0, SIZE_M)
    assert land.basins and not any(b.drained or b.partial for b in land.basins)
    assert {d.kind for d in land.ditches} <= {"roadside"}


def test_ditches_past_the_basins() -> None:
    land = make_landscape("ditches but none drained", 2, 1.0, 1000.0)
    assert any(d.kind == "collector" for d in land.ditches)
    assert sum(b.drained or b.partial for b in land.basins) <= 0.2 * len(land.basins)


@pytest.fixture(scope="module")
def fine() -> Landscape:
    return make_landscape("flat lake plain", 5, 1.0, SIZE_M)


@pytest.mark.parametrize("cell_m", [2.0, 3.0, 5 * 0.3048])
def test_coarser_cells_show_the_same_land(cell_m: float, fine: Landscape) -> None:
    land = make_landscape("flat lake plain", 5, cell_m, SIZE_M)
    assert land.z.shape == (int(SIZE_M / cell_m),) * 2
    if cell_m.is_integer():
        big = [b for b in land.basins if b.area_m2 > 1500 and b.depth_m > 0.3 and not b.at_edge]
        assert big
        for b in big:
            row, col = (float(v.mean()) * cell_m for v in cells_of(b))
            close = [f for f in fine.basins if abs(f.spill_m - b.spill_m) < 0.05]
            middles = [tuple(float(v.mean()) for v in cells_of(f)) for f in close]
            assert min(np.hypot(r - row, c - col) for r, c in middles) < 15
    for d in land.ditches:
        r, c = np.rint(d.row).astype(int), np.rint(d.col).astype(int)
        ok = (r >= 0) & (c >= 0) & (r < land.z.shape[0]) & (c < land.z.shape[1])
        if d.kind in ("collector", "drain") and ok.sum() > 60:
            # the opened ground shows the bed where the line says it is
            assert np.median(land.opened[r[ok], c[ok]] - d.level_m[ok]) < 0.25


def test_ponds_are_no_natural_basins() -> None:
    land = make_landscape("dug ponds", 3, 1.0, SIZE_M)
    assert land.ponds
    for p in land.ponds:
        r, c = int(p.row), int(p.col)
        assert land.ground[r, c] - land.z[r, c] > 0.3
        if not p.joined:
            assert not any(((abs(a - p.row) < 2) & (abs(b - p.col) < 2)).any() for a, b in map(cells_of, land.basins))


def test_bad_wishes() -> None:
    with pytest.raises(InputError, match="no kind"):
        make_landscape("moon", 1)
    with pytest.raises(InputError, match="at least 300 m"):
        make_landscape("rolling till plain", 1, 1.0, 100.0)
    with pytest.raises(InputError, match=r"0\.5-10"):
        make_landscape("rolling till plain", 1, 30.0)
