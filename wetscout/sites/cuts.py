"""Where today's water crosses the natural rim: the cuts of a basin, one after the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wetscout.kernels.route import passes, way_out
from wetscout.records import BOOL, F32, FILL, U8, Crossing, Cut
from wetscout.settings.sites import SiteSettings
from wetscout.sites.network import Network, direction

# a way out runs under a road where fill or a crossing lies on it this near the cut; its fill is known this well [m]
UNDER_M = 20.0
BESIDE_FILL_M = 4.0


@dataclass(frozen=True)
class Window:
    """The part of all surfaces around one basin.

    Attributes
    ----------
    row0, col0 : int
        Place in the grid.
    today, natural, rim : float32 (h, w)
        Surfaces [m]; `rim` is the mean of the natural and the cautious one.
    corridor : uint8 (h, w)
    pool : bool (h, w)
    """

    row0: int
    col0: int
    today: F32
    natural: F32
    rim: F32
    corridor: U8
    pool: BOOL


def rim_place(
    rim: F32, way: tuple[np.ndarray, np.ndarray], exit_at: int, search: int, cap: float, below: np.ndarray | None = None
) -> int:
    """Index on the way out where the natural rim stands.

    The last place before the way has left the pool is where to begin; from there the first ground within 0.05 m of
    the highest within the search distance is the rim (own trials: .94 within 15 m).

    Parameters
    ----------
    rim : float32 (h, w)
        Natural ground, ditches filled [m].
    way : (int64 (n,), int64 (n,))
        Rows and columns of the way out.
    exit_at : int
        First index outside the pool.
    search : int
        Cells to look ahead.
    cap : float
        Level the pool shall reach [m]: ground that stands above it holds no better, a road on the way is no rim.
    below : bool (n,), optional
        Where the way runs no higher than the exit: beyond the first place that climbs, what follows is another rim.

    Returns
    -------
    int
    """
    way_row, way_col = way
    last = min(way_row.size, exit_at + search + 1)
    first = max(0, exit_at - 1)
    if below is not None:
        climbs = np.flatnonzero(~below[exit_at:last])
        if climbs.size:
            last = max(first + 1, exit_at + int(climbs[0]))
    ground = rim[way_row[first:last], way_col[first:last]]
    ground = np.minimum(np.where(np.isnan(ground), -np.inf, ground), cap)
    top = ground.max()
    return first + int(np.argmax(ground >= top - 0.05))


def _block(today: F32, window: Window, row: int, col: int, reach: int) -> bool:
    """Close a cut on the working copy of today's surface: everything below the natural rim near the plug place.

    False where that changes nothing.
    """
    r0, r1 = max(0, row - reach), row + reach + 1
    c0, c1 = max(0, col - reach), col + reach + 1
    rr, cc = np.ogrid[r0 : min(r1, today.shape[0]), c0 : min(c1, today.shape[1])]
    disc = (rr - row) ** 2 + (cc - col) ** 2 <= reach**2
    part = today[r0:r1, c0:c1]
    restored = np.fmax(part, window.natural[r0:r1, c0:c1])
    changed = not np.array_equal(part[disc], restored[disc], equal_nan=True)
    part[disc] = restored[disc]
    return changed


def _discs(window: Window, crossings: list[Crossing]) -> np.ndarray:
    """Middle of each crossing in the window, and how far the way passes from it [cells]: float64 (n, 3)."""
    out = np.empty((len(crossings), 3))
    for k, c in enumerate(crossings):
        # of two ends, so the mean is their half sum
        (r0, r1), (c0, c1) = c.row[:2].tolist(), c.col[:2].tolist()
        out[k] = 0.5 * (r0 + r1) - window.row0, 0.5 * (c0 + c1) - window.col0, np.hypot(r1 - r0, c1 - c0) / 2 + 2
    return out


def _under_road(way: tuple[np.ndarray, np.ndarray], at: int, window: Window, discs: np.ndarray, reach: int) -> bool:
    return bool(passes(*way, max(0, at - reach), at + reach + 1, window.corridor, FILL, discs))


def by_road(cut: Cut, corridor: U8, cell_m: float) -> bool:
    """Whether the way out runs by road fill near a cut: else a pipe there was guessed.

    Parameters
    ----------
    cut : Cut
    corridor : uint8 (rows, cols)
        Of the whole grid.
    cell_m : float
        Cell size [m].

    Returns
    -------
    bool
    """
    near = np.hypot(cut.way_row - cut.row, cut.way_col - cut.col) * cell_m <= UNDER_M
    pad = max(1, round(BESIDE_FILL_M / cell_m))
    for r, c in zip(cut.way_row[near].tolist(), cut.way_col[near].tolist(), strict=True):
        if (corridor[max(0, r - pad) : r + pad + 1, max(0, c - pad) : c + pad + 1] & FILL).any():
            return True
    return False


def named_pipe(cut: Cut, crossings: list[Crossing], cell_m: float) -> bool:
    """Whether an end of a pipe that the user named lies near a cut.

    Parameters
    ----------
    cut : Cut
    crossings : list of Crossing
        Near the basin.
    cell_m : float
        Cell size [m].

    Returns
    -------
    bool
    """
    return any(x.given and np.hypot(x.row - cut.row, x.col - cut.col).min() * cell_m <= UNDER_M for x in crossings)


def find_cuts(
    window: Window, start: tuple[int, int], spill_m: float, network: Network, crossings: list[Crossing], s: SiteSettings
) -> tuple[tuple[Cut, ...], bool, tuple[int, int, float] | None]:
    """Close one cut after the other until today's water would stand at the spill.

    Parameters
    ----------
    window : Window
    start : (int, int)
        Floor cell in the window.
    spill_m : float
        Level the closed basin would reach [m].
    network : Network
    crossings : list of Crossing
        Near the window.
    s : SiteSettings

    Returns
    -------
    cuts : tuple of Cut
        In the order in which they were closed, lowest first.
    closes : bool
        Whether water stands at the spill once they are closed.
    next_at : (row, col, level) or None
        Where water leaves then, in grid cells.
    """
    cell_m = network.cell_m
    today = window.today.copy()
    beyond = round(s.search_m / cell_m)
    reach = max(2, round(10.0 / cell_m))
    merge = s.merge_m / cell_m
    discs = _discs(window, crossings)
    cuts: list[Cut] = []
    for _ in range(4 * s.max_cuts):
        rows, cols, level, exit_at, open_end = way_out(today, window.pool, start[0], start[1], beyond)
        if open_end:
            break
        if level >= spill_m - s.hold_m:
            place = rim_place(window.rim, (rows, cols), exit_at, beyond // 4, spill_m)
            return tuple(cuts), True, (int(rows[place]) + window.row0, int(cols[place]) + window.col0, float(level))
        below = today[rows, cols] <= level + 0.05
        at = rim_place(window.rim, (rows, cols), exit_at, beyond, spill_m, below)
        r, c = int(rows[at]), int(cols[at])
        cut = _cut(window, (rows, cols), at, float(level), (network, discs), s)
        same = any(o.ditch_id == cut.ditch_id and np.hypot(o.row - cut.row, o.col - cut.col) <= merge for o in cuts)
        if not same:
            if len(cuts) == s.max_cuts:
                break
            cuts.append(cut)
        if not _block(today, window, r, c, reach):
            # nothing dug here: the way leaves over ground that no plug would change
            break
    return tuple(cuts), False, None


def _cut(
    window: Window,
    way: tuple[np.ndarray, np.ndarray],
    at: int,
    level: float,
    lines: tuple[Network, np.ndarray],
    s: SiteSettings,
) -> Cut:
    """The cut at one place of a way out."""
    network, discs = lines
    rows, cols = way
    cell_m = network.cell_m
    r, c = int(rows[at]), int(cols[at])
    near = max(1, round(4.0 / cell_m))
    bed = float(np.nanmin(window.today[max(0, r - near) : r + near + 1, max(0, c - near) : c + near + 1]))
    under = _under_road(way, at, window, discs, max(2, round(UNDER_M / cell_m)))
    ditch = network.nearest(r + window.row0, c + window.col0, s.near_line_m)
    if under and (ditch is None or network.stream(ditch)):
        # lines end at the foot of a road: the ditch that is led under it runs a little up or down the way
        step = max(1, round(3.0 / cell_m))
        for ahead in range(step, round(25.0 / cell_m) + 1, step):
            for k in (max(at - ahead, 0), min(at + ahead, rows.size - 1)):
                if ditch is None or network.stream(ditch):
                    ditch = network.nearest(rows[k] + window.row0, cols[k] + window.col0, s.near_line_m) or ditch
    d_row, d_col = direction(rows, cols, at, max(2, round(8.0 / cell_m)))
    return Cut(
        row=r + window.row0,
        col=c + window.col0,
        along_row=d_row,
        along_col=d_col,
        exit_m=level,
        rim_m=float(window.natural[r, c]),
        bed_m=bed,
        ditch_id=None if ditch is None else network.ditches[ditch].ditch_id,
        under_road=under,
        way_row=rows + window.row0,
        way_col=cols + window.col0,
    )
