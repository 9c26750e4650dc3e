"""Nests of pools: what is read off cells sorted once is what each pool's own window shows."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import naive_nests
import numpy as np
import pytest
import shapely
from scipy import ndimage

from wetscout.basins import fill, tree_of
from wetscout.buried import Chooser
from wetscout.buried.hollows import Hollow, dry_around, speaks_for
from wetscout.grid import Grid
from wetscout.io import geopackage
from wetscout.io.geopackage_read import digest
from wetscout.kernels import nests
from wetscout.outputs import basins_later, to_layers, write_layers
from wetscout.pipeline import screen_array
from wetscout.records import CUT, FILL, Patch, Screen
from wetscout.records_covered import Zone
from wetscout.settings.buried import BuriedSettings
from wetscout.settings.sites import SiteSettings
from wetscout.sites.judge import measure
from wetscout.sites.pitted import pit_levels, slimness, walled


@cache
def rolling(seed: int, cells: int = 380):
    """Rough ground with nests of pools, a second surface below it and some bits of ditches and roads."""
    rng = np.random.default_rng(seed)
    wide, fine = (ndimage.gaussian_filter(rng.normal(size=(cells, cells)), k) * k for k in (18.0, 5.0))
    natural = (30.0 + 0.9 * wide + 0.25 * fine).astype(np.float32)
    today = (natural - 0.4 * (ndimage.gaussian_filter(rng.normal(size=natural.shape), 6.0) > 0.06)).astype(np.float32)
    corridor = np.where(rng.random(natural.shape) < 0.3, CUT, 0).astype(np.uint8)
    corridor[:, : cells // 2] |= np.where(fine[:, : cells // 2] > 0, FILL, 0).astype(np.uint8)
    return natural, today, corridor


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_pools_are_measured_as_in_their_own_windows(seed: int) -> None:
    natural, today, corridor = rolling(seed)
    tree, s = tree_of(natural, min_depth_m=0.02), SiteSettings()
    filled = fill(today), fill(np.minimum(natural, today + 0.2))
    surfaces = SimpleNamespace(natural=natural, corridor=corridor)
    got = measure(surfaces, tree, filled, (0.02, 0.01), (1.0, s))
    seen = 0
    for i, row in tree.table.iterrows():
        if row["spill_m"] - row["floor_m"] < s.min_depth_m - 0.01 or row["area_m2"] < s.min_area_m2:
            assert not got.looked[i]
            continue
        pool = (tree.labels >= tree.first[i]) & (tree.labels <= i)
        free = pool & ((corridor & (CUT | FILL)) == 0)
        free = pool if free.sum() < 0.3 * pool.sum() else free
        low = np.sort(natural[free])[int(0.01 * free.sum())]
        below = np.count_nonzero(natural[free] < np.float32(row["spill_m"] - 0.5 * (row["spill_m"] - float(low))))
        pit, middle = pit_levels(np.sort(natural[free]), int(free.sum()), (float(row["spill_m"]), float(low)), s)
        pit = -np.inf if below > int(s.pit_within * free.sum()) else pit
        if pit > -np.inf and slimness(np.flatnonzero(free & (natural <= middle)), natural.shape[1]) > s.pit_slim:
            pit = -np.inf
        assert got.pit[i] == pit
        free &= natural > pit
        low = np.sort(natural[free])[int(0.01 * free.sum())]
        deep = free & (natural <= float(low) + s.deep_share * (row["spill_m"] - float(low)))
        assert got.floor[i] == low
        assert got.today[i] == np.median(filled[0][deep])
        assert got.witness[i] == pytest.approx(float(np.median(filled[1][deep])) + 0.01, abs=1e-12)
        held = np.maximum(np.minimum(filled[0][free], row["spill_m"]) - natural[free].astype(float), 0.0).sum()
        share = held / (row["spill_m"] - natural[free].astype(float)).sum()
        assert got.left[i] == pytest.approx(share, rel=1e-9) if got.cut[i] else np.isnan(got.left[i])
        lowest = np.argwhere(free & (natural == natural[free].min()))[0]
        assert got.floor_at[i].tolist() == lowest.tolist()
        seen += 1
    assert seen > 5
    assert (np.diff([tree.first[i] for i in np.flatnonzero(got.looked)]) <= 0).any(), "no pool lies in another"


def bowls(bed_m: float, pocket_m: float) -> tuple[np.ndarray, np.ndarray]:
    """A bowl 0.6 m deep and a narrow one `pocket_m` deep beside it that meet 0.2 m below their common rim at 10 m.

    Returns the natural ground and that with a cut to `bed_m` through the rim of the wide one.
    """
    row, col = np.mgrid[0:90, 0:130].astype(float)
    wide = 10.0 + 0.6 * (np.hypot(row - 45, col - 45) / 32.0) ** 2 - 0.6
    narrow = 10.0 + pocket_m * (np.hypot(row - 45, col - 90) / 14.0) ** 2 - pocket_m
    natural = np.minimum(np.minimum(wide, narrow), 10.0)
    natural[44:47, 45:90] = np.minimum(natural[44:47, 45:90], 9.8)
    natural[[0, -1]], natural[:, [0, -1]] = 9.0, 9.0
    today = natural.copy()
    today[44:47, :46] = np.minimum(today[44:47, :46], bed_m)
    return natural.astype(np.float32), today.astype(np.float32)


@pytest.mark.parametrize(
    ("bed_m", "pocket_m", "cut"),
    [
        # the deepest ground lies in the narrow bowl, which keeps its water; most of the water was in the wide one
        (9.4, 1.3, True),
        # little is lost by a high cut
        (9.9, 1.3, False),
        # less than half the depth is lost, and most of the water
        (9.72, 0.6, True),
        # more of the water stays
        (9.78, 0.6, False),
    ],
)
def test_a_pool_that_lost_most_of_its_water_is_cut_though_a_pocket_stands(bed_m, pocket_m, cut) -> None:
    natural, today = bowls(bed_m, pocket_m)
    tree, s = tree_of(natural, min_depth_m=0.02), SiteSettings()
    surfaces = SimpleNamespace(natural=natural, corridor=np.zeros(natural.shape, np.uint8))
    got = measure(surfaces, tree, (fill(today), fill(today)), (0.0, 0.0), (1.0, s))
    top = int(np.argmax(tree.table["area_m2"]))
    pool = (tree.labels >= tree.first[top]) & (tree.labels <= top)
    held = np.maximum(fill(today) - natural, 0.0)[pool].sum() / (tree.table["spill_m"][top] - natural[pool]).sum()
    assert (held <= s.left_share) == cut
    assert got.cut[top] == cut
    if cut:
        # the level of the drained floor, and the way out begins there
        assert bed_m - 0.01 <= got.today[top] <= max(bed_m, 9.4) + s.deep_share * 0.6
        assert got.floor_at[top, 1] < 75


@pytest.mark.parametrize("seed", range(8))
def test_views_of_pools_show_what_sorting_anew_does(seed: int) -> None:
    """Heights rounded to 1 dm, so that many are alike."""
    rng = np.random.default_rng(seed)
    height = np.round(rng.normal(10.0, 0.5, 400), 1).astype(np.float32)
    free = rng.random(400) < 0.7
    order = np.argsort(height).astype(np.int32)
    view = order, height[order], free[order]
    begin, end = sorted(rng.integers(0, 401, 2).tolist())
    for mine, plain in zip(nests.narrowed(view, begin, end), naive_nests.narrowed(view, begin, end), strict=True):
        np.testing.assert_array_equal(mine, plain)
    for only_free, above, limit in ((True, -np.inf, 10.0), (False, 9.5, 10.2), (True, 9.8, np.inf), (False, 11.0, 9.0)):
        for k in (0, 1, 7, 100, 399):
            given = view, begin, end, only_free, above, k
            assert nests.level_at(*given) == naive_nests.level_at(*given)
        given = view, begin, end, only_free, above, limit
        for mine, plain in zip(nests.lowest(*given), naive_nests.lowest(*given), strict=True):
            np.testing.assert_array_equal(mine, plain)
        lows = nests.lowest_of_each(height)
        np.testing.assert_array_equal(lows, [height[k : k + nests.CHUNK].min() for k in range(0, 400, nests.CHUNK)])
        given = (height, height + 1, height + 2, lows), free, (begin, end), only_free, above, limit
        for mine, plain in zip(nests.levels_over(*given), naive_nests.levels_over(*given), strict=True):
            np.testing.assert_array_equal(mine, plain)
        given = (height, height + 0.2), free, only_free, above, limit
        if limit < np.inf:
            assert nests.share_held(*given) == pytest.approx(naive_nests.share_held(*given), rel=1e-12)
    for few, most, least in ((0, 0, 0.0), (3, 20, 9.0), (5, 60, 9.5), (20, 30, 9.8), (10, 390, 0.0)):
        for only_free in (True, False):
            given = view, begin, end, only_free
            ranks = np.unique([few, most, *range(0, most, 4)])
            at = int(np.searchsorted(ranks, few)), np.float32(least)
            plain = naive_nests.levels_at(*given, ranks, *at)
            np.testing.assert_array_equal(nests.levels_at(*given, ranks, *at), plain)
            np.testing.assert_array_equal(nests.lowest_few(*given, most), naive_nests.lowest_few(*given, most))


@pytest.mark.parametrize("seed", range(6))
def test_the_level_over_most_of_a_floor_is_told_without_taking_it_down(seed: int) -> None:
    rng = np.random.default_rng(seed)
    height, free = rng.uniform(9.0, 11.0, 900).astype(np.float32), rng.random(900) < 0.7
    height[300:700] += np.float32(2.0)
    one, other = np.full(900, 10.5, np.float32), np.full(900, 10.25, np.float32)
    one[rng.random(900) < 0.1 * seed] = np.float32(10.0)
    other[rng.random(900) < 0.6] += rng.random(1).astype(np.float32)
    other[[5, 777]] = np.nan if seed == 4 else 10.25
    grounds = height, one, other, nests.lowest_of_each(height)
    for span, only_free, above, limit in (((0, 900), True, -np.inf, 10.5), ((41, 850), False, 9.5, 10.0)):
        given = grounds, free, span, only_free, above, limit
        cells, *levels = nests.flat_over(*given)
        plain = naive_nests.levels_over(*given)
        assert cells == plain[0].size > 0
        unknown = any(np.isnan(part).any() for part in plain)
        for level, part in zip(levels, plain, strict=True):
            first = not unknown and 2 * np.count_nonzero(part == part[0]) > part.size
            np.testing.assert_equal(level, np.median(part) if first else np.nan)
    assert nests.flat_over(grounds, free, (0, 900), True, 20.0, 21.0)[0] == 0


@pytest.mark.parametrize("seed", range(20))
def test_pools_in_which_some_ranks_show_no_walls_hide_no_pit(seed: int) -> None:
    rng, s = np.random.default_rng(seed), SiteSettings()
    cells = int(rng.integers(30, 3000))
    # a floor, a step of any height and width, and sides
    low = int(rng.uniform(0.0, 0.4) * cells)
    step = np.clip((np.arange(cells) - low) / (rng.uniform(0.005, 0.2) * cells), 0.0, 1.0)
    heights = np.sort(9.0 + rng.uniform(0.2, 0.8) * step + 0.2 * rng.random(cells)).astype(np.float32)
    first, few, walls = int(0.01 * cells), int(s.pit_within * cells), int(s.pit_walls * cells)
    most = first + few + walls
    ranks = np.unique([few, most, *range(first, most, max(1, walls // 8))])
    ends = 10.0, float(heights[first])
    pit, _ = pit_levels(heights[: most + 1], cells, ends, s)
    seen = walled(ranks, heights[ranks], walls, s.pit_drop * (ends[0] - ends[1]))
    assert seen or pit == -np.inf


def test_ranks_tell_most_pools_without_walls_from_those_with() -> None:
    s, ranks = SiteSettings(), np.arange(0, 400, 10)
    even = np.linspace(9.0, 9.6, 400, dtype=np.float32)
    assert not walled(ranks, even[ranks], 80, s.pit_drop * 1.0)
    steep = np.where(np.arange(400) < 200, 9.0, 9.7).astype(np.float32)
    assert walled(ranks, steep[ranks], 80, s.pit_drop * 1.0)


@pytest.mark.parametrize("seed", range(3))
def test_cells_of_a_nest_are_gathered_by_pool(seed: int) -> None:
    natural, today, corridor = rolling(seed + 1, 90)
    labels = np.random.default_rng(seed).integers(-1, 9, (30, 30)).astype(np.int32).repeat(3, axis=0).repeat(3, axis=1)
    box = slice(5, 71), slice(8, 90)
    window = natural[box], today[box], (natural + 1)[box], corridor[box]
    for first, top in ((2, 6), (4, 4), (0, 8)):
        given = window, labels[box], first, top, CUT | FILL
        for mine, plain in zip(nests.gather(*given), naive_nests.gather(*given), strict=True):
            np.testing.assert_array_equal(mine, plain)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.505, 0.6, 1.0])
@pytest.mark.parametrize("unknown", [0, 1])
def test_the_value_that_most_have_is_found_wherever_it_stands(share: float, unknown: int) -> None:
    rng = np.random.default_rng(int(1000 * share))
    for size in (1, 2, 7, 200):
        values = np.where(np.arange(size) < share * size, np.float32(7.5), rng.normal(size=size)).astype(np.float32)
        for turn in (values, values[::-1].copy(), rng.permutation(values)):
            turn[:unknown] = np.nan
            got = nests.majority(turn)
            np.testing.assert_equal(got, naive_nests.majority(turn))
            if not np.isnan(got):
                assert got == np.median(turn)


def plugged(hollow: Hollow) -> bool:
    return hollow.node % 3 == 0


def drained(hollow: Hollow) -> bool:
    return hollow.node % 4 == 0


def dry(mine: Hollow, inner: Hollow, s: BuriedSettings) -> bool:
    """The added ground is large and less than 0.3 of it wet soil; the inner one is wet in the main."""
    wet = [k.zone.wet_soil * k.area_m2 for k in (mine, inner)]
    added = mine.area_m2 - inner.area_m2
    return inner.zone.wet_soil >= 0.8 and added >= 0.4 * mine.area_m2 and (wet[0] - wet[1]) / added < s.wet_soil_least


def plainly(chooser: Chooser, s: BuriedSettings, told: bool) -> dict[int, bool]:
    """All hollows looked at, then the highest of each nest, thin sheets and open ones left for what lies inside.

    By node whether it lies within an open one.
    """
    table, tree = chooser.tree.table, chooser.tree
    size = (table["area_m2"] >= s.min_area_m2) & (table["area_m2"] <= s.max_area_m2)
    wanted = np.flatnonzero(size & (table["spill_m"] - table["floor_m"] >= s.min_depth_m))
    fit: dict[int, Hollow] = {k: h for k in wanted.tolist() if (h := chooser._stood(chooser._hollow(k)))}
    # a sheet is one over a smaller hollow that is no sheet itself
    thin: dict[int, bool] = {}
    for node in sorted(fit):
        mine, within = fit[node], [k for k in range(int(tree.first[node]), node) if k in fit]
        rise = min(s.sheet_rise_m, s.sheet_share * (mine.spill_m - mine.floor_m))
        over = (fit[k] for k in within if not thin[k])
        sheet = any(k.area_m2 * s.sheet_spread <= mine.area_m2 and mine.spill_m - k.spill_m <= rise for k in over)
        wet = [fit[k] for k in within if told and speaks_for(fit[k].zone, s)]
        thin[node] = sheet or (bool(wet) and (not speaks_for(mine.zone, s) or any(dry(mine, k, s) for k in wet)))
    chosen: dict[int, bool] = {}
    opened: list[int] = []
    for node in sorted(fit, reverse=True):
        mine = fit[node]
        if thin[node] or any(tree.first[k] <= node <= k for k in chosen):
            continue
        if plugged(mine) or drained(mine):
            opened.append(node)
        else:
            chosen[node] = any(tree.first[k] <= node <= k for k in opened)
    return dict(sorted(chosen.items()))


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
@pytest.mark.parametrize("told", [False, True])
def test_the_highest_hollows_are_those_of_a_look_at_all(seed: int, told: bool) -> None:
    natural, _, _ = rolling(seed)
    none = np.zeros(natural.shape, np.uint8)
    tree = tree_of(natural, min_depth_m=0.02)
    terrain = SimpleNamespace(water=none.astype(bool), grid=SimpleNamespace(cell_m=1.0))
    surfaces = SimpleNamespace(corridor=none, smooth=natural)
    s = replace(BuriedSettings(), min_area_m2=200.0)

    def zone_at(pool) -> Zone:
        # soil is wet below 0.1 m over the floor, of every second one
        ground = natural[pool.row0 : pool.row0 + pool.mask.shape[0], pool.col0 : pool.col0 + pool.mask.shape[1]]
        low = ground[pool.mask] <= ground[pool.mask].min() + 0.1
        return Zone(wet_soil=float(low.mean()), farmed=1.0) if pool.row0 % 2 else Zone(wet_soil=0.0)

    chooser = Chooser(terrain, surfaces, tree, fill(natural), zone_at if told else None, s)
    got = {hollow.node: hollow.within for hollow in chooser.choose(plugged=plugged, drained=drained)}
    assert got == plainly(chooser, s, told)
    assert len(got) > 3


def hollow_of(area_m2: float, wet: float) -> Hollow:
    pool = Patch(0, 0, np.ones((2, 2), dtype=bool))
    return Hollow(1, pool, 10.0, 9.0, (0, 0), (0, 0), area_m2, False, Zone(wet_soil=wet, farmed=1.0))


def test_a_hollow_that_only_adds_dry_ground_to_one_on_wet_soil_is_passed_for_it() -> None:
    s = BuriedSettings()
    # 1900 m2 of wet soil in 4200 m2 of which the rest is dry, a quarter of it wet, half of it wet
    assert dry_around(hollow_of(4200.0, 0.45), hollow_of(1900.0, 1.0), s)
    assert dry_around(hollow_of(4200.0, 0.59), hollow_of(1900.0, 1.0), s)
    assert not dry_around(hollow_of(4200.0, 0.72), hollow_of(1900.0, 1.0), s)
    # little is added; the inner one is no wetter than the outer
    assert not dry_around(hollow_of(3000.0, 0.64), hollow_of(1900.0, 1.0), s)
    assert not dry_around(hollow_of(4200.0, 0.45), hollow_of(1900.0, 0.6), s)


@cache
def county() -> Screen:
    screen = screen_array(rolling(5, 260)[0], 1.0)
    grid = replace(screen.terrain.grid, x0=500000.0, y0=4800000.0)
    assert isinstance(grid, Grid)
    assert len(screen.basins) > 4
    return replace(screen, terrain=replace(screen.terrain, grid=grid))


def test_masks_made_later_are_those_of_the_tree() -> None:
    screen = county()
    for basin in screen.basins:
        pool = screen.tree.pool(basin.values["_node"])
        assert (pool.row0, pool.col0, pool.shape) == (basin.pool.row0, basin.pool.col0, basin.pool.shape)
        np.testing.assert_array_equal(pool.mask, basin.pool.mask)
    with pytest.raises(IndexError):
        screen.tree.pool_later(len(screen.tree))


def test_a_layer_drawn_while_it_is_written_is_the_same_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    screen = county()
    whole, parts = tmp_path / "whole.gpkg", tmp_path / "parts.gpkg"
    layers = to_layers(screen)
    write_layers(whole, layers)
    monkeypatch.setattr(geopackage, "_ROWS", 3)
    later = basins_later(screen)
    assert later.corners() >= 0.2 * shapely.get_num_coordinates(layers["basins"].geometry.array).sum()
    write_layers(parts, {**layers, "basins": later})
    assert digest(whole) == digest(parts)
    nothing = replace(screen, basins=())
    write_layers(whole, to_layers(nothing), overwrite=True)
    write_layers(parts, {**to_layers(nothing), "basins": basins_later(nothing)}, overwrite=True)
    assert digest(whole) == digest(parts)
