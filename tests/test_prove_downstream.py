"""Which basin the water of a drained one enters next, by the truth of `prove`.

Sources: hand-made ground on which the answer is plain; pyflwdir (Eilander, Deltares), a general library for flow
directions, and scikit-image for connected ground, on invented landscapes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skimage.measure import label
from test_prove_score import basin, box

from wetscout.prove import Crossing, Landscape, TrueBasin, make_landscape
from wetscout.prove.dig import culverts_of
from wetscout.prove.downstream import next_entered, with_chain
from wetscout.prove.flood import fill_level
from wetscout.prove.joined import GRAZES_M, joined_pool
from wetscout.prove.sweep import Path


def two_ways_out(bed_west: float, bed_east: float) -> tuple[np.ndarray, np.ndarray]:
    """A basin in the middle, a cut to each side to a lower basin; those drain over the border."""
    ground = np.full((41, 121), 10.0, dtype=np.float32)
    opened = ground.copy()
    for col in (10, 55, 100):
        level = 9.0 if col == 55 else 7.0
        ground[15:26, col : col + 12] = opened[15:26, col : col + 12] = level
    opened[20, 22:55] = bed_west
    opened[20, 67:100] = bed_east
    opened[26:, 15] = opened[26:, 105] = 6.5
    return ground, opened


def three() -> tuple[TrueBasin, ...]:
    rim = Crossing(0, np.array([20.0]), np.array([50.0]), True, False)
    pools = (box(15, 10, 11, 12), box(15, 55, 11, 12), box(15, 100, 11, 12))
    return tuple(basin(k, pool, floor_m=9.0 if k == 1 else 7.0, crossings=(rim,)) for k, pool in enumerate(pools))


@pytest.mark.parametrize(("west", "east", "below"), [(8.9, 9.4, 0), (9.4, 8.9, 2)])
def test_of_two_ways_out_the_lower_takes_the_water(west: float, east: float, below: int) -> None:
    """The first ditch of a basin is not the one that drains it: the truth had taken the first, whichever it was."""
    ground, opened = two_ways_out(west, east)
    assert [b.next_id for b in with_chain(three(), ground, opened, 1.0)] == [-1, below, -1]


def test_a_higher_drained_basin_is_not_entered_and_a_grazed_one_passed() -> None:
    ground, opened = two_ways_out(8.9, 9.4)
    basins = with_chain(three()[::2], ground, opened, 1.0)
    assert [b.next_id for b in basins] == [-1, -1]
    owner = np.full(ground.shape, -1, dtype=np.int32)
    owner[18:21, 30:33] = 7
    assert next_entered(fill_level(opened), (20, 60), owner, GRAZES_M, 1) == -1
    owner[18:21, 30:36] = 7
    assert next_entered(fill_level(opened), (20, 60), owner, GRAZES_M, 1) == 7


OTHER = pytest.param(("several cuts in one rim", 5), marks=pytest.mark.slow)


@pytest.fixture(scope="module", params=[("chains along one ditch", 6), OTHER])
def land(request: pytest.FixtureRequest) -> Landscape:
    kind, seed = request.param
    return make_landscape(kind, seed, 1.0, 1000.0)


def test_the_next_basin_is_that_of_an_independent_library(land: Landscape) -> None:
    pyflwdir = pytest.importorskip("pyflwdir")
    flow = pyflwdir.from_dem(land.opened.astype(np.float32), nodata=-9999.0)
    plain = [replace(b, next_id=-1) for b in land.basins]
    told = {b.node_id: b.next_id for b in with_chain(tuple(plain), land.ground, land.opened, land.cell_m)}
    assert told == {b.node_id: b.next_id for b in land.basins}
    judged = right = 0
    cols = land.z.shape[1]
    for b in land.basins:
        if not b.drained or any(land.basins[n].drained for n in above(land, b.parent_id)):
            continue
        row, col = np.nonzero(b.pool.mask)
        row, col = row + b.pool.row0, col + b.pool.col0
        deep = land.ground[row, col] <= b.floor_m + 0.3 * b.depth_m
        ways = flow.path(idxs=(row[deep] * cols + col[deep])[::20])[0]
        next_by_library = [first_entered(land, b.node_id, way) for way in ways]
        # where the floor drains both ways, which takes more may hang on a few cells
        most = max(set(next_by_library), key=next_by_library.count)
        if next_by_library.count(most) >= 0.8 * len(next_by_library):
            judged += 1
            right += most == told[b.node_id]
    assert judged >= 5
    assert right >= judged - 1, f"{right} of {judged}"


def above(land: Landscape, at: int) -> list[int]:
    out = []
    while at >= 0:
        out.append(at)
        at = land.basins[at].parent_id
    return out


def first_entered(land: Landscape, own: int, way: np.ndarray) -> int:
    """The first other drained basin, outermost of nested ones, that a path wets along five cells."""
    row, col = np.divmod(way, land.z.shape[1])
    best = (way.size, -1)
    for b in land.basins:
        if not b.drained or b.node_id == own or any(land.basins[n].drained for n in above(land, b.parent_id)):
            continue
        r, c = row - b.pool.row0, col - b.pool.col0
        h, w = b.pool.mask.shape
        at = np.flatnonzero((r >= 0) & (r < h) & (c >= 0) & (c < w))
        at = at[with_floor(land, b)[r[at], c[at]]]
        if at.size and max(np.ptp(row[at]), np.ptp(col[at])) + 1 >= GRAZES_M:
            best = min(best, (int(at[0]), b.node_id))
    return best[1]


_FLOORS: dict[tuple[int, int], np.ndarray] = {}  # of 1700 ways each asks for those of a dozen basins


def with_floor(land: Landscape, b: TrueBasin) -> np.ndarray:
    """Keep what `_with_floor` tells."""
    key = (id(land), b.node_id)
    if key not in _FLOORS:
        _FLOORS[key] = _with_floor(land, b)
    return _FLOORS[key]


def _with_floor(land: Landscape, b: TrueBasin) -> np.ndarray:
    """Ground of a pool from which 2 cm and more of water reach a tenth of its deepest third, by scikit-image."""
    h, w = b.pool.mask.shape
    box = (slice(b.pool.row0, b.pool.row0 + h), slice(b.pool.col0, b.pool.col0 + w))
    parts = label(b.pool.mask & (land.opened[box] < b.spill_m - 0.02), connectivity=2)
    deep = b.pool.mask & (land.ground[box] <= b.floor_m + 0.3 * b.depth_m)
    held = [n for n in range(1, parts.max() + 1) if np.sum((parts == n) & deep) >= 0.1 * np.sum(deep)]
    return np.isin(parts, held)


def test_a_ditch_that_ends_beneath_a_road_is_open_to_its_end() -> None:
    """Closing gaps in the stretch under fill took 6 m off a ditch that joins another one under the road."""
    fill = np.zeros((40, 60), dtype=np.float32)
    fill[:, 30:50] = 1.0
    inwards = Path(np.array([5.0, 40.0]), np.array([20.0, 20.0]))
    assert culverts_of(fill, 1.0, inwards) == [(pytest.approx(22.5, abs=1.1), pytest.approx(35.0))]
    outwards = Path(np.array([40.0, 5.0]), np.array([20.0, 20.0]))
    assert culverts_of(fill, 1.0, outwards) == [(0.0, pytest.approx(12.5, abs=1.1))]


def test_a_ditch_between_its_banks_does_not_enter_a_pool() -> None:
    """A ditch along the margin of the eastern pool, parted from it by a bank: its water does not come in."""
    ground, opened = two_ways_out(9.4, 8.9)
    basins = three()
    assert [b.next_id for b in with_chain(basins, ground, opened, 1.0)] == [-1, 2, -1]
    opened[20, 100] = 8.9
    opened[21:26, 100] = 8.8
    opened[26:, 100] = 8.7
    opened[15:26, 101] = opened[19, 100] = 10.0
    assert [b.next_id for b in with_chain(basins, ground, opened, 1.0)] == [-1, -1, -1]
    pool = joined_pool(basins[2].pool, ground, opened, (7.0, 10.0))
    assert pool.mask.sum() == 11 * 10 and not pool.mask[:, :2].any()
    # with a gap of a cell in the bank it does
    opened[23, 101] = 9.0
    assert [b.next_id for b in with_chain(basins, ground, opened, 1.0)] == [-1, 2, -1]
    assert joined_pool(basins[2].pool, ground, opened, (7.0, 10.0)).mask.sum() == 11 * 10 + 1 + 6
