"""Building stones of ground: rough surfaces, wobbly outlines, winding lines, settling, creep and running water.

Arrays of height are float64 in metres on square 1 m cells unless a docstring says otherwise; positions are (row, col).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numba import njit
from numpy.random import Generator
from numpy.typing import NDArray
from otherground.flood import filled
from scipy import fft, ndimage
from scipy.spatial import cKDTree

Grid = NDArray[np.float64]
Mask = NDArray[np.bool_]
Window = tuple[slice, slice]


def rough(rng: Generator, n: int, short_m: float, long_m: float, power: float = 2.0, pull: float = 1.0) -> Grid:
    """A rough surface (n, n) of mean 0 and standard deviation 1, its wavelengths between two lengths [m].

    `power`: amplitude falls with wavelength to this power; `pull` > 1 stretches forms along the columns.
    """
    step = int(np.clip(short_m // 12, 1, 8))  # long waves are made on fewer cells
    wide = fft.next_fast_len(int(n * 1.25 / step) + 8, real=True)
    fr, fc = np.fft.fftfreq(wide, step)[:, None], np.fft.rfftfreq(wide, step)[None, :] * pull
    f = np.hypot(fr, fc)
    f[0, 0] = 1.0
    gain = f ** (-power) * np.exp(-((f * short_m) ** 2)) * (1 - np.exp(-((f * long_m) ** 4)))
    gain[0, 0] = 0.0
    out = fft.irfft2(fft.rfft2(rng.standard_normal((wide, wide))) * gain, s=(wide, wide))
    if step > 1:
        few = n // step + 6
        t = np.arange(n) / step + 1
        out = ndimage.map_coordinates(out[:few, :few], np.meshgrid(t, t, indexing="ij"), order=3)
    out = out[:n, :n]
    return np.asarray((out - out.mean()) / out.std())


def wander(rng: Generator, n: int, step: float) -> Grid:
    """A smooth random row of n values, mean 0 and standard deviation 1, varying over `step` values."""
    skip = max(step / 6, 1.0)
    few = int(n / skip) + 60
    out = ndimage.gaussian_filter1d(rng.standard_normal(few), step / skip)[20:-20]
    out = np.interp(np.arange(n) / n * (len(out) - 1), np.arange(len(out)), out)
    return np.asarray((out - out.mean()) / max(float(out.std()), 1e-9))


def smooth_max(a: Grid, b: Grid | float, soft_m: float) -> Grid:
    """The higher of two surfaces, rounded over `soft_m` where they meet."""
    return np.asarray(np.logaddexp(a / soft_m, np.asarray(b) / soft_m) * soft_m)


def smooth_min(a: Grid, b: Grid | float, soft_m: float) -> Grid:
    """The lower of two surfaces, rounded over `soft_m` where they meet."""
    return -smooth_max(-a, -np.asarray(b), soft_m)


def around(n: int, at: tuple[float, float], reach_m: float) -> tuple[Window, Grid, Grid]:
    """Window of an (n, n) grid round a place, with offsets (rows, columns) of its cells [m]."""
    r0, r1 = (int(np.clip(at[0] + s * reach_m, 0, n)) for s in (-1, 1))
    c0, c1 = (int(np.clip(at[1] + s * reach_m, 0, n)) for s in (-1, 1))
    rr, cc = np.mgrid[r0:r1, c0:c1].astype(float)
    return (slice(r0, r1), slice(c0, c1)), rr - at[0], cc - at[1]


def outline(rng: Generator, dr: Grid, dc: Grid, half: tuple[float, float], turn: float, wobble: float = 0.15) -> Grid:
    """How far cells lie out from a wobbly oval, 1 on its outline; `half` axes [m], first one at angle `turn`."""
    u = (dr * np.sin(turn) + dc * np.cos(turn)) / half[0]
    v = (dr * np.cos(turn) - dc * np.sin(turn)) / half[1]
    angle, far = np.arctan2(v, u), np.hypot(u, v)
    edge = np.ones_like(far)
    for k in range(2, 7):
        edge += wobble * rng.normal() / k**0.7 * np.cos(k * angle + rng.uniform(0, 2 * np.pi))
    return np.asarray(far / np.clip(edge, 0.35, None))


def spread(rng: Generator, n: int, apart_m: float, tries: int = 12) -> Iterator[tuple[float, float]]:
    """Places at random on an (n, n) grid, none nearer to another than `apart_m`."""
    kept: list[tuple[float, float]] = []
    for _ in range(int(tries * (n / apart_m) ** 2)):
        p = (float(rng.uniform(0, n)), float(rng.uniform(0, n)))
        if all(np.hypot(p[0] - q[0], p[1] - q[1]) >= apart_m for q in kept):
            kept.append(p)
            yield p


def dimpled(rng: Generator, z: Grid, apart_m: float) -> Grid:
    """Ground with small pits beside its larger forms: potholes, old tree falls, lumps of ice."""
    out = z.copy()
    for at in spread(rng, len(z), apart_m, 3):
        half = float(rng.uniform(10, 19))
        w, dr, dc = around(len(z), at, half * 2.5)
        u = outline(rng, dr, dc, (half, half * float(rng.uniform(0.6, 1))), float(rng.uniform(0, np.pi)), 0.18)
        out[w] -= float(rng.uniform(0.5, 1.1)) / (1 + u**4)
    return out


def settled(z: Grid, deep_m: float | Grid) -> Grid:
    """Hollows partly filled by wash and peat: floors become flat, none much deeper than `deep_m`."""
    level = filled(z)
    return np.asarray(level - deep_m * np.tanh((level - z) / deep_m))


def crept(z: Grid, by_m: float) -> Grid:
    """Ground rounded by soil creep and tillage over a length [m]."""
    return np.asarray(ndimage.gaussian_filter(z, by_m, mode="nearest"))


def tilted(n: int, slope: float, toward: float) -> Grid:
    """A plane that falls by `slope` [m a metre] toward an angle (0 = along the columns)."""
    rr, cc = np.mgrid[0:n, 0:n].astype(float)
    return np.asarray(-slope * ((rr - n / 2) * np.sin(toward) + (cc - n / 2) * np.cos(toward)))


def winding(rng: Generator, n: int, toward: float, wave_m: float, swing: float) -> Grid:
    """Stations (k, 2), 0.5 m apart, of a stream right across an (n, n) grid.

    The sine-generated curve of Langbein and Leopold (1966, USGS Professional Paper 422-H): direction swings as a sine
    of the length along the stream, here with uneven waves.
    """
    k = int(n * 8)
    s = np.arange(k) * 0.5
    phase = 2 * np.pi * s / wave_m + 2.4 * wander(rng, k, wave_m * 1.5)
    size = swing * np.clip(1 + 0.55 * wander(rng, k, wave_m * 2), 0.1, 1.5)
    angle = toward + 0.22 * wander(rng, k, wave_m * 5) + 0.3 * wander(rng, k, wave_m * 0.8) + size * np.sin(phase)
    at = np.cumsum(np.stack([np.sin(angle), np.cos(angle)], 1) * 0.5, 0)
    middle = np.array([n / 2, n / 2]) + rng.uniform(-0.28, 0.28) * n * np.array([np.cos(toward), -np.sin(toward)])
    at += middle - at[k // 2]
    ok = np.asarray(((at > -15) & (at < n + 15)).all(1))
    inside = np.flatnonzero(ok)
    first = last = inside[np.argmin(np.abs(inside - k // 2))]
    while first > 0 and ok[first - 1]:
        first -= 1
    while last < k - 1 and ok[last + 1]:
        last += 1
    return np.asarray(at[first : last + 1])


def nearest(n: int, at: Grid, step: int = 4) -> tuple[Grid, NDArray[np.int64]]:
    """Distance [m] of every cell to a line, and its nearest station, looked up on cells of `step` metres."""
    m, thin = -(-n // step), max(step, 1)
    mid = np.arange(m) * step + (step - 1) / 2
    rr, cc = np.meshgrid(mid, mid, indexing="ij")
    few = at[:: 2 * thin]
    far, who = cKDTree(few).query(np.stack([rr.ravel(), cc.ravel()], 1))
    t = (np.arange(n) - (step - 1) / 2) / step
    grid = np.meshgrid(t, t, indexing="ij")
    fine = ndimage.map_coordinates(far.reshape(m, m), grid, order=1, mode="nearest")
    own = np.clip(np.rint(t).astype(int), 0, m - 1)
    return np.asarray(fine), np.asarray(np.minimum(who * 2 * thin, len(at) - 1).reshape(m, m)[np.ix_(own, own)])


def close_by(n: int, at: Grid, reach_m: float) -> tuple[NDArray[np.int64], NDArray[np.int64], Grid, NDArray[np.int64]]:
    """Rows and columns of the cells within `reach_m` of a line, their distance to it [m] and nearest station."""
    on = np.ones((n, n), bool)
    rc = np.rint(at).astype(int)
    rc = rc[(rc >= 0).all(1) & (rc < n).all(1)]
    on[rc[:, 0], rc[:, 1]] = False
    rows, cols = np.nonzero(ndimage.distance_transform_edt(on) <= reach_m)
    far, who = cKDTree(at).query(np.stack([rows, cols], 1).astype(float))
    return rows, cols, np.asarray(far), np.asarray(who)


@njit(cache=True)
def _wear(z, order, down, apart, strength):  # compiled; types are found at the first call
    """One implicit step of stream wear; `order` from low to high, `down` the steepest neighbour of each cell."""
    area = np.ones(z.size)
    for k in range(z.size - 1, -1, -1):
        i = order[k]
        if down[i] != i:
            area[down[i]] += area[i]
    for k in range(z.size):
        i = order[k]
        j = down[i]
        if j != i:
            f = strength * np.sqrt(area[i]) / apart[i]
            z[i] = (z[i] + f * z[j]) / (1 + f)


def _steepest(z: Grid) -> tuple[NDArray[np.int64], Grid]:
    rows, cols = z.shape
    own = np.arange(z.size).reshape(z.shape)
    best, down, apart = np.zeros(z.shape), own.copy(), np.ones(z.shape)
    padded, ids = np.pad(z, 1, constant_values=np.inf), np.pad(own, 1)
    for a in range(3):
        for b in range(3):
            if (a, b) == (1, 1):
                continue
            far = float(np.hypot(a - 1, b - 1))
            drop = (z - padded[a : a + rows, b : b + cols]) / far
            more = drop > best
            best = np.where(more, drop, best)
            down = np.where(more, ids[a : a + rows, b : b + cols], down)
            apart = np.where(more, far, apart)
    return down.ravel(), apart.ravel()


def run_over(z: Grid, steps: int, strength: float, step_m: int = 8, pits_last: bool = True) -> Grid:
    """Ground after running water has worn it (implicit stream power: Braun and Willett 2013, Geomorphology 180-181).

    `pits_last`: closed hollows stay until a gully bites back into them; otherwise wash fills them first.
    """
    n = z.shape[0]
    coarse = ndimage.zoom(z, 1 / step_m, order=1)
    low = coarse.copy()
    for k in range(steps):
        if not pits_last and k % 4 == 0:
            low = filled(low) + 1e-4 * np.add.outer(np.arange(len(low)) % 3, np.arange(len(low)) % 2)
        down, apart = _steepest(low)
        flat = low.ravel().copy()
        _wear(flat, np.argsort(flat, kind="stable"), down, apart, strength)
        low = ndimage.gaussian_filter(flat.reshape(low.shape), 0.35, mode="nearest")
    change = ndimage.zoom(low - coarse, n / len(low), order=1)
    return np.asarray(z + ndimage.gaussian_filter(change, step_m / 2, mode="nearest"))
