"""Cut graded ditches through the rims of closed basins of real ground, and say what is true of them.

The truth is the basin before the cut. Sections follow common practice for field ditches (no source): bed 0.8-2.5 m,
sides 1.3-2 : 1, soil laid 0.1-0.35 m high beside it on none, one or both sides; a third pass beneath a road on 0.9 m of
fill that the DEM shows closed.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .ground import ClosedBasin, closed_basins, fill, whole
from .route import BEYOND_M, STATION_M, Line, at, least_cut, straighten

F64 = NDArray[np.float64]
BOOL = NDArray[np.bool_]

MAX_CUT_M = 2.6  # a deeper cut is no field ditch [m]
SUBCELL_M = 0.5  # sections are averaged over sub-cells of about this size [m]
ROAD_FILL_M = 0.9  # issue: roads of 0.9 m fill [m]
ROAD_TOP_M = 7.0  # two lanes of a farm road with shoulders [m]
ROAD_SIDE = 2.0  # fill slope, horizontal : vertical
DRAINED_SHARE = 0.5  # a basin counts as drained when at least this share of its volume is gone,
DRAINED_LOST_M = 0.15  # and its water level has dropped by this much [m]
WHOLE_LOST_M = 0.03  # a basin counts as whole when its level dropped by no more than this [m]


@dataclass(frozen=True)
class Truth:
    """A basin before the cut, and the cut.

    Attributes
    ----------
    pool : bool (rows, cols)
        Pool of the uncut ground at its spill level.
    spill_m, floor_m, area_m2, volume_m3 : float
    state : str
        `drained`; `whole` (no cut of ours reaches it); `partly` (neither: not scored).
    lost_m, lost_share : float
        Drop of the water level, share of the volume that drains, roads open.
    line : Line or None
        The ditch dug for it.
    rim_row, rim_col : float64 (n,)
        Stations where the ditch goes through ground above the spill level: any plug here closes it.
    road : bool
        The ditch is led under a road.
    why : str
        Why no ditch was dug, else empty.
    """

    pool: BOOL
    spill_m: float
    floor_m: float
    area_m2: float
    volume_m3: float
    state: str
    lost_m: float
    lost_share: float
    line: Line | None
    rim_row: F64
    rim_col: F64
    road: bool
    why: str = ""


@dataclass(frozen=True)
class Transplant:
    """A DEM with transplanted ditches, the same DEM untouched, and the truth (cells of `cell_m`)."""

    z: F64
    untouched: F64
    cell_m: float
    truths: tuple[Truth, ...]


@dataclass(frozen=True)
class Section:
    """A ditch's cross-section and spoil [m; sides as horizontal : vertical]."""

    bed_w: float
    side: float
    spoil_m: float
    spoil_sides: tuple[int, ...]
    depth0_m: float
    grade: float


@dataclass
class _Dug:
    basin: ClosedBasin
    section: Section
    line: Line | None = None
    why: str = ""
    road: bool = False
    cells: NDArray[np.int64] = field(default_factory=lambda: np.zeros((0, 2), dtype=np.int64))


def draw_section(rng: np.random.Generator) -> Section:
    """Draw a section from the ranges of the issue."""
    sides = ((), (-1,), (1,), (-1, 1))[int(rng.integers(0, 4))]
    return Section(
        bed_w=float(rng.uniform(0.8, 2.5)),
        side=float(rng.uniform(1.3, 2.0)),
        spoil_m=float(rng.uniform(0.1, 0.35)),
        spoil_sides=sides,
        depth0_m=float(rng.uniform(0.2, 0.45)),
        grade=float(rng.uniform(0.0006, 0.002)),
    )


def lay(z: F64, basin: ClosedBasin, section: Section, cell_m: float) -> tuple[Line | None, str]:
    """Route and bed of a ditch on the ground so far; None and the reason when none can be dug."""
    filled = fill(z)
    bed0 = basin.floor_m - section.depth0_m
    cells = least_cut(z, filled, basin, cell_m, bed0, section.grade)
    if cells is None or len(cells) < 3:
        return None, "no lower ground within reach"
    row, col, along = straighten(cells, cell_m, within_m=max(3.0, 1.2 * cell_m))
    ground = at(whole(z), row, col)
    level = at(whole(filled), row, col)
    inside = np.flatnonzero(basin.pool[np.rint(row).astype(int), np.rint(col).astype(int)])
    past = int(inside[-1]) if len(inside) else 0
    bed = bed0 - section.grade * along
    done = np.flatnonzero((along > along[past] + 0.8 * BEYOND_M) & (level <= bed))
    stop = int(done[0]) + 1 if len(done) else len(row)
    # on a slope the bed follows the ground a third of a metre down and comes out at the end
    left = np.clip((along[stop - 1] - along) / 10.0, 0.0, 1.0)
    bed[past:] = np.minimum(bed[past:], (ground - 0.3 * left)[past:])
    bed = np.minimum.accumulate(bed) - 1e-4 * along
    if float(np.max((ground - bed)[:stop])) > MAX_CUT_M:
        return None, "cut deeper than a field ditch"
    return Line(row[:stop], col[:stop], along[:stop], bed[:stop]), ""


