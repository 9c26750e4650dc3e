"""Shaded ground for pictures: thinned to the size seen, lit from the north-west."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter, uniform_filter

from wetscout.records import BOOL, F32, F64

# Light from the north-west, half way up: the map maker's custom (common practice, no source).
_AZIMUTH, _HEIGHT = np.radians(315.0), np.radians(45.0)
# Slopes are stretched so that a typical one is seen: flat farmland falls a few permille.
_SEEN_SLOPE = 0.22
_STRETCH = (1.0, 12.0)
# Survey noise of 3-5 cm is as steep as a ditch bank at 1 m cells; a picture calms it over this distance [m].
_CALM_M = 1.2
# How much a hollow or a rise of so many metres darkens or lightens.
_TINT, _TINT_M = 0.16, 0.8
_BLOCK_ROWS = 16


def thin_out(z: F32, step: int) -> F32:
    """Average blocks of cells.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN unknown.
    step : int
        Block side [cells]; 1 returns the ground itself.

    Returns
    -------
    float32 (ceil(rows / step), ceil(cols / step))
        Block means [m] of the known cells; NaN where a block has none.
    """
    if step == 1:
        return z
    rows, cols = (-(-n // step) for n in z.shape)
    total = np.zeros((rows, cols), dtype=np.float64)
    count = np.zeros((rows, cols), dtype=np.int32)
    # some rows of blocks at a time: a raster that lies on disk is read once
    for top in range(0, rows, _BLOCK_ROWS):
        band = z[top * step : (top + _BLOCK_ROWS) * step]
        for i in range(min(step, band.shape[0])):
            for j in range(step):
                part = band[i::step, j::step]
                known = np.isfinite(part)
                end = top + part.shape[0]
                total[top:end, : part.shape[1]] += np.where(known, part, 0.0)
                count[top:end, : part.shape[1]] += known
    mean = np.full((rows, cols), np.nan)
    np.divide(total, count, out=mean, where=count > 0)
    return mean.astype(np.float32)


def relief(z: F32, cell_m: float, width_m: float) -> F32:
    """Shaded ground with hollows a little darker and rises a little lighter, for land too flat for shade alone.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN unknown; at least 2 by 2.
    cell_m : float
        Cell size [m].
    width_m : float
        Hollows and rises narrower than this show [m].

    Returns
    -------
    float32 (rows, cols)
        0 dark to 1 bright; NaN where the ground is unknown.
    """
    known = np.isfinite(z)
    ground = np.where(known, z, 0.0).astype(np.float64)
    calm = ground if cell_m > _CALM_M else gaussian_filter(ground, _CALM_M / cell_m)
    seen: F32 = np.where(known, calm, np.nan).astype(np.float32)
    tint = _tint(ground, known, max(3, round(width_m / cell_m)))
    del ground, calm
    bright: F32 = np.clip(hillshade(seen, cell_m) + tint, 0.0, 1.0).astype(np.float32)
    return bright


def _tint(ground: F64, known: BOOL, size: int) -> F32:
    """How much lighter a cell is for standing over the known ground in a square of so many cells."""
    # the small number keeps cells far from any ground out of a division by zero
    share = np.maximum(uniform_filter(known.astype(np.float64), size), 1e-9)
    high = np.where(known, ground - uniform_filter(ground, size) / share, np.nan)
    lighter: F32 = (_TINT * np.clip(high / _TINT_M, -1.0, 1.0)).astype(np.float32)
    return lighter


def hillshade(z: F32, cell_m: float) -> F32:
    """Shade the ground by how it faces the light.

    Cosine of the angle between the surface normal and the light, of slopes stretched to be seen (Lambert's law;
    Horn, 1981, Proceedings of the IEEE 69(1):14-47, for its use in shading).

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN unknown; at least 2 by 2.
    cell_m : float
        Cell size [m].

    Returns
    -------
    float32 (rows, cols)
        0 dark to 1 bright; NaN where the ground or a neighbour is unknown.
    """
    south, east = (part.astype(np.float32) for part in np.gradient(z.astype(np.float64), cell_m))
    slope = np.hypot(south, east)
    known = slope[np.isfinite(slope)]
    typical = float(np.percentile(known, 90)) if known.size else 0.0
    stretch = np.float32(np.clip(_SEEN_SLOPE / typical, *_STRETCH)) if typical > 0.0 else np.float32(1.0)
    east, south = east * stretch, south * stretch
    del slope, known
    # light vector: east, south, up; the azimuth is clockwise from north
    light = np.array([np.sin(_AZIMUTH) * np.cos(_HEIGHT), -np.cos(_AZIMUTH) * np.cos(_HEIGHT), np.sin(_HEIGHT)])
    toward = light.astype(np.float32)
    shade = (-east * toward[0] - south * toward[1] + toward[2]) / np.sqrt(1.0 + east**2 + south**2)
    bright: F32 = np.clip(shade, 0.0, 1.0).astype(np.float32)
    return bright
