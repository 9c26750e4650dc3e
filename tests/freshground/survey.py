"""What the aircraft saw: furrows, field edges, standing water, brush, and the error of gridded lidar."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from scipy import ndimage

from .fields import Grid, rough, wander
from .place import Place
from .works import Works


def fields_of(rng: Generator, place: Place) -> tuple[Grid, Grid, Grid]:
    """Field number of every cell, its two distances along the field grid [m]."""
    n = len(place.z)
    rr, cc = np.mgrid[0:n, 0:n].astype(float)
    u = (rr - n / 2) * np.sin(place.grid) + (cc - n / 2) * np.cos(place.grid)
    v = (rr - n / 2) * np.cos(place.grid) - (cc - n / 2) * np.sin(place.grid)
    cuts = [np.cumsum(rng.uniform(140, 420, 14)) - 1.1 * n for _ in range(2)]
    number = np.searchsorted(cuts[0], u) * 20 + np.searchsorted(cuts[1], v)
    return number, u, v


def tilled(rng: Generator, place: Place, off_m: Grid) -> Grid:
    """Furrows of 2-3 cm and low banks along some field edges; none on ground with water or slopes to a stream."""
    number, u, v = fields_of(rng, place)
    out = np.zeros_like(u)
    for k in np.unique(number):
        own = number == k
        if rng.random() < 0.35:
            continue
        across = u if rng.random() < 0.5 else v
        apart = float(rng.choice([3.0, 4.5, 6.0, 9.0])) * float(rng.uniform(0.95, 1.05))
        high = float(rng.uniform(0.02, 0.03)) / 2
        out[own] += high * np.sin(2 * np.pi * across[own] / apart + float(rng.uniform(0, 6)))
    edge = np.zeros(number.shape, bool)
    for axis in (0, 1):
        step = np.diff(number, axis=axis) != 0
        pairs = np.take(number, range(number.shape[axis] - 1), axis) * 7 + np.take(
            number, range(1, number.shape[axis]), axis
        )
        edge[: step.shape[0], : step.shape[1]] |= step & (pairs % 10 < 3)
    bank = ndimage.gaussian_filter(edge.astype(float), 1.6)
    out += float(rng.uniform(0.06, 0.15)) * bank / max(float(bank.max()), 1e-9)
    return out * np.clip(off_m / 8, 0, 1)


def error(rng: Generator, shape: tuple[int, int], size_m: float, cell_m: float) -> Grid:
    """Height error of a gridded survey: partly from cell to cell, partly alike over a few metres and along strips."""
    n = max(shape)
    share = float(rng.uniform(0.4, 0.75))
    alike = rough(rng, n, 1.5 / cell_m, 14 / cell_m, 0.6)[: shape[0], : shape[1]]
    white = rng.standard_normal(shape)
    strip = wander(rng, shape[1], 90 / cell_m)[None, :] * 0.008
    return np.asarray(size_m * (np.sqrt(share) * alike + np.sqrt(1 - share) * white) + strip)


def brush(rng: Generator, works: Works, n: int) -> Grid:
    """Lumps where returns from reeds and bushes along old ditches passed for ground [m]."""
    out = np.zeros((n, n))
    for line in works.lines:
        if line.kind == "roadside" or rng.random() > 0.35:
            continue
        on = np.flatnonzero(wander(rng, len(line.at), 50) > 0.9)
        rc = np.rint(line.at[on] + rng.normal(0, 1.2, (len(on), 2))).astype(int)
        rc = rc[((rc >= 0) & (rc < n)).all(1)]
        out[rc[:, 0], rc[:, 1]] += rng.uniform(0, 0.5, len(rc))
    return np.asarray(np.clip(ndimage.gaussian_filter(out, 1.0), 0, 0.2))


def standing(rng: Generator, natural: Grid, water_m: Grid, share: float) -> Grid:
    """Level of water that stood in some of the hollows left whole at the time of the survey, -inf where dry [m]."""
    deep = water_m - natural
    marks, k = ndimage.label(deep > 0.25)
    out = np.full(natural.shape, -np.inf)
    for m, box in enumerate(ndimage.find_objects(marks)[:k], 1):
        own = marks[box] == m
        if own.sum() < 500 or rng.random() > share:
            continue
        top = float(np.median(water_m[box][own]))
        level = top - float(rng.uniform(0.4, 0.85)) * float(deep[box][own].max())
        out[box] = np.where(own, level, out[box])
    return out


def ponded(z: Grid, works: Works, levels: list[float]) -> Grid:
    """Level of the water of dug ponds, -inf elsewhere [m]."""
    out = np.full(z.shape, -np.inf)
    for (r, c), level in zip(works.ponds, levels, strict=True):
        w = (slice(max(int(r) - 24, 0), int(r) + 24), slice(max(int(c) - 24, 0), int(c) + 24))
        out[w] = level
    return out
