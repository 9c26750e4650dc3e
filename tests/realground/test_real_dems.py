"""The screen on real ground (issue 2, Must hold 3 and 5). Sources of the DEMs: `realground/data.py`.

Places were read off hillshades, before any result was looked at; (row, col) in cells of the DEM.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import ndimage
from transplant.ground import closed_basins
from transplant.score import Found, iou

from .channels import channel_recall
from .data import dem, mapped_channels

pipeline = pytest.importorskip("wetscout.pipeline")

Window = tuple[int, int, int, int]  # row0, row1, col0, col1

# Swales with a ditch down the middle, led under a road at the lower end
SWALES: dict[str, Window] = {"long swale": (180, 730, 590, 930), "second swale": (750, 1005, 480, 900)}
TRAPS: dict[str, Window] = {
    "river arm": (130, 345, 850, 1250),
    "river": (0, 130, 1175, 1250),
    "old arm": (200, 262, 1095, 1215),
    "old meander": (130, 240, 300, 345),
    "dug lake, west": (1070, 1115, 1005, 1105),
    "dug lake, middle": (1070, 1160, 1050, 1172),
    "dug lake, east": (1065, 1165, 1160, 1250),
    "dug lake, south": (1165, 1245, 1085, 1185),
    "farm pond": (735, 795, 935, 1000),
    "moat garden": (850, 930, 270, 350),
    "town": (1000, 1250, 0, 140),
    "industry": (1080, 1250, 600, 775),
}
# Nothing to visit: woods and dunes with tracks, yards, school grounds, town
WASTE: tuple[Window, ...] = (
    (0, 320, 0, 300),
    (320, 470, 60, 170),
    (400, 660, 960, 1250),
    (880, 910, 70, 150),
    (730, 800, 870, 935),
    (1000, 1250, 0, 185),
    (1080, 1250, 600, 930),
    *TRAPS.values(),
)
LAGOON: Window = (18, 48, 148, 195)


def _overlap(site: Any, window: Window) -> tuple[float, float]:
    """Share of the pool in a window, share of the window in the pool."""
    rows, cols = np.nonzero(site.pool.mask)
    rows, cols = rows + site.pool.row0, cols + site.pool.col0
    inside = (rows >= window[0]) & (rows < window[1]) & (cols >= window[2]) & (cols < window[3])
    return float(inside.mean()), float(inside.sum()) / ((window[1] - window[0]) * (window[3] - window[2]))


@pytest.fixture(scope="module")
def dutch() -> Any:
    z, cell = dem("nl_oostrum_2m_core")
    return pipeline.screen_array(z, cell)


@pytest.mark.slow
def test_mapped_channels_are_found(dutch: Any) -> None:
    """AHN lidar, water-board channel lines (public package): >= 85 % of the incised length, <= 3 times the mapped."""
    z, cell = dem("nl_oostrum_2m_core")
    lines = [(d.row, d.col) for d in dutch.linework.ditches if d.sure]
    got = channel_recall(lines, mapped_channels(), z, cell)
    print(f"recall {got.share:.3f}, found {got.found_m / 1000:.1f} km = {got.ratio:.2f} times the mapped length")
    assert got.share >= 0.85
    assert got.ratio <= 3.0


@pytest.mark.slow
def test_mapped_channels_are_found_on_ground_held_back() -> None:
    """The same, north of the core: no setting was tuned on this part."""
    z, cell = dem("nl_oostrum_2m_north")
    screen = pipeline.screen_array(z, cell)
    lines = [(d.row, d.col) for d in screen.linework.ditches if d.sure]
    got = channel_recall(lines, mapped_channels("nl_oostrum_2m_north"), z, cell)
    print(f"recall {got.share:.3f}, found {got.found_m / 1000:.1f} km = {got.ratio:.2f} times the mapped length")
    assert got.share >= 0.85
    assert got.ratio <= 3.0


SHORT = {
    "long swale": "no natural rim: undug ground falls from 18.0 m in the swale to 17.6 m at the road and stands at "
    "17.6-17.8 m behind it, 76-110 m wide below the 18.2 m that a tenth needs; only the road itself would hold water",
}


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=[pytest.mark.xfail(strict=True, reason=SHORT[name])] if name in SHORT else [])
        for name in SWALES
    ],
)
def test_ditched_swales_are_offered(dutch: Any, name: str) -> None:
    """A site lies mostly in the swale and takes up a tenth or more of its window."""
    good = [s for s in dutch.sites if (o := _overlap(s, SWALES[name]))[0] >= 0.5 and o[1] >= 0.1]
    assert good


@pytest.mark.slow
@pytest.mark.parametrize("name", TRAPS)
def test_lakes_town_and_river_are_not_among_the_first_twenty(dutch: Any, name: str) -> None:
    bad = [k + 1 for k, s in enumerate(dutch.sites[:20]) if _overlap(s, TRAPS[name])[0] >= 0.5]
    assert bad == []


@pytest.mark.slow
def test_seven_of_the_first_ten_lie_where_a_person_would_go(dutch: Any) -> None:
    """Issue 2, Must hold 6, as far as a script can: places named before a result was seen."""
    bad = [k + 1 for k, s in enumerate(dutch.sites[:10]) if max(_overlap(s, w)[0] for w in WASTE) >= 0.5]
    print(f"first ten: {bad} lie in woods, yards, town or water")
    assert len(dutch.sites) >= 10 and len(bad) <= 3


@pytest.mark.slow
def test_the_same_ground_in_cells_of_1_m_gives_little_waste() -> None:
    """The core drawn in cells of half the size, with 2 cm of noise: rules for fine cells must stand on real ground too.

    Until roughness was read at a step of 5 m, woods and yards counted as landform there: 33 sites, 7 of them in waste.
    """
    z, _ = dem("nl_oostrum_2m_core")
    fine = ndimage.zoom(z.astype(np.float64), 2, order=3, mode="nearest", grid_mode=True)
    rough = ndimage.gaussian_filter(np.random.default_rng(1).normal(size=fine.shape), 0.6)
    screen = pipeline.screen_array((fine + 0.02 / rough.std() * rough).astype(np.float32), 1.0)
    places = [tuple(2 * v for v in window) for window in WASTE]
    bad = [k + 1 for k, s in enumerate(screen.sites) if max(_overlap(s, w)[0] for w in places) >= 0.5]
    print(f"{len(screen.sites)} sites; {bad} lie in woods, yards, town or water")
    assert 10 <= len(screen.sites) <= 28
    assert sum(k <= 10 for k in bad) <= 3 and len(bad) <= 6


def test_lagoon_is_not_offered_and_the_edge_is_told() -> None:
    """Indiana lidar in feet: metres out; the basin with the dug ditch that leaves over the south edge says so."""
    z, cell = dem("in_fulton_5ft")
    screen = pipeline.screen_array(z, cell)
    assert not [s for s in screen.sites if max(_overlap(s, LAGOON)) >= 0.3]
    last = z.shape[0] - 1
    for s in screen.sites:
        if s.pool.row0 + s.pool.mask.shape[0] - 1 >= last:
            assert s.values["edge"] == 1
    # hollows nested inside that do not reach the edge keep their own numbers; what spills over it is marked
    south = [b for b in (*screen.sites, *screen.basins) if _overlap(b, (660, 795, 280, 430))[1] >= 0.2]
    leaving = [b for b in south if b.values["_spill_row"] >= last - 1 or b.pool.row0 + b.pool.mask.shape[0] - 1 >= last]
    assert leaving and all(b.values["edge"] == 1 for b in leaving)


def test_no_sinkhole_is_offered() -> None:
    z, cell = dem("in_feldun_3m")
    screen = pipeline.screen_array(z, cell)
    sinks = ((60, 190, 335, 460), (230, 295, 335, 465), (295, 312, 338, 396), (88, 108, 170, 195))
    assert not [s for s in screen.sites for w in sinks if _overlap(s, w)[0] >= 0.3]
    # nor a valley that a road holds: no ditch drains a basin on this tile (looked at on the hillshade)
    assert not screen.sites


@pytest.mark.parametrize("name", ["ia_hoffman_3m", "ia_willis_3m"])
def test_closed_iowa_basins_are_whole(name: str) -> None:
    """Every closed basin that scikit-image's fill finds is listed, whole; none is called ditch-drained."""
    z, cell = dem(name)
    screen = pipeline.screen_array(z, cell)
    for closed in closed_basins(z, cell):
        mine = [b for b in screen.basins if iou(closed.pool, Found(b.pool.row0, b.pool.col0, b.pool.mask, 0.0)) >= 0.5]
        assert mine, f"basin at {closed.floor} is missing"
        assert {b.values["rim"] for b in mine} == {"whole"}
    assert not [s for s in screen.sites if "ditch" in s.values["drained_by"]]


@pytest.mark.slow
def test_ten_million_cells_complete() -> None:
    z, cell = dem("nl_venray_5m_wide")
    screen = pipeline.screen_array(z, cell)
    assert screen.basins
