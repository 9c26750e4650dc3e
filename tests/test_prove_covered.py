"""Covered drains, soils and land cover: what is said of them is so, looked at with other means than made them."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from skimage.morphology import reconstruction

from wetscout.prove import Landscape, TrueCovered, make_landscape
from wetscout.prove.fields import sample
from wetscout.prove.found import inside
from wetscout.prove.soilmap import is_hydric


def filled(z: np.ndarray) -> np.ndarray:
    """Depression filling by scikit-image (reconstruction by erosion; Soille 2004, ch. 6)."""
    seed = np.full_like(z, z.max())
    seed[[0, -1], :], seed[:, [0, -1]] = z[[0, -1], :], z[:, [0, -1]]
    return reconstruction(seed, z, method="erosion", footprint=np.ones((3, 3)))


@pytest.fixture(scope="module")
def land() -> Landscape:
    return make_landscape("covered drains", 2, 1.0, 900.0)


def cells_of(c: TrueCovered) -> tuple[np.ndarray, np.ndarray]:
    r, q = np.nonzero(c.pool.mask)
    return r + c.pool.row0, q + c.pool.col0


def test_covered_basins_close_on_the_ground_as_it_is(land: Landscape) -> None:
    assert len(land.covered) >= 5
    level = filled(land.ground)
    for c in land.covered:
        ground = land.ground[cells_of(c)]
        assert (ground < c.spill_m).all() and c.depth_m == pytest.approx(c.spill_m - ground.min(), abs=1e-5)
        assert c.area_m2 == ground.size
        outer = land.basins[c.node_ids[0]].parent_id < 0
        if outer:
            assert np.allclose(level[cells_of(c)], c.spill_m, atol=1e-4)


def test_the_open_ditches_leave_covered_basins_closed(land: Landscape) -> None:
    level = filled(land.opened)
    for c in land.covered:
        if not c.at_edge and not c.cut_open:
            assert np.median(level[cells_of(c)]) >= c.spill_m - 0.06
            assert land.basins[c.node_ids[0]].covered_id == c.covered_id
            assert not land.basins[c.node_ids[0]].drained


def test_pipes_run_in_the_ground_downhill_to_a_mouth_in_the_head_of_a_ditch(land: Landscape) -> None:
    for c in land.covered:
        wet = inside(c.pool, c.pipe_row, c.pipe_col)
        assert wet[:6].any() and not wet[-1]
        rim = int(np.flatnonzero(wet)[-1])
        assert 8.0 <= c.pipe_row.size - rim <= 330.0
        assert (np.diff(c.pipe_m) <= 1e-9).all() and c.mouth_m == c.pipe_m[-1]
        cover = sample(land.ground, c.pipe_col, c.pipe_row, 1.0) - c.pipe_m
        assert cover[: rim + 1].min() > 0.25
        ditch = land.ditches[c.ditch_id]
        assert np.hypot(ditch.row[0] - c.mouth_row, ditch.col[0] - c.mouth_col) < 1e-6
        assert ditch.level_m[0] <= c.mouth_m + 0.15
        if 3 < c.mouth_row < 897 and 3 < c.mouth_col < 897:
            # the open ditch is there, the pipe is not
            assert land.ground[round(c.mouth_row), round(c.mouth_col)] - c.mouth_m > 0.3
            before = max(0, c.pipe_row.size - 12)
            r, q = round(c.pipe_row[before]), round(c.pipe_col[before])
            assert land.opened[r, q] > c.pipe_m[before] + 0.25


def test_trenches_leave_at_most_15_cm(land: Landscape) -> None:
    assert all(abs(c.trench_m) <= 0.15 for c in land.covered)
    assert any(c.has_ridge for c in land.covered)


def test_two_truths(land: Landscape) -> None:
    """Graded rims spill lower than they did, filled floors lie higher; where nothing was done both are one."""
    assert land.original is not None
    level = filled(land.original)
    for c in land.covered:
        was = c.original.pool
        r, q = np.nonzero(was.mask)
        at = (r + was.row0, q + was.col0)
        assert (land.original[at] < c.original.spill_m).all()
        assert level[at].min() >= c.original.spill_m - 1e-4
    changed = np.abs(land.ground - land.original)
    assert (changed > 0.05).mean() < 0.25 and changed.max() < 1.5
    assert max(c.rim_lowered_m for c in land.covered) > 0.1
    assert max(c.floor_raised_m for c in land.covered) > 0.1


def test_the_soil_map_covers_the_land_once(land: Landscape) -> None:
    rows, cols = land.z.shape
    area = sum(s.polygon.area for s in land.soils)
    assert area == pytest.approx(rows * cols, rel=1e-6)
    assert shapely.union_all([s.polygon for s in land.soils]).area == pytest.approx(area, rel=1e-6)
    assert {is_hydric(s.hydclprs) for s in land.soils} == {True, False}


def test_maps_know_most_but_not_all() -> None:
    """Over several squares: soils show most drained basins and hardly any dry hollow; wetlands are mapped as such."""
    drained, upland, wet, crops = [], [], [], []
    for seed in range(1, 4):
        land = make_landscape("covered drains and whole hollows", seed, 2.0, 900.0)
        assert land.landcover is not None and land.landcover.shape == land.z.shape
        drained += [c.hydric_mapped for c in land.covered]
        crops += [c.cropped for c in land.covered]
        for b in land.basins:
            if b.parent_id < 0 and b.area_m2 > 1500 and b.use in ("upland", "wetland"):
                rows, cols = b.pool.mask.shape
                seen = land.landcover[b.pool.row0 : b.pool.row0 + rows, b.pool.col0 : b.pool.col0 + cols][b.pool.mask]
                (wet if b.use == "wetland" else upland).append(float(np.isin(seen, (90, 95, 11)).mean()))
    assert 0.55 < np.mean(drained) < 0.98 and 0.7 < np.mean(crops) < 1.0
    assert np.mean(wet) > 0.4 and np.mean(upland) < 0.1


def test_the_same_seed_draws_the_same_maps() -> None:
    one, two = (make_landscape("covered drains", 3, 1.0, 400.0) for _ in range(2))
    assert np.array_equal(one.z, two.z)
    assert one.landcover is not None and two.landcover is not None and np.array_equal(one.landcover, two.landcover)
    assert [s.polygon.wkb for s in one.soils] == [s.polygon.wkb for s in two.soils]


def test_coarser_cells_hold_the_same_pipes() -> None:
    cell_m = 3.0
    fine = make_landscape("covered drains", 2, 1.0, 600.0)
    coarse = make_landscape("covered drains", 2, cell_m, 600.0)
    assert coarse.landcover is not None and coarse.landcover.shape == coarse.z.shape
    for c in fine.covered:
        if c.area_m2 > 1500 and c.depth_m > 0.3 and not c.at_edge:
            far = min(
                np.hypot(o.mouth_row * cell_m - c.mouth_row, o.mouth_col * cell_m - c.mouth_col) for o in coarse.covered
            )
            assert far < 3.0


def test_open_drains_have_two_truths_too() -> None:
    """Where the rim was graded beside the ditch, closing it gives less than there was."""
    land = make_landscape("graded rims and filled floors", 4, 2.0, 1000.0)
    tops = [b for b in land.basins if b.drained and b.original is not None and not b.at_edge and b.area_m2 > 1000]
    assert len(tops) >= 4 and land.original is not None
    level = filled(land.ground)
    lower = 0
    for b in tops:
        assert b.original is not None
        r, q = np.nonzero(b.pool.mask)
        at = (r + b.pool.row0, q + b.pool.col0)
        assert (land.ground[at] < b.spill_m).all() and (
            b.parent_id >= 0 or np.allclose(level[at], b.spill_m, atol=1e-4)
        )
        lower += b.original.spill_m > b.spill_m + 0.05
    assert lower >= 0.3 * len(tops)
