"""The stage: from clean terrain to ditches, embankments and crossings."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from wetscout import large
from wetscout.linework import attributes, cells, courses, embankments, join, kinds, select, shape, streams, trace
from wetscout.linework.crossings import crossings
from wetscout.linework.furrows import furrows
from wetscout.linework.gather import RunTiles, Test, kept_cells
from wetscout.linework.steps_in_bed import bed_steps
from wetscout.records import Ditch, Embankment, Linework, Terrain
from wetscout.settings.linework import LineworkSettings

# water wider than this is no ditch; narrower water at survey is the bed of one flown wet
WIDE_WATER_M = 12.0
# an unsure cell this near to a line already found belongs to it
TAKEN_M = 5.0
# the middle of a wide cut may be this far from a line found along one of its slopes
WIDE_TAKEN_M = 7.0
Each = Callable[..., list[Any]]


def one_by_one(work: Callable[[Any], Any], things: Iterable[Any]) -> list[Any]:
    """Call a function on each of many things.

    Parameters
    ----------
    work : callable
    things : iterable

    Returns
    -------
    list
    """
    return [work(thing) for thing in things]


def find_lines(
    terrain: Terrain, settings: LineworkSettings, run_tiles: RunTiles | None = None, each: Each = one_by_one
) -> Linework:
    """Find what was dug into the ground and what was heaped on it.

    Parameters
    ----------
    terrain : Terrain
        Clean ground; no line is drawn over no-data or wide water.
    settings : LineworkSettings
    run_tiles : callable, optional
        `run_tiles(work, halo_cells)` calls `work((row0, row1, col0, col1))` for windows that cover the DEM once and
        returns the answers. `work` reads its own halo, so tiles may run at once. Default: the whole DEM as one.
    each : callable, optional
        Calls a function on each of many things, answers in their order; one by one by default.

    Returns
    -------
    Linework
        Ditches in order of their first station. `sure` lines are what a user should see listed; the others (weaker,
        shorter) only help to rebuild the surfaces.
    """
    cell_m = terrain.grid.cell_m
    z = ground_only(terrain)
    if min(z.shape) < 3 or not np.isfinite(z).any():
        return Linework()
    s = cells.smooth_whole(z, cell_m)
    low_m = max(settings.depth_floor_m, settings.relief_factor * cells.small_relief(z, cell_m, settings, s))
    near, wide, raised = kept_cells(s, cell_m, tests_for(cell_m, low_m, settings), run_tiles)
    known, beds = sure_lines(s, (near, wide), (cell_m, low_m), settings, each)
    found = unsure_lines(s, near, (known, beds), (cell_m, low_m), settings, each)
    dug = [line.xy for line in found if line.sure]
    crests = embankments.find_embankments(s, raised, cell_m, settings, dug)
    ditches, banks = describe((z, s), (found, crests), cell_m, settings, each)
    passed = crossings(z, ditches, banks, cell_m, settings)
    return Linework(ditches, banks, passed, bed_steps(ditches, cell_m, settings))


def ground_only(terrain: Terrain) -> NDArray[np.float32]:
    """Ground with wide water taken out.

    Parameters
    ----------
    terrain : Terrain

    Returns
    -------
    float32 (rows, cols)
        [m]. Water narrower than 12 m stays: it is what a ditch flown wet shows.
    """
    z: NDArray[np.float32] = np.ascontiguousarray(terrain.z, dtype=np.float32)
    if not terrain.water.any():
        return z
    half = max(1, round(0.5 * WIDE_WATER_M / terrain.grid.cell_m))
    side = np.ones((2 * half + 1, 2 * half + 1), dtype=bool)
    out = large.copy(z)
    for own, read, inner in large.strips(terrain.grid.shape, 2 * half):
        if terrain.water[read].any():
            np.copyto(out[own], np.float32(np.nan), where=ndimage.binary_opening(terrain.water[read], side)[inner])
    return out


def tests_for(cell_m: float, low_m: float, settings: LineworkSettings) -> tuple[Test, ...]:
    """The three tests of every cell: against near banks, against banks beyond a wide cut, and for raised lines.

    Parameters
    ----------
    cell_m, low_m : float
        Cell size, least depth of the sure lines [m].
    settings : LineworkSettings

    Returns
    -------
    tuple of Test
        The first keeps cells down to the depth of the unsure lines.
    """
    near = cells.thresholds_for(
        cell_m, settings.weak_factor * low_m, (settings.band_from_m, settings.band_to_m), settings
    )
    wide_m = max(settings.wide_depth_m, 2.0 * low_m)
    wide = cells.thresholds_for(cell_m, wide_m, (settings.wide_from_m, settings.wide_to_m), settings)
    raised_band = (settings.raised_from_m, settings.raised_to_m)
    raised = cells.thresholds_for(cell_m, settings.raise_min_m, raised_band, settings)
    near = replace(near, screen_m=settings.screen_factor * low_m)
    return Test(near), Test(wide), Test(raised, raised=True)


def sure_lines(
    s: NDArray[np.float32],
    cells_found: tuple[trace.Cells, trace.Cells],
    scale: tuple[float, float],
    settings: LineworkSettings,
    each: Each = one_by_one,
) -> tuple[list[trace.Line], list[trace.Line]]:
    """Lines from groups with enough deep and sharp cells, joined and followed to their ends.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    cells_found : (Cells, Cells)
        Against the near bands, and against bands beyond the shoulders of old wide cuts.
    scale : (float, float)
        Cell size, least depth [m].
    settings : LineworkSettings
    each : callable, optional
        As in `find_lines`.

    Returns
    -------
    lines, furrows : list of Line
        Lines that fail the test of a whole line come back unsure; furrows of bed fields are no lines at all.
    """
    (found, wide), (cell_m, low_m) = cells_found, scale
    deep = found.where(found.depth >= low_m)
    seed = (deep.depth >= settings.seed_factor * low_m) & (deep.saturation >= settings.seed_saturation)
    kept = trace.groups_kept(deep, seed, cell_m, settings.group_m, settings.seed_share)
    lines = trace.middle_lines(deep.keys[kept], deep.cols, cell_m, settings.spur_m)
    # before joining: furrow ends lie so near to each other that joining makes zigzags of them
    furrow = furrows(lines, cell_m, settings)
    beds = [line for line, f in zip(lines, furrow, strict=True) if f]
    lines = [line for line, f in zip(lines, furrow, strict=True) if not f]
    lines += _wide_lines(wide, lines, cell_m, settings)
    lines = join.join_gaps(lines, settings.gap_m, settings.cone_deg, cell_m)
    lines = each(lambda line: shape.recentre(s, line, cell_m, settings.centre_m), lines)
    lines = shape.extend(s, lines, cell_m, settings.extend_m, settings)
    lines = join.join_gaps(lines, settings.gap_m, settings.cone_deg, cell_m)
    lines = each(lambda line: shape.recentre(s, line, cell_m, 0.5 * settings.centre_m), lines)
    legs = each(lambda line: select.judged(s, line, cell_m, low_m, settings), lines)
    return [leg for of_one in legs for leg in of_one], beds


def _wide_lines(
    wide: trace.Cells, known: list[trace.Line], cell_m: float, settings: LineworkSettings
) -> list[trace.Line]:
    """Middle lines of cuts too wide for the near bands, where no line is yet."""
    rest = wide.where(~_near_lines(wide, known, WIDE_TAKEN_M / cell_m))
    seed = rest.saturation >= settings.seed_saturation
    kept = trace.groups_kept(rest, seed, cell_m, settings.group_m, settings.seed_share)
    return trace.middle_lines(rest.keys[kept], rest.cols, cell_m, settings.spur_m)


def unsure_lines(
    s: NDArray[np.float32],
    found: trace.Cells,
    there: tuple[list[trace.Line], list[trace.Line]],
    scale: tuple[float, float],
    settings: LineworkSettings,
    each: Each = one_by_one,
) -> list[trace.Line]:
    """Add weaker and shorter lines away from those already found, and lead ends to the lines they meet.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    found : Cells
    there : (list of Line, list of Line)
        Lines, and furrows near which nothing is looked for.
    scale : (float, float)
        Cell size and least depth [m].
    settings : LineworkSettings
    each : callable, optional
        As in `find_lines`.

    Returns
    -------
    list of Line
        What is added is unsure and stays apart from the sure lines, which keep their ends.
    """
    (known, beds), (cell_m, low_m) = there, scale
    rest = found.where(~_near_lines(found, known + beds, TAKEN_M / cell_m))
    seed = rest.saturation >= settings.seed_saturation
    kept = trace.groups_kept(rest, seed, cell_m, settings.group_m, settings.seed_share)
    weak = trace.middle_lines(rest.keys[kept], rest.cols, cell_m, settings.spur_m)
    sure, unsure = [line for line in known if line.sure], [line for line in known if not line.sure]
    # furrows of one field are found partly with the first lines and partly here: they count as neighbours together
    furrow = furrows(weak + unsure + beds + sure, cell_m, settings)[: len(weak) + len(unsure)]
    weak = [replace(line, sure=False) for line, f in zip(weak + unsure, furrow, strict=True) if not f]
    weak = join.join_gaps(weak[::-1], settings.gap_m, settings.cone_deg, cell_m)
    lines = shape.extend(s, sure + weak, cell_m, settings.extend_weak_m, settings, apart=True)
    sure, weak = lines[: len(sure)], lines[len(sure) :]
    weak = each(lambda line: shape.recentre(s, line, cell_m, settings.centre_m), weak)
    weak = [leg for line in weak for leg in select.judged(s, line, cell_m, low_m, settings)]
    weak = select.worth_keeping(s, sure, weak, cell_m, low_m, settings)
    lines = join.lead_to_sides(sure + weak, settings.snap_m, cell_m)
    return [join.lead_off_ground(s, line, settings.edge_m, cell_m) for line in lines]


def _near_lines(found: trace.Cells, lines: list[trace.Line], reach: float) -> NDArray[np.bool_]:
    """Cells within `reach` cells of any line."""
    if not lines or found.keys.size == 0:
        return np.zeros(found.keys.size, dtype=np.bool_)
    tree = cKDTree(np.concatenate([line.xy for line in lines]))
    far, _ = tree.query(np.column_stack(np.divmod(found.keys, found.cols)), distance_upper_bound=reach + 1.0)
    near: NDArray[np.bool_] = far <= reach
    return near


def describe(
    ground: tuple[NDArray[np.float32], NDArray[np.float32]],
    lines: tuple[list[trace.Line], list[trace.Line]],
    cell_m: float,
    settings: LineworkSettings,
    each: Each = one_by_one,
) -> tuple[tuple[Ditch, ...], tuple[Embankment, ...]]:
    """Records of lines, in order of their first station.

    Parameters
    ----------
    ground : (float32 (rows, cols), float32 (rows, cols))
        As it is and smoothed [m].
    lines : (list of Line, list of Line)
        Cuts and crests.
    cell_m : float
        [m].
    settings : LineworkSettings
    each : callable, optional
        As in `find_lines`.

    Returns
    -------
    ditches, embankments : tuple of records
    """
    (z, s), (cuts, raised) = ground, lines
    known = each(lambda line: attributes.profile_of(z, line, cell_m, settings), cuts)
    found = [(line, p) for line, p in zip(cuts, known, strict=True) if p is not None]
    points = [p.points for _, p in found]
    banks = embankments.describe(z, raised, points, cell_m, settings)
    _, near_road = embankments.road_beside(points, banks, cell_m, settings)
    disturbed = [a | b for a, b in zip(_junctions(points, cell_m), near_road, strict=True)]
    pieces = streams.cut_apart([p for _, p in found], disturbed, cell_m, settings)
    kept = [(line, p, stream) for (line, _), parts in zip(found, pieces, strict=True) for p, stream in parts]
    legs = embankments.leave_roads([p.points for _, p, _ in kept], banks, cell_m, settings)
    kept = [
        (line, p if len(own) == 1 else attributes.downhill(streams.part_of(p, leg), cell_m), stream)
        for (line, p, stream), own in zip(kept, legs, strict=True)
        for leg in own
    ]
    kept.sort(key=lambda pair: (round(pair[1].points[0, 0], 3), round(pair[1].points[0, 1], 3), pair[1].bed.size))
    points = [p.points for _, p, _ in kept]
    road, near_road = embankments.road_beside(points, banks, cell_m, settings)
    beside = _junctions(points, cell_m)
    ruled = streams.are_ruled(points, cell_m, settings).tolist()
    signs = []
    for i, (_, p, stream) in enumerate(kept):
        climb = attributes.bank_climb(p, beside[i])
        around = kinds.Around(climb, road[i], beside[i] | near_road[i], stream, ruled[i])
        signs.append(kinds.signs_of(s, p, around, cell_m, settings))
    named = courses.go_on(points, signs, [kinds.kind_of(sign, settings) for sign in signs], cell_m, settings)
    dug = [i for i, sign in enumerate(signs) if sign.sides != "gentle"]
    sure = [
        line.sure or (kind != "natural stream" and kinds.is_main_drain(sign, settings))
        for (line, _, _), sign, kind in zip(kept, signs, named, strict=True)
    ]
    ditches = (kinds.ditch_of(n + 1, kept[i][1], signs[i], named[i], sure[i]) for n, i in enumerate(dug))
    return tuple(ditches), banks


def _junctions(points: list[NDArray[np.float64]], cell_m: float) -> list[NDArray[np.bool_]]:
    """Stations that lie beside another line."""
    if not points:
        return []
    every = np.concatenate(points)
    owner = np.repeat(np.arange(len(points)), [p.shape[0] for p in points])
    pairs = cKDTree(every).query_pairs(attributes.JUNCTION_M / cell_m, output_type="ndarray")
    pairs = pairs[owner[pairs[:, 0]] != owner[pairs[:, 1]]]
    hit = np.zeros(every.shape[0], dtype=np.bool_)
    hit[pairs.ravel()] = True
    return list(np.split(hit, np.cumsum([p.shape[0] for p in points])[:-1]))
