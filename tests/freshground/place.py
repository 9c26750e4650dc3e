"""What a natural place is made of, and the streams in it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from otherground.ground import Stream
from scipy import ndimage

from .fields import Grid, close_by, nearest, rough, smooth_min, wander, winding


@dataclass(frozen=True)
class Place:
    """Natural ground on 1 m cells, its streams, the angle it falls toward, and the angle of its field grid."""

    z: Grid
    streams: tuple[Stream, ...]
    fall: float
    grid: float
    deepest_m: float = field(default=2.8)


def falling(rng: Generator, ground: Grid, at: Grid, below_m: float) -> Grid:
    """Bed of a stream along stations: it falls all the way and lies about `below_m` under the general ground."""
    rc = np.clip(np.rint(at).astype(int), 0, len(ground) - 1)
    broad = ndimage.gaussian_filter(ground, 60, mode="nearest")[rc[:, 0], rc[:, 1]]
    low = np.minimum.accumulate(ndimage.gaussian_filter1d(broad, 300, mode="nearest")) - below_m
    low = ndimage.gaussian_filter1d(low, 160, mode="nearest")
    return np.asarray(low - np.arange(len(at)) * 0.5 * float(rng.uniform(0.0004, 0.0012)))


def valley(
    rng: Generator, z: Grid, toward: float, below_m: float, floor_m: float, side: float, wave_m: float = 110.0
) -> tuple[Grid, Stream]:
    """Ground with a valley and the winding stream in it.

    `below_m` from upland to stream bed, `floor_m` half width of the valley floor, `side` slope of the valley sides
    [m a metre].
    """
    n = len(z)
    at = winding(rng, n, toward, wave_m, float(rng.uniform(0.75, 1.25)))
    bed = falling(rng, z, at, below_m)
    axis = ndimage.gaussian_filter1d(at, wave_m * 1.2, axis=0, mode="nearest")
    far, who = nearest(n, axis)
    level = ndimage.gaussian_filter(bed[who], 12, mode="nearest")
    wide = floor_m * np.clip(1 + 0.4 * wander(rng, len(at), wave_m * 2), 0.4, 2)[who]
    off = far + 0.5 * floor_m * rough(rng, n, 60, 400, 1.5) - ndimage.gaussian_filter(wide, 15, mode="nearest")
    bank = float(rng.uniform(0.6, 1.0))
    slope = (
        level + bank + 0.004 * far + np.clip(off, 0, None) * side * np.clip(1 + 0.4 * rough(rng, n, 100, 500), 0.3, 2)
    )
    out = smooth_min(z, slope + 0.06 * rough(rng, n, 20, 120, 1.2), 0.35)
    return channel(rng, out, at, bed), Stream(at, bed)


def channel(rng: Generator, z: Grid, at: Grid, bed: Grid) -> Grid:
    """Ground with the channel of a stream cut into it, as wide as it varies."""
    rows, cols, far, who = close_by(len(z), at, 16.0)
    half = float(rng.uniform(1.0, 2.6)) * np.clip(1 + 0.3 * wander(rng, len(at), 60), 0.5, 1.6)
    steep = float(rng.uniform(1.6, 3.0))
    cut = bed[who] + np.clip(far - half[who], 0, None) / steep
    out = z.copy()
    out[rows, cols] = smooth_min(z[rows, cols], cut, 0.06)
    return out
