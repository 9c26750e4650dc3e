"""Wet ground that no rim holds: seeps on slopes, drained flats. Listed, not ranked: the visit decides."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from scipy import ndimage

from wetscout import large
from wetscout.pieces import pieces_of
from wetscout.records import BOOL, Basin, Linework, Patch, Surfaces, Terrain
from wetscout.records_covered import CROP, HAY, WATER, WETLAND, Evidence
from wetscout.settings.buried import BuriedSettings

# slope is read over this length, so that furrows do not count
_SLOPE_M = 20.0


def wet_ground(
    terrain: Terrain,
    surfaces: Surfaces,
    lines: Linework,
    evidence: tuple[Evidence, BOOL],
    pools: Iterable[Patch],
    s: BuriedSettings,
) -> tuple[Basin, ...]:
    """Pieces of wet soil where the terrain has no basin and no wetland is mapped.

    Parameters
    ----------
    terrain : Terrain
    surfaces : Surfaces
    lines : Linework
    evidence : (Evidence, bool (rows, cols))
        What the layers say, and the cells on wet soil.
    pools : iterable of Patch
        All natural basins.
    s : BuriedSettings

    Returns
    -------
    tuple of Basin
        In the order of their first cells.
    """
    layers, wet = evidence
    cell_m = terrain.grid.cell_m
    left = large.empty(wet.shape, np.bool_)
    for own, _, _ in large.strips(terrain.grid.shape):
        left[own] = wet[own] & np.isfinite(terrain.z[own]) & ~terrain.water[own]
        if layers.cover is not None:
            left[own] &= (layers.cover[own] != WETLAND) & (layers.cover[own] != WATER)
    for pool in pools:
        h, w = pool.shape
        left[pool.row0 : pool.row0 + h, pool.col0 : pool.col0 + w] &= ~pool.mask
    # a rim of wet soil around a pool is the pool's own: narrow strips are taken off
    steps = max(1, round(8.0 / cell_m))
    core = large.empty(wet.shape, np.bool_)
    for own, read, inner in large.strips(terrain.grid.shape, 2 * steps):
        core[own] = ndimage.binary_opening(left[read], iterations=steps)[inner]
    found = pieces_of(core, corners=False)
    out: list[Basin] = []
    if found is None:
        return ()
    wanted = np.flatnonzero(found.sizes * terrain.grid.cell_m2 >= s.ground_min_m2)
    wanted = wanted[found.sizes[wanted] > 0]
    for number, (r0, c0, r1, c1) in zip(wanted, found.windows(wanted), strict=True):
        mask = found.labels[r0:r1, c0:c1] == number
        patch = Patch(int(r0), int(c0), mask)
        out.append(Basin(f"w{len(out) + 1}", patch, _values(terrain, surfaces, lines, (layers, patch), s)))
    return tuple(out)


def _values(
    terrain: Terrain, surfaces: Surfaces, lines: Linework, where: tuple[Evidence, Patch], s: BuriedSettings
) -> dict[str, Any]:
    layers, patch = where
    cell_m = terrain.grid.cell_m
    h, w = patch.mask.shape
    box = (slice(patch.row0, patch.row0 + h), slice(patch.col0, patch.col0 + w))
    slope = _slope(surfaces.smooth[box], patch.mask, cell_m)
    metres = _ditch_m(lines, patch, cell_m, s.ditch_near_m)
    area = float(patch.mask.sum()) * terrain.grid.cell_m2
    kind = "slope" if slope is not None and slope >= s.slope_seep else "flat with ditches" if metres > 0 else "flat"
    farmed = None
    if layers.cover is not None:
        cover = layers.cover[box][patch.mask]
        known = int((cover > 0).sum())
        farmed = float(np.isin(cover, (CROP, HAY)).sum()) / known if known else None
    first = int(np.flatnonzero(patch.mask[0])[0])
    return {
        "kind": kind,
        "area_m2": area,
        "slope_pct": None if slope is None else 100.0 * slope,
        "ditch_m": metres,
        "farmed_share": farmed,
        "words": _words(kind),
        "_floor_row": patch.row0,
        "_floor_col": patch.col0 + first,
    }


def _slope(ground: np.ndarray, mask: BOOL, cell_m: float) -> float | None:
    """Median slope over some 20 m."""
    k = max(1, round(_SLOPE_M / 2 / cell_m))
    if min(ground.shape) <= 2 * k:
        return None
    d_row = (ground[2 * k :, k:-k] - ground[: -2 * k, k:-k]) / (2 * k * cell_m)
    d_col = (ground[k:-k, 2 * k :] - ground[k:-k, : -2 * k]) / (2 * k * cell_m)
    slope = np.hypot(d_row, d_col)[mask[k:-k, k:-k]]
    slope = slope[np.isfinite(slope)]
    return float(np.median(slope)) if slope.size else None


def _ditch_m(lines: Linework, patch: Patch, cell_m: float, near_m: float) -> float:
    """Length of listed ditches on the ground or near it [m]."""
    reach = max(1, round(near_m / cell_m))
    mask = np.pad(patch.mask, reach)
    near = ndimage.distance_transform_edt(~mask) <= reach
    total = 0.0
    for ditch in lines.ditches:
        if not ditch.sure:
            continue
        r = np.floor(ditch.row + 0.5).astype(np.int64) - patch.row0 + reach
        c = np.floor(ditch.col + 0.5).astype(np.int64) - patch.col0 + reach
        ok = (r >= 0) & (c >= 0) & (r < near.shape[0]) & (c < near.shape[1])
        on = np.zeros(r.size, dtype=bool)
        on[ok] = near[r[ok], c[ok]]
        steps = np.hypot(np.diff(ditch.row), np.diff(ditch.col)) * cell_m
        total += float(steps[on[1:]].sum())
    return total


def _words(kind: str) -> str:
    said: Sequence[str] = {
        "slope": ("wet soil on a slope: ground water may come out here", "no rim holds it, a plug makes no pool"),
        "flat with ditches": ("wet soil on flat ground with ditches in or beside it", "no rim holds water on it"),
        "flat": ("wet soil on flat ground", "no rim holds water on it, a covered drain may lie in it"),
    }[kind]
    return "; ".join(
        [*said, "whether it can be a fen, a wet meadow or a dug pond is for the visit to choose", "not ranked"]
    )
