"""Lines raised above the ground on both sides, found by the mirror of the ditch test."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wetscout import large
from wetscout.kernels import along
from wetscout.kernels import lines as kernel
from wetscout.kernels.columns import columns_running_median
from wetscout.linework import attributes, join, lanes, shape, trace
from wetscout.records import Embankment
from wetscout.settings.linework import LineworkSettings

# side slope at which a fill ends; flatter than that of a cut, since fill is spread
TOE_SLOPE = 0.08
# a crown may be this wide before its side slope begins
HALF_CROWN_M = 8.0
# a road is straight, long, and of these widths and heights (county and farm roads; common practice, no source)
ROAD_WIDTH_M = (5.0, 24.0)
ROAD_HEIGHT_M = (0.25, 2.0)
# a railway keeps its grade over low ground: its fill is higher, with a ditch at its foot (of seven railways on the rims
# of invented hollows three stood 2.1-2.7 m high); no ditch leaves spoil as high as that
RAILWAY_HEIGHT_M = 5.0
# a crest with ditches on both sides of so much of it is a road or a railway where it stands over the mean of the ground
# on both sides: fill on a slope does not stand over the upper side (three of the seven)
BOTH_SIDES = 0.6
ROAD_LENGTH_M = 100.0
ROAD_STRAIGHT = 0.93
# a track or hedge bank may end at a ditch or a road sooner, if it is narrow and straight (common practice, no source)
TRACK_LENGTH_M = 40.0
TRACK_WIDTH_M = 12.0
TRACK_STRAIGHT = 0.97
# fill is heaped: its steeper side is steeper than this, or it is a worn lane, see `lanes.lane_height`. A gentler crest
# is a natural ridge, a dune, a scroll bar or a beach ridge: on 30 strangers' squares 37 such ridges with sides of
# 0.10-0.18 passed for roads, none of which stands the test of a lane; all of 18 lanes as gentle (0.08-0.16) do, and 40
# other roads measure 0.22-0.57
GENTLE_SIDE = 0.2
SIDE_RUN_M = 2.0
SIDE_WITHIN_M = 14.0
# a dike stands higher than spread spoil and winds with the water it holds
DIKE_HEIGHT_M = 1.0
RIDGE_WIDTH_M = 26.0
# share of a ditch that a road must run along
ALONG_SHARE = 0.6


def find_embankments(
    s: NDArray[np.float32],
    found: trace.Cells,
    cell_m: float,
    settings: LineworkSettings,
    ditches: Sequence[NDArray[np.float64]] = (),
) -> list[trace.Line]:
    """Crest lines of raised ground.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    found : Cells
        Raised cells.
    cell_m : float
        [m].
    settings : LineworkSettings
    ditches : sequence of float64 (n, 2)
        Stations of ditches [cells]: what lies beside one is spoil, no piece of a lane.

    Returns
    -------
    list of Line
    """
    seed = found.depth >= settings.raise_seed_m
    kept = trace.groups_kept(found, seed, cell_m, settings.group_m, settings.seed_share)
    lines = trace.middle_lines(found.keys[kept], found.cols, cell_m, settings.spur_m)
    lines = join.join_gaps(lines, settings.gap_m, settings.cone_deg, cell_m)
    turned = np.negative(s, out=large.empty(s.shape, np.float32))
    lines = [shape.recentre(turned, line, cell_m, settings.centre_m) for line in lines]
    lines = join.join_gaps(lines, 2.0 * settings.gap_m, 0.6 * settings.cone_deg, cell_m)
    long = [line for line in lines if _long(line, cell_m, settings)]
    crests = []
    for line in long:
        both, mean = rises(turned, line, cell_m, settings)
        if max(both, mean) >= settings.raise_min_m:
            crests.append(line if both >= settings.raise_min_m else trace.Line(line.row, line.col, False))
    return lanes.with_lanes(turned, found, (crests, ditches), cell_m, settings)


def _long(line: trace.Line, cell_m: float, settings: LineworkSettings) -> bool:
    """Whether a crest is long, or straight enough to be a short track."""
    length = line.length(cell_m)
    if length >= settings.raise_length_m:
        return True
    return length >= TRACK_LENGTH_M and attributes.straightness(line.xy, cell_m) >= TRACK_STRAIGHT


def rises(
    turned: NDArray[np.float32], line: trace.Line, cell_m: float, settings: LineworkSettings
) -> tuple[float, float]:
    """How far a crest exceeds the ground farther out as well; the strip between two cuts does not.

    Parameters
    ----------
    turned : float32 (rows, cols)
        Smoothed ground upside down [m].
    line : Line
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    both, mean : float
        Over the higher side, and over the mean of both, as fill on a slope does [m]; NaN where nothing is known.
    """
    half = 10.0 / cell_m
    run = max(1, round(6.0 / cell_m))
    t = shape.tangents(line.xy, run)
    along_r, along_c = np.ascontiguousarray(t[:, 0]), np.ascontiguousarray(t[:, 1])
    near = settings.raise_beyond_m / cell_m
    rise = kernel.line_depths(turned, line.row, line.col, along_r, along_c, near, near + 6.0 / cell_m, half, 5)
    offsets = np.array([-near - 6.0 / cell_m, -near, 0.0, near, near + 6.0 / cell_m])
    ground = shape.sections_of(turned, line.xy, offsets, run)
    mean = ground[:, [0, 1, 3, 4]].mean(axis=1) - ground[:, 2]
    return attributes.known_median(rise), attributes.known_median(mean)


def describe(
    z: NDArray[np.float32],
    lines: list[trace.Line],
    ditches: Sequence[NDArray[np.float64]],
    cell_m: float,
    settings: LineworkSettings,
) -> tuple[Embankment, ...]:
    """Records of crest lines, in order of their first station.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    lines : list of Line
    ditches : sequence of float64 (n, 2)
        Stations of the ditches [cells].
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    tuple of Embankment
    """
    tree = lanes.tree_of(ditches)
    turned = np.negative(z, out=large.empty(z.shape, np.float32))
    out: list[Embankment] = []
    for line in sorted(lines, key=lambda x: (round(float(x.row[0]), 3), round(float(x.col[0]), 3))):
        height, width, side = _size(z, line, cell_m)
        beside, alone_m = lanes.beside(tree, line.xy, cell_m, settings)
        kind = "road"
        if line.sure:
            straight = attributes.straightness(line.xy, cell_m)
            # spoil lies where something was dug: a straight bank that goes on for so long without is none
            if straight >= TRACK_STRAIGHT and alone_m >= ROAD_LENGTH_M:
                beside = 0.0
            lane_m = lanes.lane_height(turned, line.xy, cell_m)
            gentle = cell_m <= settings.notch_cell_m and side < GENTLE_SIDE and not lane_m
            kind = kind_of(height, width, line.length(cell_m), straight, beside, gentle)
            if kind == "unclear" and lane_m:
                kind, height = "road", lane_m
        elif not _road_on_slope(line, tree, cell_m, settings):
            continue
        out.append(Embankment(len(out) + 1, line.row, line.col, height, width, kind))
    return tuple(out)


def _road_on_slope(line: trace.Line, tree: cKDTree | None, cell_m: float, settings: LineworkSettings) -> bool:
    """Whether a crest over which the upper side stands is long, straight, and has a ditch to its left and right."""
    straight = attributes.straightness(line.xy, cell_m) >= TRACK_STRAIGHT
    if tree is None or not straight or line.length(cell_m) < ROAD_LENGTH_M:
        return False
    t = shape.tangents(line.xy, max(1, round(6.0 / cell_m)))
    across = np.column_stack((-t[:, 1], t[:, 0])) * (0.5 * (settings.spoil_from_m + settings.spoil_to_m) / cell_m)
    reach = 0.5 * (settings.spoil_to_m - settings.spoil_from_m) / cell_m + 1e-6
    sides = [np.isfinite(tree.query(line.xy + side * across, distance_upper_bound=reach)[0]) for side in (-1.0, 1.0)]
    return bool((sides[0] & sides[1]).mean() >= BOTH_SIDES)


def _size(z: NDArray[np.float32], line: trace.Line, cell_m: float) -> tuple[float, float, float]:
    """Median height over the lower toe and width between the toes [m], and the slope of the steeper side."""
    step = max(0.5, 0.5 * cell_m)
    n = int(np.ceil(28.0 / step))
    offsets = np.arange(-n, n + 1, dtype=np.float64) * step / cell_m
    run = max(1, round(6.0 / cell_m))
    every = max(1, round(attributes.EVERY_M / cell_m))
    ground = columns_running_median(shape.sections_of(z, line.xy, offsets, run), run, every)
    rows = ground.shape[0]
    crest = kernel.row_median(ground, np.full(rows, n - 2), np.full(rows, n + 3))
    width = np.zeros(rows)
    toes = []
    for part in (ground[:, n:], ground[:, n::-1]):
        half = attributes.half_width(-part, step, TOE_SLOPE, HALF_CROWN_M)
        first = np.ceil(half / step).astype(np.int64)
        toes.append(kernel.row_median(np.ascontiguousarray(part), first, first + int(4.0 / step)))
        width += half
    height = crest - np.fmax(toes[0], toes[1])
    falls, _ = attributes.side_falls(ground, step, SIDE_RUN_M, SIDE_WITHIN_M)
    side = float(np.fmax(attributes.known_median(falls[0]), attributes.known_median(falls[1])))
    return attributes.known_median(height), attributes.known_median(width), side


def kind_of(
    height: float, width: float, length: float, straight: float, beside_ditch: float, gentle: bool = False
) -> str:
    """Name the kind of an embankment.

    Parameters
    ----------
    height, width, length : float
        [m].
    straight : float
        0-1.
    beside_ditch : float
        Share of the length with a ditch at spoil distance.
    gentle : bool
        Whether its sides are too gentle for fill, and it is no worn lane.

    Returns
    -------
    str
        One of the words of `records.Embankment.kind`.
    """
    most = RAILWAY_HEIGHT_M if beside_ditch >= 0.5 else ROAD_HEIGHT_M[1]
    road = (
        ROAD_WIDTH_M[0] <= width <= ROAD_WIDTH_M[1]
        and ROAD_HEIGHT_M[0] <= height <= most
        and length >= ROAD_LENGTH_M
        and straight >= ROAD_STRAIGHT
    )
    if not gentle and road and (width >= 9.0 or beside_ditch < 0.5):
        return "road"
    track = ROAD_WIDTH_M[0] <= width <= TRACK_WIDTH_M and ROAD_HEIGHT_M[0] <= height <= ROAD_HEIGHT_M[1]
    if not gentle and track and length >= TRACK_LENGTH_M and straight >= TRACK_STRAIGHT and beside_ditch < 0.5:
        return "road"
    if beside_ditch >= 0.5:
        return "spoil"
    if width > RIDGE_WIDTH_M:
        return "natural ridge"
    if height >= DIKE_HEIGHT_M:
        return "dike"
    return "unclear"


def road_beside(
    ditches: Sequence[NDArray[np.float64]],
    embankments: Sequence[Embankment],
    cell_m: float,
    settings: LineworkSettings,
) -> tuple[list[bool], list[NDArray[np.bool_]]]:
    """For each ditch, whether a road embankment runs along most of it, and which stations lie beside one.

    Where a ditch meets a road at an angle the fill is a bank of it near the crossing, but it is no roadside ditch.

    Parameters
    ----------
    ditches : sequence of float64 (n, 2)
        Stations [cells].
    embankments : sequence of Embankment
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    list of bool, list of bool (n,)
    """
    near, beside = _along_roads(ditches, embankments, cell_m, settings)
    return [bool(p.mean() >= ALONG_SHARE) for p in beside], near


def leave_roads(
    ditches: Sequence[NDArray[np.float64]],
    embankments: Sequence[Embankment],
    cell_m: float,
    settings: LineworkSettings,
) -> list[list[slice]]:
    """Roadside ditches without the legs at their ends that lead away from the road.

    A field ditch that comes from a basin and the ditch beside the road that takes it up are traced as one line.

    Parameters
    ----------
    ditches : sequence of float64 (n, 2)
        Stations [cells].
    embankments : sequence of Embankment
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    list of list of slice
        Stations of the pieces of each line, in order; one of all of them where nothing is cut off.
    """
    near, beside = _along_roads(ditches, embankments, cell_m, settings)
    # in wide cells lines waver too much for their direction to tell: there a leg is longer and leads out of reach
    fine = cell_m <= settings.notch_cell_m
    least = max(2, round((1.0 if fine else 2.0) * settings.leave_road_m / cell_m))
    out = []
    for mask in beside if fine else near:
        at = [0, mask.size]
        if mask.size and mask.mean() >= ALONG_SHARE:
            first, last = int(mask.argmax()), mask.size - int(mask[::-1].argmax())
            if last - first >= least:
                at[1:1] = [k for k, leg in ((first, first), (last, mask.size - last)) if leg >= least]
        out.append([slice(a, b) for a, b in pairwise(at)])
    return out


def _along_roads(
    ditches: Sequence[NDArray[np.float64]],
    embankments: Sequence[Embankment],
    cell_m: float,
    settings: LineworkSettings,
) -> tuple[list[NDArray[np.bool_]], list[NDArray[np.bool_]]]:
    """Stations within reach of a road, and those of them at which the line runs in its direction."""
    roads = [np.column_stack((e.row, e.col)) for e in embankments if e.kind == "road"]
    if not roads:
        none = [np.zeros(len(p), dtype=np.bool_) for p in ditches]
        return none, none
    tree = cKDTree(np.concatenate(roads))
    half = max(1, round(6.0 / cell_m))
    # a station without a road in reach gets the last direction, which is none
    ways = np.concatenate([*(shape.tangents(road, half) for road in roads), np.zeros((1, 2))])
    # in cells of 2 m and more lines waver too much: strips beside Dutch roads became sites
    least = float(np.cos(np.deg2rad(settings.road_turn_deg))) if cell_m <= settings.notch_cell_m else 0.0
    if not ditches:
        return [], []
    points = np.ascontiguousarray(np.concatenate(ditches))
    start = np.cumsum([0, *(len(p) for p in ditches)])
    # all lines at once: a look-up for each took ten times as long
    far, at = tree.query(points, distance_upper_bound=settings.road_reach_m / cell_m + 1e-6)
    near = far * cell_m <= settings.road_reach_m
    beside = near & (np.abs((ways[at] * along.tangents_of(points, start, half)).sum(axis=1)) >= least)
    parts = [slice(a, b) for a, b in pairwise(start.tolist())]
    return [near[part] for part in parts], [beside[part] for part in parts]
