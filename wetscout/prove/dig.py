"""Digging: ditch sections, spoil, old ditches smoothed over, ponds, furrows, noise."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from wetscout.prove.fields import sample, smooth_field, smooth_walk
from wetscout.prove.kinds import Options
from wetscout.prove.routes import STEP_M, Cut
from wetscout.prove.sweep import Path, near, resample, sweep
from wetscout.records import BOOL, F32, F64


def lay_spoil(rng: np.random.Generator, z: F32, ground: F32, cell_m: float, cuts: list[Cut]) -> None:
    """Lay the soil out of each ditch beside it: uneven, with gaps, none on the floor the ditch starts from.

    Parameters
    ----------
    rng : Generator
    z : float32 (rows, cols)
        Changed in place [m].
    ground : float32 (rows, cols)
        [m].
    cell_m : float
        [m].
    cuts : list of Cut
    """
    for cut in cuts:
        if max(cut.spoil_m) <= 0:
            continue
        n = cut.path.x.size
        depth = np.clip(sample(ground, cut.path.x, cut.path.y, cell_m) - cut.bed, 0, 4)
        edge = cut.width_m / 2 + cut.side * depth
        far = rng.uniform(0.3, 1.2)
        half = rng.uniform(1.2, 2.6)
        fade = np.clip((cut.path.along - 15) / 25, 0, 1)
        for sign, height in ((1.0, cut.spoil_m[0]), (-1.0, cut.spoil_m[1])):
            if height <= 0:
                continue
            uneven = np.clip(1 + 0.35 * smooth_walk(rng, n, STEP_M, 25.0), 0.2, 1.5)
            gaps = np.clip(3 * (smooth_walk(rng, n, STEP_M, 60.0) + 1.3), 0, 1)
            top = height * uneven * gaps * fade
            heap = np.zeros_like(z)
            for piece in sweep((z.shape[0], z.shape[1]), cell_m, cut.path, float(edge.max()) + far + 2 * half + 1):
                off = (piece.distance - piece.between(edge) - far - half) / half
                bump = piece.between(top) * np.clip(1 - off * off, 0, 1) * (piece.side == sign)
                np.maximum(heap[piece.window], bump, out=heap[piece.window])
            z += heap


def carve(z: F32, ground: F32, cell_m: float, path: Path, bed: F64, section: tuple[float, float]) -> None:
    """Cut a trapezoid into the surface.

    Parameters
    ----------
    z : float32 (rows, cols)
        Changed in place [m].
    ground : float32 (rows, cols)
        Gives how far the sides reach [m].
    cell_m : float
        [m].
    path : Path
    bed : float64 (n,)
        Bed at the stations [m].
    section : (width_m, side)
        Bed width [m] and side slope (horizontal to 1).
    """
    width, side = section
    depth = float(np.clip(sample(ground, path.x, path.y, cell_m) - bed, 0.3, 5).max()) + 1.2
    for piece in sweep((z.shape[0], z.shape[1]), cell_m, path, width / 2 + side * depth + 1):
        cut = piece.between(bed) + np.clip(piece.distance - width / 2, 0, None) / side
        np.minimum(z[piece.window], cut, out=z[piece.window])


def carve_all(z: F32, ground: F32, cell_m: float, cuts: list[Cut]) -> None:
    """Dig all ditches; the strips along old ones are then smoothed, as decades of ploughing and silt do.

    Parameters
    ----------
    z : float32 (rows, cols)
        Changed in place [m].
    ground : float32 (rows, cols)
        [m].
    cell_m : float
        [m].
    cuts : list of Cut
    """
    for cut in cuts:
        carve(z, ground, cell_m, cut.path, cut.bed, (cut.width_m, cut.side))
    old = [cut for cut in cuts if cut.old]
    if not old:
        return
    strip: BOOL = np.zeros(z.shape, dtype=np.bool_)
    for cut in old:
        strip |= near((z.shape[0], z.shape[1]), cell_m, cut.path, 14.0)
    weight = ndimage.uniform_filter(strip.astype(np.float32), round(9 / cell_m))
    z += weight * (ndimage.gaussian_filter(z, 1.6 / cell_m) - z)


def culverts_of(fill: F32, cell_m: float, path: Path) -> list[tuple[float, float]]:
    """Stretches of a ditch beneath road fill, as distances along it [m].

    Parameters
    ----------
    fill : float32 (rows, cols)
        Height of road fill over what was there [m].
    cell_m : float
        [m].
    path : Path

    Returns
    -------
    list of (from_m, to_m)
    """
    fine = resample(path, 1.0)
    under = sample(fill, fine.x, fine.y, cell_m) > 0.08
    # a ditch that begins or ends beneath a road stays under it up to there: closing alone takes its ends off
    under = ndimage.binary_closing(np.pad(under, 6, mode="edge"), iterations=6)[6:-6]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], under, [False]]).astype(np.int8)))
    along = fine.along
    return [
        (max(0.0, float(along[a]) - 2.5), min(float(along[-1]), float(along[b - 1]) + 2.5))
        for a, b in zip(edges[::2], edges[1::2], strict=True)
    ]


def cut_out(path: Path, bed: F64, start_m: float, end_m: float) -> tuple[Path, F64]:
    """Part of a line between two distances along it.

    Parameters
    ----------
    path : Path
    bed : float64 (n,)
        [m].
    start_m, end_m : float
        [m].

    Returns
    -------
    Path, float64 (m,)
    """
    along = path.along
    at = np.linspace(start_m, end_m, max(2, int((end_m - start_m) / 2) + 1))
    return Path(np.interp(at, along, path.x), np.interp(at, along, path.y)), np.interp(at, along, bed)


def dig_pond(rng: np.random.Generator, z: F32, cell_m: float, x: float, y: float) -> tuple[float, float]:
    """Dig a stock pond: steep sides, flat bottom or water, its soil heaped on one side.

    Parameters
    ----------
    rng : Generator
    z : float32 (rows, cols)
        Changed in place [m].
    cell_m : float
        [m].
    x, y : float
        Centre [m].

    Returns
    -------
    area_m2, bottom_m : float
        Area [m2] and level of the bottom or of the water in it [m].
    """
    a, b = rng.uniform(9.0, 24.0), rng.uniform(8.0, 15.0)
    turn, square = rng.uniform(0, np.pi), rng.uniform(2.0, 6.0)
    reach = 45.0
    r0, c0 = max(0, int((y - reach) / cell_m)), max(0, int((x - reach) / cell_m))
    window = z[r0 : int((y + reach) / cell_m) + 1, c0 : int((x + reach) / cell_m) + 1]
    px = ((c0 + np.arange(window.shape[1])) * cell_m - x)[None, :]
    py = ((r0 + np.arange(window.shape[0])) * cell_m - y)[:, None]
    u, v = px * np.cos(turn) + py * np.sin(turn), py * np.cos(turn) - px * np.sin(turn)
    d = ((np.abs(u) / a) ** square + (np.abs(v) / b) ** square) ** (1 / square)
    off = (d - 1) * min(a, b)
    level = float(np.median(window[np.abs(off) < 3]))
    bottom = level - rng.uniform(1.0, 2.4)
    heap = rng.uniform(0.0, 0.7) * np.clip(1 - ((off - 5) / 4) ** 2, 0, 1) * (v > 0)
    window += heap.astype(np.float32)
    np.minimum(window, np.maximum(bottom, level + off / rng.uniform(1.5, 3.0)), out=window)
    if rng.random() < 0.5:
        # surveyed with water in it: flat, as water surfaces are put into DEMs
        bottom = level - rng.uniform(0.3, 0.8)
        np.copyto(window, np.float32(bottom), where=(window < bottom) & (off < 0))
    return float(np.pi * a * b), bottom


def furrows(rng: np.random.Generator, shape: tuple[int, int], cell_m: float, share: float) -> F32:
    """Rows of tillage, 2-3 cm high, each field with its own direction and spacing.

    Parameters
    ----------
    rng : Generator
    shape : (rows, cols)
    cell_m : float
        [m].
    share : float
        Share of fields that are furrowed.

    Returns
    -------
    float32 (rows, cols)
        [m].
    """
    turn = rng.uniform(0, np.pi / 2)
    x = (np.arange(shape[1], dtype=np.float32) * np.float32(cell_m))[None, :]
    y = (np.arange(shape[0], dtype=np.float32) * np.float32(cell_m))[:, None]
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    wide, long = rng.uniform(250.0, 420.0), rng.uniform(350.0, 800.0)
    i, j = np.floor(u / wide).astype(np.int32), np.floor(v / long).astype(np.int32)
    field = (i - i.min()) * np.int32(j.max() - j.min() + 1) + (j - j.min())
    n = int(field.max()) + 1
    on = rng.random(n) < share
    height = np.where(on, rng.uniform(0.02, 0.03, n) / 2, 0.0).astype(np.float32)
    spacing = rng.choice([2.3, 3.0, 4.5, 6.1], n)
    angle = rng.choice([0.0, np.pi / 2], n) + rng.normal(0, 0.03, n)
    kx = (2 * np.pi / spacing * np.cos(turn + angle)).astype(np.float32)
    ky = (2 * np.pi / spacing * np.sin(turn + angle)).astype(np.float32)
    out: F32 = height[field] * np.sin(kx[field] * x + ky[field] * y)
    return out


def noise(rng: np.random.Generator, shape: tuple[int, int], cell_m: float, sigma_m: float, options: Options) -> F32:
    """Noise as lidar grids have it: white, and a part that neighbours within some metres share.

    Parameters
    ----------
    rng : Generator
    shape : (rows, cols)
    cell_m : float
        [m].
    sigma_m : float
        Standard deviation [m].
    options : Options

    Returns
    -------
    float32 (rows, cols)
        [m].
    """
    shared = options.roughness
    white = rng.standard_normal(shape, dtype=np.float32) * np.float32(sigma_m * np.sqrt(1 - shared**2))
    return white + np.float32(sigma_m * shared) * smooth_field(rng, shape, cell_m, rng.uniform(4.0, 7.0))
