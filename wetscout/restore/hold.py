"""Whether plugs hold: they are put into today's ground, water is raised, and where it still gets by they are mended."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wetscout.kernels.route import way_out
from wetscout.kernels.sections import bilinear
from wetscout.records import BOOL, F32, F64, Candidate, Cut
from wetscout.restore.plug import PlugSize, prism_volume, size_plug
from wetscout.settings.restore import RestoreSettings

I64 = NDArray[np.int64]
# a plug line is painted this wide [cells]: no way leads through, even from corner to corner
PAINT_CELLS = 0.75
# a way that passes this near to a plug passes round its end [m]; farther off it is another cut
NEAR_PLUG_M = 15.0
TRIALS = 8


@dataclass(frozen=True)
class Ground:
    """Today's and natural ground around one pool, and its place in the grid.

    Attributes
    ----------
    row0, col0 : int
    today, natural : float32 (h, w)
        [m].
    pool : bool (h, w)
    cell_m : float
        [m].
    """

    row0: int
    col0: int
    today: F32
    natural: F32
    pool: BOOL
    cell_m: float


def paint(ground: F32, row: F64, col: F64, crest_m: float) -> None:
    """Raise the ground under a plug line to its crest.

    Parameters
    ----------
    ground : float32 (h, w)
        Altered in place [m].
    row, col : float64 (n,)
        Corners of the line [cells of `ground`].
    crest_m : float
        [m].
    """
    for k in range(row.size - 1):
        r0, r1 = (int(f(row[k : k + 2])) for f in (np.min, np.max))
        c0, c1 = (int(f(col[k : k + 2])) for f in (np.min, np.max))
        box = (slice(max(0, r0 - 2), max(0, r1 + 4)), slice(max(0, c0 - 2), max(0, c1 + 4)))
        part = ground[box]
        rr, cc = np.mgrid[box[0].start : box[0].start + part.shape[0], box[1].start : box[1].start + part.shape[1]]
        d_row, d_col = row[k + 1] - row[k], col[k + 1] - col[k]
        length2 = max(d_row**2 + d_col**2, 1e-12)
        at = np.clip(((rr - row[k]) * d_row + (cc - col[k]) * d_col) / length2, 0.0, 1.0)
        on = np.hypot(rr - row[k] - at * d_row, cc - col[k] - at * d_col) <= PAINT_CELLS
        part[on] = np.fmax(part[on], np.float32(crest_m))


def mend(
    ground: Ground, c: Candidate, sizes: list[PlugSize], z: F32, s: RestoreSettings
) -> tuple[list[Cut], list[PlugSize]]:
    """Lengthen plugs, and add some, until water raised over the floor stands at the spill level.

    Parameters
    ----------
    ground : Ground
    c : Candidate
    sizes : list of PlugSize
        One a cut.
    z : float32 (rows, cols)
        Today's ground of the whole raster [m].
    s : RestoreSettings
        `hold_m`, `freeboard_m`.

    Returns
    -------
    cuts, sizes
        Mended as far as the ground that was dug allows.
    """
    cuts, made = list(c.cuts), list(sizes)
    today = ground.today.copy()
    for size in made:
        paint(today, size.row - ground.row0, size.col - ground.col0, size.crest_m)
    start = (c.floor_at[0] - ground.row0, c.floor_at[1] - ground.col0)
    for _ in range(TRIALS):
        rows, cols, level, exit_at, open_end = way_out(
            today, ground.pool, start[0], start[1], round(60.0 / ground.cell_m)
        )
        if open_end or level >= c.spill_m - s.hold_m:
            break
        leak = _dug_place(ground, (rows, cols), exit_at, c.spill_m - s.hold_m)
        if leak is None:
            break
        place = np.array([rows[leak] + ground.row0, cols[leak] + ground.col0], dtype=np.float64)
        k = _nearest(made, place, NEAR_PLUG_M / ground.cell_m)
        if k is None:
            cut = _another(c.cuts[0], ground, (rows, cols), leak, level)
            cuts.append(cut)
            made.append(size_plug(z, cut, c.spill_m, ground.cell_m, s))
            k = len(made) - 1
        made[k] = _reach(made[k], place, (z, c.spill_m, ground.cell_m), s)
        paint(today, made[k].row - ground.row0, made[k].col - ground.col0, made[k].crest_m)
    return cuts, made


def _dug_place(ground: Ground, way: tuple[I64, I64], exit_at: int, level_m: float) -> int | None:
    """Place on a way out where the natural ground would hold and today's does not: the deepest cut near the rim."""
    near = max(1, round(10.0 / ground.cell_m))
    part = np.arange(max(0, exit_at - near), min(way[0].size, exit_at + 4 * near))
    rows, cols = way[0][part], way[1][part]
    missing = ground.natural[rows, cols] - ground.today[rows, cols]
    dug = (ground.natural[rows, cols] >= level_m) & (ground.today[rows, cols] < level_m) & (missing > 0)
    return int(part[np.argmax(dug)]) if dug.any() else None


