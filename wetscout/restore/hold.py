"""Whether plugs hold: they are put into today's ground, water is raised, and where it still gets by more are laid."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from wetscout.kernels.route import way_out
from wetscout.kernels.shore import squared_distance
from wetscout.records import BOOL, F32, F64, Candidate, Cut
from wetscout.restore.plug import PlugSize, across, size_plug
from wetscout.restore.span import Bank, span
from wetscout.settings.restore import RestoreSettings

I64 = NDArray[np.int64]
# a plug line is painted this wide [cells]: no way leads through, even from corner to corner
PAINT_CELLS = 0.75
# ground that both surfaces show within this is undug [m]
UNDUG_M = 0.05
# and within this many times the noise beyond that: beds are the lowest of several cells, which lean down
UNDUG_NOISE = 2.0
# the way beneath fill of more than this is opened on today's surface [m]
COVER_M = 0.15
# a plug that begins this near to the end of another is a piece of it [m]
JOIN_M = 2.5
TRIALS = 8
# a plug is needed if more than this share of the pool would not stand without it [-]
PART = 0.02


@dataclass(frozen=True)
class Ground:
    """Today's and natural ground around one pool, and its place in the grid.

    Attributes
    ----------
    row0, col0 : int
    surveyed, today, natural : float32 (h, w)
        The DEM, and the two surfaces [m].
    pool : bool (h, w)
    cell_m, noise_m : float
        Cell size, measured noise [m].
    """

    row0: int
    col0: int
    surveyed: F32
    today: F32
    natural: F32
    pool: BOOL
    cell_m: float
    noise_m: float = 0.0


def without_noise(today: F32, natural: F32, noise_m: float) -> F32:
    """Today's ground, raised to the natural one where it lies lower by no more than chance.

    Beds are the lowest of several cells, which lean down, and faint lines are drawn up the shores of pools: there the
    rim itself, where nothing was dug, seemed cut by 0.05-0.1 m and got a plug of its own.

    Parameters
    ----------
    today, natural : float32 (h, w)
        [m].
    noise_m : float
        Measured noise [m].

    Returns
    -------
    float32 (h, w)
    """
    undug = natural - today <= UNDUG_M + UNDUG_NOISE * noise_m
    return np.where(undug, np.fmax(today, natural), today)


def under(shape: tuple[int, ...], row: F64, col: F64) -> Iterator[tuple[tuple[slice, slice], BOOL]]:
    """Cells under a plug line.

    Parameters
    ----------
    shape : (int, int)
        Of the ground.
    row, col : float64 (n,)
        Corners of the line [cells].

    Yields
    ------
    (slice, slice), bool (h, w)
        A window for each piece of the line, and the cells in it.
    """
    for k in range(row.size - 1):
        (r0, c0), (r1, c1) = ((int(f(row[k : k + 2])), int(f(col[k : k + 2]))) for f in (np.min, np.max))
        box = tuple(
            slice(max(0, a - 2), max(0, min(b + 4, n))) for a, b, n in zip((r0, c0), (r1, c1), shape, strict=True)
        )
        rr, cc = np.ogrid[box]
        d_row, d_col = row[k + 1] - row[k], col[k + 1] - col[k]
        length2 = max(d_row**2 + d_col**2, 1e-12)
        at = np.clip(((rr - row[k]) * d_row + (cc - col[k]) * d_col) / length2, 0.0, 1.0)
        yield (box[0], box[1]), np.hypot(rr - row[k] - at * d_row, cc - col[k] - at * d_col) <= PAINT_CELLS


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
    for box, on in under(ground.shape, row, col):
        part = ground[box]
        part[on] = np.fmax(part[on], np.float32(crest_m))


def lay(ground: Ground, c: Candidate, z: F32, s: RestoreSettings) -> tuple[list[Cut], list[PlugSize]]:
    """Lay a plug across each cut, and more until water raised over the floor stands at the spill level.

    Parameters
    ----------
    ground : Ground
    c : Candidate
    z : float32 (rows, cols)
        Today's ground of the whole raster [m].
    s : RestoreSettings

    Returns
    -------
    cuts, sizes
        As far as the ground that was dug allows; one size a cut.
    """
    cuts: list[Cut] = []
    lines: list[tuple[F64, F64]] = []
    bank = Bank(
        without_noise(ground.today, ground.natural, ground.noise_m),
        (np.abs(ground.today - ground.natural) <= UNDUG_M) & ~ground.pool,
        ground.surveyed - ground.today > COVER_M,
        c.spill_m,
        ground.cell_m,
        ground.pool,
    )
    ground = replace(ground, today=bank.today.copy())
    crest = c.spill_m + s.freeboard_m

    def close(cut: Cut, at: int, exact: bool = False) -> None:
        way = cut.way_row - ground.row0, cut.way_col - ground.col0
        line = span(bank, way, at, s, exact) if 0 <= at < way[0].size else None
        if line is None and _closed(bank, cut, (ground.row0, ground.col0)):
            return
        if line is None:
            row, col = across(z, cut, c.spill_m, ground.cell_m, s)
            line = row - ground.row0, col - ground.col0
        _join(lines, cuts, line, cut, JOIN_M / ground.cell_m)
        paint(bank.today, *line, crest)
        for box, on in under(bank.firm.shape, *line):
            bank.firm[box][on] = True

    for cut in c.cuts:
        far = np.hypot(cut.way_row - cut.row, cut.way_col - cut.col)
        close(cut, int(np.argmin(far)) if far.size else -1)
    start = _over_the_floor(ground)
    beyond = round(60.0 / ground.cell_m)
    tried: list[tuple[int, int]] = []
    for _ in range(TRIALS):
        rows, cols, level, exit_at, open_end = way_out(bank.today, ground.pool, *start, beyond)
        if open_end or level >= c.spill_m - s.hold_m:
            break
        leak = _dug_place(ground, (rows, cols), exit_at, c.spill_m - s.hold_m)
        if leak is None:
            break
        place = int(rows[leak]), int(cols[leak])
        if tried.count(place) == 2:
            break
        close(_another(c.cuts[0], ground, (rows, cols), leak, level), leak, place in tried)
        tried.append(place)
    needed = _needed(ground, lines, (crest, c.spill_m - s.hold_m), start, beyond)
    cuts, lines = [cuts[k] for k in needed], [lines[k] for k in needed]
    placed = [(row + ground.row0, col + ground.col0) for row, col in lines]
    sizes = [size_plug(z, line, cut, c.spill_m, ground.cell_m, s) for line, cut in zip(placed, cuts, strict=True)]
    return cuts, sizes


def _over_the_floor(ground: Ground) -> tuple[int, int]:
    """Where water is raised: the widest place of the lowest third of a pool.

    Its lowest cell may be a hole that a bed left in the natural ground where ditches meet at the rim: a plug at the rim
    parts it from the pool, and all that came after was tried from there.
    """
    heights = np.where(ground.pool, ground.natural, np.inf)
    third = float(np.nanquantile(ground.natural[ground.pool], 1.0 / 3.0))
    away = squared_distance(np.pad(heights <= third, 1))
    row, col = np.unravel_index(int(away.argmax()), away.shape)
    return int(row) - 1, int(col) - 1


def _needed(
    ground: Ground, lines: list[tuple[F64, F64]], levels: tuple[float, float], start: tuple[int, int], beyond: int
) -> list[int]:
    """Plugs without which the pool would not stand: one laid later may close what an earlier one did not quite.

    All of the pool counts, so that none is left out behind which a part of it would stand.
    """
    crest, wanted = levels
    # what all of them hold: fewer hold no more
    whole = 0

    def stands(kept: list[int]) -> bool:
        nonlocal whole
        today = ground.today.copy()
        for k in kept:
            paint(today, *lines[k], crest)
        _, _, level, _, open_end = way_out(today, ground.pool, *start, beyond)
        if level < wanted or open_end:
            return False
        held = _held(today, ground.pool, wanted)
        whole = max(whole, held)
        return held >= (1.0 - PART) * whole

    kept = list(range(len(lines)))
    if len(kept) < 2 or not stands(kept):
        return kept
    for k in range(len(lines)):
        rest = [i for i in kept if i != k]
        if rest and stands(rest):
            kept = rest
    return kept


def _held(today: F32, pool: BOOL, level_m: float) -> int:
    """Cells of the pool over which water can stand at a level: none lower leads from them to the border."""
    low = ~(today >= level_m)
    part, parts = ndimage.label(low, structure=np.ones((3, 3)))
    out = np.zeros(parts + 1, dtype=bool)
    for border in (part[0], part[-1], part[:, 0], part[:, -1], part[np.isnan(today)]):
        out[border] = True
    return int(np.count_nonzero(pool & ~(low & out[part])))


def _closed(bank: Bank, cut: Cut, origin: tuple[int, int]) -> bool:
    """Whether a plug stands already where a cut crosses the rim."""
    r, c = cut.row - origin[0], cut.col - origin[1]
    inside = 0 <= r < bank.today.shape[0] and 0 <= c < bank.today.shape[1]
    return bool(inside and bank.firm[r, c] and bank.today[r, c] >= bank.spill_m)


def _join(lines: list[tuple[F64, F64]], cuts: list[Cut], line: tuple[F64, F64], cut: Cut, near: float) -> None:
    """Add a line to those so far, as a piece of one whose end it begins or ends at if there is such a one."""
    new = np.column_stack(line)
    for k, old_line in enumerate(lines):
        old = np.column_stack(old_line)
        for a in (old, old[::-1]):
            for b in (new, new[::-1]):
                if np.hypot(*(a[-1] - b[0])) <= near:
                    both = np.vstack([a, b[1:]])
                    lines[k] = both[:, 0], both[:, 1]
                    return
    lines.append(line)
    cuts.append(cut)


def _dug_place(ground: Ground, way: tuple[I64, I64], exit_at: int, level_m: float) -> int | None:
    """Place on a way out where the natural ground would hold and today's does not: the deepest cut near the rim."""
    near = max(1, round(10.0 / ground.cell_m))
    part = np.arange(max(0, exit_at - near), min(way[0].size, exit_at + 4 * near))
    rows, cols = way[0][part], way[1][part]
    missing = ground.natural[rows, cols] - ground.today[rows, cols]
    dug = (ground.natural[rows, cols] >= level_m) & (ground.today[rows, cols] < level_m) & (missing > 0)
    return int(part[np.argmax(dug)]) if dug.any() else None


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
