"""The natural ground: slope, swells, basins with irregular rims, swales, a stream with its valley and levees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from wetscout.prove.fields import sample, smooth_field, smooth_walk
from wetscout.prove.kinds import Options
from wetscout.prove.sweep import Path, nearest, resample
from wetscout.records import F32, F64


@dataclass(frozen=True)
class Stream:
    """A natural stream: centre line, bed [m], width of the channel [m]."""

    path: Path
    bed: F64
    width_m: float


@dataclass(frozen=True)
class Bowl:
    """A basin as asked for; what comes out is measured from the ground."""

    x: float
    y: float
    radius_m: float
    depth_m: float


def make_ground(
    rng: np.random.Generator, shape: tuple[int, int], cell_m: float, options: Options
) -> tuple[F32, tuple[Stream, ...]]:
    """Make the ground before anything was dug.

    Parameters
    ----------
    rng : Generator
    shape : (rows, cols)
    cell_m : float
        [m].
    options : Options

    Returns
    -------
    ground : float32 (rows, cols)
        [m].
    streams : tuple of Stream
    """
    ground, low_side = _plain(rng, shape, cell_m, options)
    size = (shape[0] * cell_m, shape[1] * cell_m)
    streams = tuple(_stream(rng, ground, cell_m, low_side, options) for _ in range(options.streams))
    bowls = _bowls(rng, size, options, streams)
    _swales(rng, ground, cell_m, low_side, options)
    for bowl in bowls:
        sink(rng, ground, cell_m, bowl, options)
    for stream in streams:
        ground = _valley(rng, ground, cell_m, stream, options)
    ground += np.float32(options.small_relief_m) * smooth_field(rng, shape, cell_m, 26.0)
    return ground, streams


def _plain(rng: np.random.Generator, shape: tuple[int, int], cell_m: float, options: Options) -> tuple[F32, float]:
    """Sloping plain with swells; also the direction it falls in [rad]."""
    fall = rng.uniform(*options.fall)
    toward = rng.uniform(0, 2 * np.pi)
    x = np.arange(shape[1], dtype=np.float32) * np.float32(cell_m)
    y = np.arange(shape[0], dtype=np.float32) * np.float32(cell_m)
    ground: F32 = (-fall * (np.cos(toward) * x[None, :] + np.sin(toward) * y[:, None])).astype(np.float32)
    for height, length in zip(options.relief_m, options.relief_length_m, strict=True):
        ground += np.float32(height * rng.uniform(0.7, 1.2)) * smooth_field(rng, shape, cell_m, length)
    ground += np.float32(30.0 - float(ground.min()) + rng.uniform(0, 40))
    return ground, float(toward)


def _across(rng: np.random.Generator, size: tuple[float, float], toward: float, spread: float) -> Path:
    """A line through the raster, roughly down the fall, from beyond one side to beyond the other."""
    height, width = size
    angle = toward + rng.normal(0, spread)
    cx, cy = width * rng.uniform(0.3, 0.7), height * rng.uniform(0.3, 0.7)
    half = 0.75 * np.hypot(height, width)
    t = np.linspace(-half, half, 9)
    return Path(cx + t * np.cos(angle), cy + t * np.sin(angle))


def _bend(rng: np.random.Generator, path: Path, amplitude_m: float, length_m: float) -> Path:
    """Push stations sideways by a smooth walk."""
    fine = resample(path, 8.0)
    push = amplitude_m * smooth_walk(rng, fine.x.size, 8.0, length_m)
    tx, ty = np.gradient(fine.x), np.gradient(fine.y)
    long = np.hypot(tx, ty)
    return Path(fine.x - push * ty / long, fine.y + push * tx / long)


def _stream(rng: np.random.Generator, ground: F32, cell_m: float, toward: float, options: Options) -> Stream:
    """Sinuous course down the fall with a bed that never rises."""
    size = (ground.shape[0] * cell_m, ground.shape[1] * cell_m)
    course = _bend(rng, _across(rng, size, toward, 0.25), 90.0, 700.0)
    course = _bend(rng, course, rng.uniform(14.0, 26.0), rng.uniform(70.0, 110.0))
    path = resample(course, 8.0)
    level = sample(ground, path.x, path.y, cell_m)
    wide = np.convolve(np.pad(level, 25, mode="edge"), np.ones(51) / 51, mode="valid")
    bed = np.minimum.accumulate(wide - rng.uniform(*options.valley_m) - 0.0004 * path.along)
    return Stream(path, bed, float(rng.uniform(2.5, 5.0)))


def _bowls(
    rng: np.random.Generator, size: tuple[float, float], options: Options, streams: tuple[Stream, ...]
) -> list[Bowl]:
    """Places, sizes and depths; large ones hold smaller, deeper ones."""
    want = rng.poisson(options.basins_per_km2 * size[0] * size[1] / 1e6)
    bowls: list[Bowl] = []
    inner: list[Bowl] = []
    keep_off = 330.0 if options.levee else 110.0
    for _ in range(40 * max(1, want)):
        if len(bowls) >= want:
            break
        area = 1e4 * np.exp(rng.uniform(*np.log(options.basin_ha)))
        radius = float(np.sqrt(area / np.pi))
        x, y = rng.uniform(0, size[1]), rng.uniform(0, size[0])
        gap = rng.uniform(1.1, 1.7)
        if any(np.hypot(b.x - x, b.y - y) < gap * (b.radius_m + radius) + 12 for b in bowls):
            continue
        if any(np.hypot(s.path.x - x, s.path.y - y).min() < keep_off + radius for s in streams):
            continue
        depth = rng.uniform(*options.basin_depth_m)
        # a hollow 5 m across is never a metre deep: sides no steeper than about 6 %
        depth = min(depth, 0.12 * radius)
        if rng.random() < options.deep_share and radius > 25:
            depth = rng.uniform(1.2, 2.0)
        bowls.append(Bowl(x, y, radius, depth))
        if radius > 38 and rng.random() < options.nested_share:
            for turn in rng.uniform(0, 2 * np.pi) + np.array([0.0, np.pi]) + rng.normal(0, 0.3, 2):
                r = radius * rng.uniform(0.28, 0.42)
                far = radius * rng.uniform(0.45, 0.6)
                inner.append(Bowl(x + far * np.cos(turn), y + far * np.sin(turn), r, rng.uniform(0.2, 0.45)))
    return bowls + inner


def sink(rng: np.random.Generator, ground: F32, cell_m: float, bowl: Bowl, options: Options) -> None:
    """Sink one basin into the ground: irregular outline, level floor, rim of changing height.

    Parameters
    ----------
    rng : Generator
    ground : float32 (rows, cols)
        Changed in place [m].
    cell_m : float
        [m].
    bowl : Bowl
    options : Options
        `rim_m` is used.
    """
    reach = 3.2 * bowl.radius_m + 10
    r0, r1 = (int(max(0, (bowl.y + s * reach) / cell_m)) for s in (-1, 1))
    c0, c1 = (int(max(0, (bowl.x + s * reach) / cell_m)) for s in (-1, 1))
    window = ground[r0 : min(r1, ground.shape[0]), c0 : min(c1, ground.shape[1])]
    if window.size == 0 or min(window.shape) < 4:
        return
    turn, stretch = rng.uniform(0, np.pi), float(np.exp(np.clip(rng.normal(0, 0.22), -0.35, 0.35)))
    shape, length = (window.shape[0], window.shape[1]), max(1.5 * bowl.radius_m, 12.0)
    px = (c0 + np.arange(shape[1])) * cell_m - bowl.x
    py = (r0 + np.arange(shape[0])) * cell_m - bowl.y
    # within half a radius, so that the window holds all of it
    warp = 0.5 * bowl.radius_m
    u = px[None, :] + warp * np.tanh(0.5 * smooth_field(rng, shape, cell_m, length))
    v = py[:, None] + warp * np.tanh(0.5 * smooth_field(rng, shape, cell_m, length))
    du = (u * np.cos(turn) + v * np.sin(turn)) * stretch
    dv = (v * np.cos(turn) - u * np.sin(turn)) / stretch
    d = np.hypot(du, dv) / bowl.radius_m
    # the land around a basin is leveller than the plain: tilt is taken out inside and fades to d = 1.9
    flat = np.clip((1.9 - d) / 0.8, 0, 1)
    flat = flat * flat * (3 - 2 * flat)
    middle = window[d < 1.2]
    if middle.size == 0:
        return
    window += (0.8 * flat * (middle.mean() - window)).astype(np.float32)
    power = rng.uniform(1.6, 3.2)
    window -= (bowl.depth_m * np.clip(1 - np.clip(d, 0, 1) ** power, 0, 1) ** 1.2).astype(np.float32)
    rim = rng.uniform(*options.rim_m) * min(1.0, bowl.depth_m / 0.6)
    uneven = np.clip(0.75 + 0.55 * smooth_field(rng, shape, cell_m, max(0.9 * bowl.radius_m, 15.0)), 0, 2)
    window += (rim * uneven * np.exp(-(((d - 1.18) / 0.22) ** 2))).astype(np.float32)


def _swales(rng: np.random.Generator, ground: F32, cell_m: float, toward: float, options: Options) -> None:
    """Shallow natural troughs down the fall, fading out at both ends; basins are sunk into them afterwards."""
    size = (ground.shape[0] * cell_m, ground.shape[1] * cell_m)
    for _ in range(rng.integers(options.swales[0], options.swales[1] + 1)):
        path = resample(_bend(rng, _across(rng, size, toward, 0.5), 60.0, 350.0), 12.0)
        a = rng.uniform(0.0, 0.5)
        part = slice(int(a * path.x.size), int((a + rng.uniform(0.25, 0.5)) * path.x.size))
        path = Path(path.x[part], path.y[part])
        deep = rng.uniform(0.25, 0.7) * np.clip(0.8 + 0.3 * smooth_walk(rng, path.x.size, 12.0, 150.0), 0.2, 1.5)
        ends = np.clip(np.minimum(path.along, path.along[-1] - path.along) / 80.0, 0, 1)
        wide = rng.uniform(12.0, 26.0)
        off, amount = nearest((ground.shape[0], ground.shape[1]), cell_m, path, 2.6 * wide, deep * ends)
        keep = np.isfinite(off)
        ground[keep] -= amount[keep] * np.exp(-((off[keep] / wide) ** 2))


def _spread(shape: tuple[int, int], cell_m: float, path: Path, values: F64) -> F32:
    """Station values carried to both sides, without a seam where the nearest station jumps."""
    step = 10.0
    n_r, n_c = int(shape[0] * cell_m / step) + 2, int(shape[1] * cell_m / step) + 2
    r, c = np.rint(path.y / step).astype(int), np.rint(path.x / step).astype(int)
    ok = (r >= 0) & (c >= 0) & (r < n_r) & (c < n_c)
    weight, total = np.zeros((n_r, n_c)), np.zeros((n_r, n_c))
    np.add.at(weight, (r[ok], c[ok]), 1.0)
    np.add.at(total, (r[ok], c[ok]), values[ok] - values.min())
    near_w, near_t = (ndimage.gaussian_filter(v, 5.0, truncate=12.0) for v in (weight, total))
    # 1e-30: further out than any valley reaches, the value is not used
    coarse = values.min() + near_t / np.maximum(near_w, 1e-30)
    return _enlarge(coarse.astype(np.float32), step, shape, cell_m)


def _distance(shape: tuple[int, int], cell_m: float, path: Path) -> F32:
    """Distance to a line [m], evened out where the nearest station jumps; good to about a metre."""
    step = 2.0
    n_r, n_c = int(shape[0] * cell_m / step) + 2, int(shape[1] * cell_m / step) + 2
    line = resample(path, step)
    r, c = np.rint(line.y / step).astype(int), np.rint(line.x / step).astype(int)
    ok = (r >= 0) & (c >= 0) & (r < n_r) & (c < n_c)
    dry = np.ones((n_r, n_c), dtype=np.bool_)
    dry[r[ok], c[ok]] = False
    away = ndimage.gaussian_filter(ndimage.distance_transform_edt(dry).astype(np.float32) * np.float32(step), 2.0)
    return _enlarge(away, step, shape, cell_m)


def _enlarge(coarse: F32, step_m: float, shape: tuple[int, int], cell_m: float) -> F32:
    """A raster on nodes `step_m` apart, linearly between them."""
    out: F32 = np.zeros(shape, dtype=np.float32)
    r, c = np.arange(shape[0]) * cell_m / step_m, np.arange(shape[1]) * cell_m / step_m
    i, j = r.astype(int), c.astype(int)
    u, v = (r - i).astype(np.float32)[:, None], (c - j).astype(np.float32)[None, :]
    half = coarse[i] * (1 - u) + coarse[i + 1] * u
    out += half[:, j] * (1 - v) + half[:, j + 1] * v
    return out


def _valley(rng: np.random.Generator, ground: F32, cell_m: float, stream: Stream, options: Options) -> F32:
    """Cut the valley and the channel; with levees, a wide plain behind them that holds back-swamps."""
    shape = (ground.shape[0], ground.shape[1])
    wide = 300.0 if options.levee else 50.0
    side = 130.0 if options.levee else 90.0
    off = _distance(shape, cell_m, stream.path)
    at = off < wide + side + 40
    d = off[at] - 28.0 * np.tanh(smooth_field(rng, shape, cell_m, 260.0)[at]) * np.clip((off[at] - 45) / 50, 0, 1)
    floor = _spread(shape, cell_m, stream.path, stream.bed)[at] + np.float32(rng.uniform(1.0, 1.5))
    if options.levee:
        high = np.clip(0.65 + 0.18 * smooth_field(rng, shape, cell_m, 160.0)[at], 0.25, 1.1)
        floor = floor + high * np.exp(-(((d - 26.0) / 20.0) ** 2)) - 0.25 * np.clip((d - 40) / 60, 0, 1)
        floor += 0.24 * smooth_field(rng, shape, cell_m, 170.0)[at] * np.clip((d - 30) / 60, 0, 1)
    else:
        floor = floor + 0.006 * d + 0.08 * smooth_field(rng, shape, cell_m, 60.0)[at]
    rise = np.clip((d - wide) / side, 0, 1)
    rise = rise * rise * (3 - 2 * rise)
    out = ground.copy()
    cut = floor * (1 - rise) + ground[at] * rise
    out[at] = cut if options.levee else np.minimum(ground[at], cut)
    close, bed = nearest(shape, cell_m, stream.path, 14.0, stream.bed)
    at = np.isfinite(close)
    channel = bed[at] + np.clip(close[at] - stream.width_m / 2, 0, None) / 1.8
    out[at] = np.minimum(out[at], channel)
    return out
