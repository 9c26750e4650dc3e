"""Cell by cell: how deep below both sides, in which direction, how sharply cut; pure functions of a fixed window."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.kernels.directional import box_mean, directional_depth, mean_depth_at
from wetscout.kernels.thin import supported, thin_across
from wetscout.linework.stencils import (
    N_DIRECTIONS,
    Scale,
    across_offsets,
    box_cells,
    build,
    ring_offsets,
    scale_for,
)
from wetscout.settings.linework import LineworkSettings

# share of a bed or bank band that must lie on ground: less, and a line would follow the rim of a hole
GROUND_SHARE = 0.6
# a supporter lies within two steps of the direction (22.5 degrees), in place and in direction
SUPPORT_COSINE = 0.92
SUPPORT_TURN = 2
# small relief: every third cell, blocks of 20 x 20 of those, millimetre bins up to 2 m
RELIEF_EVERY = 3
RELIEF_BLOCK = 20
# every second block both ways is enough for a median, and costs a quarter
RELIEF_BLOCKS = 2
RELIEF_BIN_M = 0.001
RELIEF_BINS = 2000


@dataclass(frozen=True)
class Thresholds:
    """What one test asks of a cell.

    Attributes
    ----------
    scale : Scale
        Bank bands and strip length.
    screen_m : float
        Depth below the ring around it at which a cell is tested [m].
    low_m : float
        Least depth of a kept cell [m].
    saturation : float
        Least saturation of a kept cell.
    supporters : int
    support_m, thin_m : float
        Reach along and across [m].
    """

    scale: Scale
    screen_m: float
    low_m: float
    saturation: float
    supporters: int
    support_m: float
    thin_m: float


@dataclass(frozen=True)
class Response:
    """What the test found, all of the tile's shape.

    Attributes
    ----------
    depth : float32
        Below the lower side [m], 0 where not tested.
    direction : int8
        Index over half a turn, -1 for none.
    saturation : float32
        Near depth over far depth.
    keep : bool
        Deepest across its direction, deep and sharp enough, and supported along it.
    """

    depth: NDArray[np.float32]
    direction: NDArray[np.int8]
    saturation: NDArray[np.float32]
    keep: NDArray[np.bool_]


def thresholds_for(cell_m: float, low_m: float, near: tuple[float, float], settings: LineworkSettings) -> Thresholds:
    """What a test with a wanted near band asks at this cell size.

    Parameters
    ----------
    cell_m : float
        Cell size [m].
    low_m : float
        Least depth [m].
    near : (float, float)
        Wanted near band [m].
    settings : LineworkSettings

    Returns
    -------
    Thresholds
    """
    return Thresholds(
        scale=scale_for(cell_m, near, settings.strip_m),
        screen_m=settings.screen_factor * low_m,
        low_m=low_m,
        saturation=settings.keep_saturation,
        # two cells each way along a slanted line lie 2.83 cells off: with 2.0 no slanted ditch at 2 m found three
        supporters=settings.supporters if cell_m <= 1.25 else min(2, settings.supporters),
        support_m=max(settings.support_m, 2.9 * cell_m),
        thin_m=settings.thin_m,
    )


def halo_cells(cell_m: float, thresholds: Thresholds) -> int:
    """Width of the ring a tile needs around it so that its cells come out as in the whole.

    Parameters
    ----------
    cell_m : float
        Cell size [m].
    thresholds : Thresholds

    Returns
    -------
    int
        [cells]: smoothing, strip, thinning and supporters.
    """
    strip = int(np.ceil(thresholds.scale.reach_m / cell_m)) + 1
    thin = max(1, int(thresholds.thin_m / cell_m + 0.5))
    support = int(np.ceil(thresholds.support_m / cell_m))
    return box_cells(cell_m) // 2 + strip + thin + support + 2


def smooth_ground(z: NDArray[np.float32], cell_m: float) -> NDArray[np.float32]:
    """Ground averaged over about 3 m, NaN where there is none [m].

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN unknown.
    cell_m : float
        Cell size [m].

    Returns
    -------
    float32 (rows, cols)
        [m].
    """
    s: NDArray[np.float32] = box_mean(np.ascontiguousarray(z, dtype=np.float32), box_cells(cell_m))
    return s


def smooth_whole(z: NDArray[np.float32], cell_m: float) -> NDArray[np.float32]:
    """`smooth_ground` of a raster of any size, strip by strip.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN unknown.
    cell_m : float
        Cell size [m].

    Returns
    -------
    float32 (rows, cols)
        [m].
    """
    out = large.empty(z.shape, np.float32)
    for own, read, inner in large.strips((z.shape[0], z.shape[1]), box_cells(cell_m) // 2):
        out[own] = smooth_ground(z[read], cell_m)[inner]
    return out


def respond(z: NDArray[np.float32], cell_m: float, thresholds: Thresholds) -> Response:
    """Test every cell of a tile.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m] with its halo, NaN where there is none. Negate it to look for raised lines.
    cell_m : float
        Cell size [m].
    thresholds : Thresholds

    Returns
    -------
    Response
        Same shape as `z`; right beyond `halo_cells` from an edge that is not the edge of the DEM.
    """
    return respond_on(smooth_ground(z, cell_m), cell_m, thresholds)


def respond_on(s: NDArray[np.float32], cell_m: float, thresholds: Thresholds) -> Response:
    """`respond` on ground that is already smoothed by `smooth_ground`; same parameters and answer.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    cell_m : float
        Cell size [m].
    thresholds : Thresholds
        As for `respond`.

    Returns
    -------
    Response
    """
    stencils = build(thresholds.scale, cell_m)
    padded = _padded(s, stencils.margin)
    ring = ring_offsets(thresholds.scale, cell_m)
    depth, direction, saturation = directional_depth(
        padded,
        stencils.margin,
        ring[:, 0] * padded.shape[1] + ring[:, 1],
        stencils.parts(padded.shape[1]),
        N_DIRECTIONS,
        GROUND_SHARE,
        (thresholds.screen_m, thresholds.low_m),
    )
    across = across_offsets(stencils.unit, thresholds.thin_m, cell_m)
    keep = thin_across(
        depth,
        direction,
        np.ascontiguousarray(across[..., 0]),
        np.ascontiguousarray(across[..., 1]),
        thresholds.low_m,
    )
    keep &= saturation >= thresholds.saturation
    keep = supported(
        keep,
        direction,
        np.ascontiguousarray(stencils.unit[:, 0]),
        np.ascontiguousarray(stencils.unit[:, 1]),
        thresholds.support_m / cell_m,
        SUPPORT_COSINE,
        SUPPORT_TURN,
        thresholds.supporters,
    )
    return Response(depth, direction, saturation, keep)


def _padded(s: NDArray[np.float32], margin: int) -> NDArray[np.float32]:
    """Array with a margin of no ground all round, so that the kernels need not look where they are."""
    return np.pad(s, margin, constant_values=np.float32(np.nan))


def relief_halo_cells(cell_m: float, settings: LineworkSettings) -> int:
    """Ring of cells `relief_histogram` needs around the cells it counts [cells].

    Parameters
    ----------
    cell_m : float
        Cell size [m].
    settings : LineworkSettings

    Returns
    -------
    int
        [cells].
    """
    scale = scale_for(cell_m, (settings.band_from_m, settings.band_to_m), settings.strip_m)
    return box_cells(cell_m) // 2 + int(np.ceil(scale.reach_m / cell_m)) + 1


def relief_histogram(
    z: NDArray[np.float32],
    cell_m: float,
    settings: LineworkSettings,
    window: tuple[int, int, int, int],
    origin: tuple[int, int],
) -> NDArray[np.int64]:
    """Count the small relief of every block whose first cell lies in a window; counts of tiles add up.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m] with its halo (on the far sides at least one block more), NaN where there is none.
    cell_m : float
        Cell size [m].
    settings : LineworkSettings
    window : (row0, row1, col0, col1)
        Cells to count blocks in, in rows and columns of the whole DEM.
    origin : (row, col)
        Place of z[0, 0] in the whole DEM.

    Returns
    -------
    int64 (bins,)
        Blocks by median absolute deviation of the depth against both sides, in millimetre bins.
    """
    return _relief_on(smooth_ground(z, cell_m), cell_m, settings, window, origin)


def _relief_on(
    s: NDArray[np.float32],
    cell_m: float,
    settings: LineworkSettings,
    window: tuple[int, int, int, int],
    origin: tuple[int, int],
) -> NDArray[np.int64]:
    """`relief_histogram` on ground that is already smoothed."""
    scale = scale_for(cell_m, (settings.band_from_m, settings.band_to_m), settings.strip_m)
    stencils = build(scale, cell_m)
    padded = _padded(s, stencils.margin)
    parts = stencils.parts(padded.shape[1])
    side = RELIEF_EVERY * RELIEF_BLOCK
    counts = np.zeros(RELIEF_BINS, dtype=np.int64)
    directions = np.array([0, N_DIRECTIONS // 2], dtype=np.int64)
    row0, row1, col0, col1 = window
    apart = side * RELIEF_BLOCKS
    for r in range(-(-row0 // apart) * apart, row1, apart):
        for c in range(-(-col0 // apart) * apart, col1, apart):
            rows = np.arange(r, r + side, RELIEF_EVERY) - origin[0]
            cols = np.arange(c, c + side, RELIEF_EVERY) - origin[1]
            rows = rows[rows < s.shape[0]]
            cols = cols[cols < s.shape[1]]
            rr, cc = (a.ravel() for a in np.meshgrid(rows, cols, indexing="ij"))
            d = mean_depth_at(padded, stencils.margin, rr, cc, parts, directions, GROUND_SHARE)
            d = d[np.isfinite(d)]
            # fewer than a quarter of the block is ground: its spread says little
            if d.size < RELIEF_BLOCK * RELIEF_BLOCK // 2:
                continue
            spread = float(np.median(np.abs(d - np.median(d))))
            counts[min(RELIEF_BINS - 1, int(spread / RELIEF_BIN_M))] += 1
    return counts


def relief_from_histogram(counts: NDArray[np.int64]) -> float:
    """Median block of a relief histogram [m]; 0 when nothing was counted.

    Parameters
    ----------
    counts : int64 (n,)
        From `relief_histogram`, those of all tiles added.

    Returns
    -------
    float
        [m].
    """
    total = int(counts.sum())
    if total == 0:
        return 0.0
    at = int(np.searchsorted(np.cumsum(counts), (total + 1) // 2))
    return (at + 0.5) * RELIEF_BIN_M


def small_relief(
    z: NDArray[np.float32],
    cell_m: float,
    settings: LineworkSettings | None = None,
    smoothed: NDArray[np.float32] | None = None,
) -> float:
    """Small relief of open ground, which limits what depth can be told from none.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where there is none.
    cell_m : float
        Cell size [m].
    settings : LineworkSettings, optional
    smoothed : float32 (rows, cols), optional
        From `smooth_whole`, where it is at hand.

    Returns
    -------
    float
        Median over blocks of the median absolute deviation of the depth against both sides [m].
    """
    settings = settings or LineworkSettings()
    counts = np.zeros(RELIEF_BINS, dtype=np.int64)
    halo = relief_halo_cells(cell_m, settings) + RELIEF_EVERY * RELIEF_BLOCK
    for own, read, _ in large.strips((z.shape[0], z.shape[1]), halo):
        window = (own.start, own.stop, 0, z.shape[1])
        part = smooth_ground(z[read], cell_m) if smoothed is None else smoothed[read]
        counts += _relief_on(part, cell_m, settings, window, (read.start, 0))
    return relief_from_histogram(counts)