def _near(z: F64, line: Line, cell_m: float, reach_m: float) -> tuple[NDArray[np.int64], F64, F64, int]:
    """Cells within reach of a line, and the sub-cell points in them."""
    pad = int(np.ceil(reach_m / cell_m)) + 1
    r0, r1 = int(line.row.min()) - pad, int(line.row.max()) + pad + 2
    c0, c1 = int(line.col.min()) - pad, int(line.col.max()) + pad + 2
    r0, c0, r1, c1 = max(r0, 0), max(c0, 0), min(r1, z.shape[0]), min(c1, z.shape[1])
    cells = np.stack(np.meshgrid(np.arange(r0, r1), np.arange(c0, c1), indexing="ij"), axis=-1).reshape(-1, 2)
    tree = cKDTree(np.stack([line.row, line.col], axis=1))
    dist, _ = tree.query(cells, distance_upper_bound=(reach_m + cell_m) / cell_m)
    cells = cells[np.isfinite(dist)]
    k = max(1, round(cell_m / SUBCELL_M))
    off = (np.arange(k) + 0.5) / k - 0.5
    sub = np.stack(np.meshgrid(off, off, indexing="ij"), axis=-1).reshape(-1, 2)
    points = (cells[:, None, :] + sub[None, :, :]).reshape(-1, 2)
    return cells, points[:, 0], points[:, 1], k * k


def dig(z: F64, uncut: F64, line: Line, section: Section, cell_m: float) -> F64:
    """Ground with the ditch in it and its spoil beside it, averaged over each cell.

    Parameters
    ----------
    z : float64 (rows, cols)
        The ground so far [m], NaN where unknown.
    uncut : float64 (rows, cols)
        The ground before any ditch, without NaN: shoulders are measured on it.
    line : Line
    section : Section
    cell_m : float

    Returns
    -------
    float64 (rows, cols)
    """
    reach = section.bed_w / 2 + section.side * MAX_CUT_M + 6.0
    cells, prow, pcol, per = _near(z, line, cell_m, reach)
    tree = cKDTree(np.stack([line.row, line.col], axis=1))
    dist, near = tree.query(np.stack([prow, pcol], axis=1))
    dist *= cell_m
    ground = at(whole(z), prow, pcol)
    bed = line.bed_m[near]
    cut = bed + np.clip(dist - section.bed_w / 2, 0.0, None) / section.side
    new = np.minimum(ground, cut)
    if section.spoil_sides:
        bank = _spoil(line, section, uncut, (prow, pcol), (dist, near))
        new = np.maximum(new, np.where(cut > ground, ground + bank, new))
    change = (new - ground).reshape(-1, per).mean(axis=1)
    out = z.copy()
    out[cells[:, 0], cells[:, 1]] += change
    return out


def _spoil(
    line: Line, section: Section, uncut: F64, points: tuple[F64, F64], nearest: tuple[F64, NDArray[np.int64]]
) -> F64:
    """Height of the spoil bank [m] at points: 3.5 m wide, half a metre behind the shoulder, with gaps."""
    (prow, pcol), (dist, near) = points, nearest
    deep = at(uncut, line.row, line.col) - line.bed_m
    shoulder = section.bed_w / 2 + section.side * np.clip(deep, 0.0, None)
    trow, tcol = np.gradient(line.row), np.gradient(line.col)
    left = np.sign(trow[near] * (pcol - line.col[near]) - tcol[near] * (prow - line.row[near]))
    x = (dist - shoulder[near] - 0.5) / 3.5
    shape = np.where((x > 0) & (x < 1), np.sin(np.pi * np.clip(x, 0, 1)) ** 2, 0.0)
    taper = np.clip((deep[near] - 0.25) / 0.35, 0.0, 1.0)  # no spoil where hardly anything was dug
    gap = (line.along_m[near] % 90.0) > 8.0  # a gate or a low place every 90 m
    ends = (near > 4) & (near < len(line.row) - 5)
    return np.where(np.isin(left, section.spoil_sides) & gap & ends, section.spoil_m * shape * taper, 0.0)


