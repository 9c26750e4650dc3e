"""Both surfaces of one DEM, and the cautious witness beside the natural one."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np

from wetscout import large
from wetscout.kernels.blur import gauss, weights_of
from wetscout.kernels.bridge import carry
from wetscout.kernels.shore import within_steps
from wetscout.records import BOOL, CUT, F32, F64, FILL, ROADSIDE, SPOIL, U8, Linework, Surfaces, Terrain
from wetscout.settings.surfaces import SurfaceSettings
from wetscout.surfaces.corridors import paint_corridors
from wetscout.surfaces.today import carve


def smooth_twice(z: F32, sigma: float, leave_out: BOOL | None = None) -> F32:
    """Gauss twice, 2G - GG: calms noise without lowering rims (-0.001 m of a rim at 2 m, against -0.022 m for G).

    Unknown cells are left out by normalised convolution and stay unknown.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN unknown.
    sigma : float
        Gauss width [cells].
    leave_out : bool (rows, cols), optional
        Cells that must not colour their neighbours (a cut 1.2 m deep lifts its banks by 0.1 m otherwise, the twice
        smoothed edge overshoots); they keep their height.

    Returns
    -------
    float32 (rows, cols)
    """
    known = np.isfinite(z)
    if leave_out is not None:
        known = known & ~leave_out
    weight = known.astype(np.float64)
    # heights are taken from a base, so the float64 sums keep 1e-9 m
    ground = np.where(known, z, 0.0).astype(np.float64)

    def blur(values: F64) -> F64:
        out: F64 = gauss(values, weights_of(sigma, 4.0), False, 0.0)
        return out

    # in place: new arrays as large as a tile cost more than what is worked out on them
    share = blur(weight)
    share[share <= 0] = 1.0
    once = blur(ground)
    once /= share
    once[~known] = 0.0
    twice = blur(once)
    twice /= share
    once *= 2.0
    once -= twice
    calm = once.astype(np.float32)
    np.copyto(calm, z, where=~known)
    return calm


RunTiles = Callable[..., None]
# lines that bend least, of which the cautious surface takes the mean
CAREFUL_LINES = 3


def _whole(function: Callable[..., Any], inputs: dict[str, Any], outputs: dict[str, Any], halo_cells: int) -> None:
    """Run a window function on whole arrays at once."""
    tile = SimpleNamespace(inner=(slice(None), slice(None)))
    for name, answer in function(inputs, tile).items():
        outputs[name][...] = answer


def _calm(z: F32, leave_out: BOOL, sigma: float, run_tiles: RunTiles) -> F32:
    out = large.empty(z.shape, z.dtype)

    def work(windows: dict[str, Any], tile: Any) -> dict[str, Any]:
        return {"out": smooth_twice(windows["z"], sigma, windows["leave_out"])[tile.inner]}

    run_tiles(work, {"z": z, "leave_out": leave_out}, {"out": out}, 2 * int(4.0 * sigma + 0.5) + 1)
    return out


def _carry(
    z: F32, mask: BOOL, s: SurfaceSettings, cell_m: float, run_tiles: RunTiles, wanted: tuple[str, ...]
) -> tuple[F32, ...]:
    """Levels over masked cells: any of `high`, `low` and `cautious`, see `carry`."""
    reach, run = _reach(s, cell_m)
    across = (s.bridge_ratio, s.end_slope, s.hollow_line, s.ridge_m)
    radius, stride = max(4, round(s.cautious_radius_m / cell_m)), max(1, round(2.0 / cell_m))
    fit = (radius, stride, CAREFUL_LINES if "cautious" in wanted else 0)
    out = {name: large.empty(z.shape, z.dtype) for name in wanted}

    def work(windows: dict[str, Any], tile: Any) -> dict[str, Any]:
        ground, gap = np.ascontiguousarray(windows["z"]), np.ascontiguousarray(windows["mask"])
        levels = carry(ground, gap, reach, run, across, fit, tile.inner)
        made = dict(zip(("high", "low", "cautious"), levels, strict=True))
        return {name: made[name] for name in wanted}

    run_tiles(work, {"z": z, "mask": mask}, out, reach + run + 1)
    return tuple(out.values())


def _reach(s: SurfaceSettings, cell_m: float) -> tuple[int, int]:
    """Longest way to free ground, and the free cells that give an end [cells]."""
    return int(np.ceil(s.bridge_reach_m / cell_m)), max(3, round(s.end_run_m / cell_m))


def _only(carried: F32, smooth: F32, corridor: U8) -> None:
    """A cut is only ever filled up, a fill only ever taken off; where both meet the carried level stands. In place.

    The side of a roadside ditch runs up the road's fill, which would be left standing as a wall along the road: it may
    be taken off as well.
    """
    cut, fill = (corridor & CUT) > 0, (corridor & (FILL | SPOIL | ROADSIDE)) > 0
    up, down = cut & ~fill, fill & ~cut
    kept = carried[cut & fill]
    up_m, down_m = np.fmax(carried[up], smooth[up]), np.fmin(carried[down], smooth[down])
    both = cut & fill
    carried[...] = smooth
    carried[up], carried[down], carried[both] = up_m, down_m, kept


def _bits(corridor: U8, bits: int) -> BOOL:
    """Where any of some bits is set."""
    out: BOOL = large.empty(corridor.shape, np.bool_)
    for own, _, _ in large.strips((corridor.shape[0], corridor.shape[1])):
        out[own] = (corridor[own] & bits) > 0
    return out


def build_surfaces(
    terrain: Terrain, lines: Linework, s: SurfaceSettings, run_tiles: RunTiles | None = None
) -> Surfaces:
    """Build today's and the natural surface.

    Parameters
    ----------
    terrain : Terrain
    lines : Linework
        All lines, sure and unsure.
    s : SurfaceSettings
    run_tiles : callable, optional
        Runs a window function tile by tile: (function, inputs, outputs, halo_cells); whole arrays by default.

    Returns
    -------
    Surfaces
    """
    run_tiles = run_tiles or _whole
    cell_m = terrain.grid.cell_m
    corridor = paint_corridors(terrain.z, lines.ditches, lines.embankments, cell_m, s)
    gaps = _bits(corridor, CUT | FILL | SPOIL)
    smooth = _calm(terrain.z, gaps, max(0.5, s.smooth_m / cell_m), run_tiles)
    natural, cautious = _carry(smooth, gaps, s, cell_m, run_tiles, ("high", "cautious"))
    for own, _, _ in large.strips(terrain.grid.shape):
        np.copyto(natural[own], smooth[own], where=np.isnan(natural[own]))
        np.copyto(cautious[own], natural[own], where=np.isnan(cautious[own]))
        _only(natural[own], smooth[own], corridor[own])
        _only(cautious[own], smooth[own], corridor[own])
    today, near_fill = _opened(smooth, corridor, s, cell_m, run_tiles)
    carve(today, terrain.z, (lines.ditches, lines.crossings), near_fill, cell_m, s)
    return Surfaces(smooth, today, natural, cautious, corridor)


def _opened(smooth: F32, corridor: U8, s: SurfaceSettings, cell_m: float, run_tiles: RunTiles) -> tuple[F32, BOOL]:
    """Calm ground with road fill taken off to the lowest levels beside it, and the cells near such fill."""
    today, road = large.copy(smooth), _bits(corridor, FILL)
    if not any(road[own].any() for own, _, _ in large.strips((road.shape[0], road.shape[1]))):
        return today, road
    (low,) = _carry(smooth, road, s, cell_m, run_tiles, ("low",))
    steps = max(1, round(6.0 / cell_m))
    near: BOOL = large.empty(road.shape, np.bool_)
    for own, read, inner in large.strips((road.shape[0], road.shape[1]), steps):
        lower = road[own] & ~np.isnan(low[own])
        np.copyto(today[own], np.minimum(low[own], today[own]), where=lower)
        near[own] = within_steps(road[read], steps)[inner]
    return today, near