def _nearest(made: list[PlugSize], place: F64, reach: float) -> int | None:
    """The plug one of whose ends lies nearest to a place, within reach."""
    gaps = [float(np.hypot(m.row - place[0], m.col - place[1]).min()) for m in made]
    best = int(np.argmin(gaps))
    return best if gaps[best] <= reach else None


def _another(first: Cut, ground: Ground, way: tuple[I64, I64], at: int, level: float) -> Cut:
    rows, cols = way
    a, b = max(0, at - 6), min(rows.size - 1, at + 6)
    d_row, d_col = float(rows[b] - rows[a]), float(cols[b] - cols[a])
    length = float(np.hypot(d_row, d_col)) or 1.0
    r, c = int(rows[at]), int(cols[at])
    return replace(
        first,
        row=r + ground.row0,
        col=c + ground.col0,
        along_row=d_row / length,
        along_col=d_col / length,
        exit_m=float(level),
        rim_m=float(ground.natural[r, c]),
        bed_m=float(ground.today[r, c]),
        way_row=rows + ground.row0,
        way_col=cols + ground.col0,
    )


def _reach(size: PlugSize, place: F64, around: tuple[F32, float, float], s: RestoreSettings) -> PlugSize:
    """Lead the nearer end of a plug to a place and on to ground that holds."""
    z, spill_m, cell_m = around
    first = np.hypot(size.row[0] - place[0], size.col[0] - place[1])
    last = np.hypot(size.row[-1] - place[0], size.col[-1] - place[1])
    row, col = (size.row[::-1], size.col[::-1]) if first < last else (size.row, size.col)
    step = place - np.array([row[-1], col[-1]])
    length = float(np.hypot(step[0], step[1]))
    step = step / length if length > 1e-9 else np.array([row[-1] - row[-2], col[-1] - col[-2]])
    step = step / max(float(np.hypot(step[0], step[1])), 1e-9)
    end = place
    for k in range(1, round(s.mend_reach_m / cell_m) + 1):
        end = place + step * k
        if bilinear(z, end[0], end[1]) >= spill_m - s.hold_m:
            break
    row, col = np.append(row, end[0]), np.append(col, end[1])
    return resized(replace(size, row=row, col=col), z, cell_m, s)


def resized(size: PlugSize, z: F32, cell_m: float, s: RestoreSettings) -> PlugSize:
    """Length and earth of a plug along its bent line.

    Parameters
    ----------
    size : PlugSize
    z : float32 (rows, cols)
        Today's ground [m].
    cell_m : float
        Cell size [m].
    s : RestoreSettings

    Returns
    -------
    PlugSize
    """
    parts = np.hypot(np.diff(size.row), np.diff(size.col)) * cell_m
    along = np.concatenate([[0.0], np.cumsum(parts)])
    at = np.arange(0.0, along[-1] + 1e-9, 0.5)
    ground = np.array(
        [bilinear(z, r, c) for r, c in zip(np.interp(at, along, size.row), np.interp(at, along, size.col), strict=True)]
    )
    fill = prism_volume(ground, 0.5, size.crest_m, s.crest_width_m, (s.face_slope, s.face_slope))
    return replace(size, across_m=float(along[-1]), fill_m3=fill)