def lead_under_road(
    z: F64, uncut: F64, line: Line, *, pools: BOOL, rim: int, cell_m: float, rng: np.random.Generator
) -> F64:
    """Ground with a road on fill across the ditch below its rim; unchanged when there is no room clear of pools.

    Parameters
    ----------
    z, uncut : float64 (rows, cols)
        Ground so far; ground before any ditch, without NaN [m].
    line : Line
    pools : bool (rows, cols)
        All closed basins: a road through one would change its pool.
    rim : int
        Station from which the road may cross.
    cell_m : float
    rng : numpy Generator

    Returns
    -------
    float64 (rows, cols)
    """
    half = ROAD_TOP_M / 2 + ROAD_SIDE * (ROAD_FILL_M + 1.0)
    clear = round(2 * half / STATION_M)
    deep = at(uncut, line.row, line.col) - line.bed_m
    room = np.arange(rim + clear // 2, len(line.row) - clear)
    room = room[deep[room] > 0.35]
    if len(room) == 0:
        return z
    k = int(rng.choice(room))
    lo, hi = max(k - 20, 0), min(k + 20, len(line.row) - 1)
    angle = np.arctan2(line.row[hi] - line.row[lo], line.col[hi] - line.col[lo]) + np.pi / 2 + rng.uniform(-0.35, 0.35)
    step = np.arange(-160.0, 160.0 + 1e-9, STATION_M)
    row, col = line.row[k] + np.sin(angle) * step / cell_m, line.col[k] + np.cos(angle) * step / cell_m
    ok = (row > -0.5) & (col > -0.5) & (row < z.shape[0] - 0.5) & (col < z.shape[1] - 0.5)
    ok[ok] = ~pools[np.rint(row[ok]).astype(int), np.rint(col[ok]).astype(int)]
    mid = len(step) // 2
    left = mid - int(np.argmin(np.append(ok[: mid + 1][::-1], False)))
    right = mid + int(np.argmin(np.append(ok[mid:], False)))
    margin = round((half + 2.0) / STATION_M)
    left, right = left + margin * (left >= 0), right - margin * (right < len(step))
    left, right = max(left, 0), min(right, len(step) - 1)
    if left > mid - margin or right < mid + margin:
        return z
    keep = slice(left, right + 1)
    row, col, step = row[keep], col[keep], step[keep]
    top = at(uncut, row, col)
    width = min(61, len(top) // 2 * 2 - 1)  # 30 m of evening out along the road
    top = np.convolve(np.pad(top, width // 2, mode="edge"), np.ones(width) / width, mode="valid")
    end = np.minimum(step - step[0], step[-1] - step)
    at_edge = (left == 0) | (right == 320)
    top = top + ROAD_FILL_M * (1.0 if at_edge else np.clip(end / 15.0, 0.0, 1.0))
    return _raise(z, Line(row, col, step, top), cell_m, half)


def _raise(z: F64, road: Line, cell_m: float, half_m: float) -> F64:
    cells, prow, pcol, per = _near(z, road, cell_m, half_m)
    tree = cKDTree(np.stack([road.row, road.col], axis=1))
    dist, near = tree.query(np.stack([prow, pcol], axis=1))
    ground = at(whole(z), prow, pcol)
    fillup = road.bed_m[near] - np.clip(dist * cell_m - ROAD_TOP_M / 2, 0.0, None) / ROAD_SIDE
    new = np.where(dist * cell_m <= half_m, np.maximum(ground, fillup), ground)
    out = z.copy()
    out[cells[:, 0], cells[:, 1]] += (new - ground).reshape(-1, per).mean(axis=1)
    return out


def transplant(
    z: F64,
    cell_m: float,
    seed: int,
    *,
    noise_m: float = 0.0,
    min_area_m2: float = 400.0,
    share: float = 0.8,
    only: tuple[tuple[int, int], ...] | None = None,
) -> Transplant:
    """Drain a share of the closed basins of a DEM.

    Parameters
    ----------
    z : float64 (rows, cols)
        Bare ground [m], NaN where unknown.
    cell_m : float
        Cell size [m].
    seed : int
        Draws sections, which basins are cut, roads and noise.
    noise_m : float
        Standard deviation of white noise laid over both DEMs afterwards [m].
    min_area_m2 : float
        Smallest pool to cut [m2].
    share : float
        Share of the basins to cut; the rest must stay unoffered.
    only : tuple of (row, col), optional
        Cut only basins whose pool holds one of these cells.

    Returns
    -------
    Transplant
    """
    rng = np.random.default_rng(seed)
    basins = closed_basins(z, cell_m, min_area_m2, 0.3)
    if only is not None:
        basins = [b for b in basins if any(b.pool[p] for p in only)]
    uncut = whole(z)
    pools = np.nan_to_num(fill(z) - z) > 0.1
    now, dug = z.copy(), []
    for basin in basins:
        job = _Dug(basin, draw_section(rng))
        if rng.random() < share:
            job.line, job.why = lay(now, basin, job.section, cell_m)
        else:
            job.why = "left whole"
        if job.line is not None:
            now = dig(now, uncut, job.line, job.section, cell_m)
        dug.append(job)
    opened = now
    owed = seed % 3 / 3.0  # a third of the ditches pass under a road; where there is no room, the next one does
    for job in dug:
        owed += (job.line is not None) / 3.0
        if job.line is not None and owed >= 1.0:
            rim = _rim(job.line, job.basin, uncut)[1]
            with_road = lead_under_road(now, uncut, job.line, pools=pools, rim=rim, cell_m=cell_m, rng=rng)
            job.road, now = with_road is not now, with_road
            owed -= job.road
    level = fill(opened)
    lines = [job.line for job in dug if job.line is not None]
    truths = tuple(_truth(job, lines, z=z, opened=opened, level=level, uncut=uncut, cell_m=cell_m) for job in dug)
    noise = rng.normal(0.0, noise_m, z.shape) if noise_m > 0 else np.zeros(z.shape)
    return Transplant(now + noise, z + noise, cell_m, truths)


def _rim(line: Line, basin: ClosedBasin, uncut: F64) -> tuple[NDArray[np.int64], int]:
    """Stations of the first stretch above the spill level beyond the last one in the pool, and the highest of them."""
    row, col = line.row, line.col
    inside = np.flatnonzero(basin.pool[np.rint(row).astype(int), np.rint(col).astype(int)])
    if not len(inside) or inside[-1] + 1 >= len(row):
        return np.zeros(0, dtype=np.int64), 0
    last = int(inside[-1]) + 1
    ground = at(uncut, row, col)
    below = np.flatnonzero(ground[last:] < basin.spill_m - 1e-6)
    above = np.flatnonzero(ground[last:] >= basin.spill_m - 1e-6)
    first = last + int(above[0]) if len(above) else last
    ends = below[below + last > first] + last
    stop = int(ends[0]) if len(ends) else len(row)
    reach = np.arange(max(first - 1, 0), max(stop, first + 1))
    return reach, int(reach[np.argmax(ground[reach])])


def _truth(job: _Dug, lines: list[Line], *, z: F64, opened: F64, level: F64, uncut: F64, cell_m: float) -> Truth:
    """State of a basin after all ditches are dug; a neighbour's ditch may drain it too."""
    basin, pool = job.basin, job.basin.pool
    floor = pool & (z <= basin.floor_m + 0.25 * basin.depth_m)
    ponded = np.clip(level - np.maximum(opened, z), 0.0, None)[pool].sum() * cell_m**2
    lost_share = 1.0 - float(ponded) / basin.volume_m3
    lost = basin.spill_m - max(float(np.median(level[floor])), basin.floor_m)
    if lost >= DRAINED_LOST_M and lost_share >= DRAINED_SHARE:
        state = "drained"
    else:
        state = "whole" if lost <= WHOLE_LOST_M and job.line is None else "partly"
    reaches = [(line, reach) for line in lines for reach in [_rim(line, basin, uncut)[0]] if len(reach)]
    empty = np.zeros(0)
    return Truth(
        pool=pool, spill_m=basin.spill_m, floor_m=basin.floor_m, area_m2=basin.area_m2, volume_m3=basin.volume_m3,
        state=state, lost_m=lost, lost_share=lost_share, line=job.line,
        rim_row=np.concatenate([empty, *(line.row[reach] for line, reach in reaches)]),
        rim_col=np.concatenate([empty, *(line.col[reach] for line, reach in reaches)]),
        road=job.road, why=job.why,
    )  # fmt: skip
