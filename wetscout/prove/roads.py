"""Roads on fill, straight, oblique or curved, and the ditches beside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from wetscout.prove.fields import sample, smooth_walk
from wetscout.prove.kinds import Options
from wetscout.prove.routes import STEP_M, Cut
from wetscout.prove.sweep import Path, resample, sweep
from wetscout.records import BOOL, F32, F64

# Longest stretch of ditch or other road within 12 m of a road's centre line [m].
_LONGEST_M = 60.0


@dataclass(frozen=True)
class Road:
    """A road: centre line, crown level [m], crown width [m], side slope of its fill (horizontal to 1)."""

    path: Path
    crown: F64
    width_m: float
    side: float


def make_roads(rng: np.random.Generator, ground: F32, cell_m: float, options: Options, cuts: list[Cut]) -> list[Road]:
    """Lay the roads, from side to side of the raster; some just where a ditch goes through a rim.

    Parameters
    ----------
    rng : Generator
    ground : float32 (rows, cols)
        [m].
    cell_m : float
        [m].
    options : Options
    cuts : list of Cut
        The ditches; no road is laid along one for more than 60 m.

    Returns
    -------
    list of Road
    """
    size = (ground.shape[0] * cell_m, ground.shape[1] * cell_m)
    roads: list[Road] = []
    main = rng.uniform(0, np.pi)
    rims = [cut.rim for cut in cuts if cut.rim is not None]
    for i in range(int(rng.integers(options.roads[0], options.roads[1] + 1))):
        for _attempt in range(25):
            angle = main + (i % 2) * np.pi / 2 + rng.normal(0, 0.12)
            x, y = rng.uniform(0.2, 0.8) * size[1], rng.uniform(0.2, 0.8) * size[0]
            curved = bool(rng.random() < options.curved)
            if rims and rng.random() < options.road_at_rim:
                x, y = rims[int(rng.integers(len(rims)))]
                u, v = rims[int(rng.integers(len(rims)))]
                if not curved and np.hypot(u - x, v - y) > 300:
                    angle = float(np.arctan2(v - y, u - x))
            path = _course(rng, (x, y, angle), size, curved)
            if path is not None and not _runs_along(path, [c.path for c in cuts] + [r.path for r in roads]):
                roads.append(_graded(rng, ground, cell_m, path, options))
                break
    return roads


def _course(
    rng: np.random.Generator, through: tuple[float, float, float], size: tuple[float, float], curved: bool
) -> Path | None:
    """Centre line through a place at an angle, straight or swinging."""
    x, y, angle = through
    half = 1.1 * float(np.hypot(*size))
    t = np.arange(-half, half, STEP_M)
    push = np.zeros_like(t)
    if curved:
        push = rng.uniform(25.0, 70.0) * smooth_walk(rng, t.size, STEP_M, rng.uniform(350.0, 800.0))
        push -= push[t.size // 2]
    path = Path(x + t * np.cos(angle) - push * np.sin(angle), y + t * np.sin(angle) + push * np.cos(angle))
    ok = (np.abs(path.x - size[1] / 2) < size[1] / 2 + 40) & (np.abs(path.y - size[0] / 2) < size[0] / 2 + 40)
    return resample(Path(path.x[ok], path.y[ok]), STEP_M) if ok.sum() > 20 else None


def _graded(rng: np.random.Generator, ground: F32, cell_m: float, path: Path, options: Options) -> Road:
    """Crown above the ground by a changing fill, evened out along the road."""
    level = sample(ground, path.x, path.y, cell_m)
    low, high = options.road_fill_m
    fill = np.clip((low + high) / 2 + 0.3 * (high - low) * smooth_walk(rng, level.size, STEP_M, 180.0), low, high)
    crown = np.maximum(ndimage.gaussian_filter1d(level + fill, 12.0), level + 0.2)
    return Road(path, ndimage.gaussian_filter1d(crown, 2.0), rng.uniform(5.0, 9.0), rng.uniform(1.8, 3.0))


def _runs_along(path: Path, others: list[Path]) -> bool:
    """Whether a ditch would lie under the fill for longer than a culvert is, or another road."""
    tree = cKDTree(np.stack([path.x, path.y], axis=1))
    for other in others:
        away, _ = tree.query(np.stack([other.x, other.y], axis=1), distance_upper_bound=12.0)
        if np.count_nonzero(np.isfinite(away)) * STEP_M > _LONGEST_M:
            return True
    return False


def raise_roads(z: F32, cell_m: float, roads: list[Road]) -> F32:
    """Put the fill on.

    Parameters
    ----------
    z : float32 (rows, cols)
        Changed in place [m].
    cell_m : float
        [m].
    roads : list of Road

    Returns
    -------
    float32 (rows, cols)
        Height of fill over what was there [m], 0 away from roads.
    """
    before = z.copy()
    for road in roads:
        reach = road.width_m / 2 + road.side * 3.5
        for piece in sweep((z.shape[0], z.shape[1]), cell_m, road.path, reach):
            top = piece.between(road.crown) - np.clip(piece.distance - road.width_m / 2, 0, None) / road.side
            np.maximum(z[piece.window], np.where(piece.distance <= reach, top, -np.inf), out=z[piece.window])
    return z - before


def roadside_cuts(
    rng: np.random.Generator, ground: F32, cell_m: float, roads: list[Road], share: float, keep_off: BOOL
) -> list[Cut]:
    """Ditches along the foot of the fill that follow the ground and drain nothing: they stop short of basins.

    Parameters
    ----------
    rng : Generator
    ground : float32 (rows, cols)
        [m].
    cell_m : float
        [m].
    roads : list of Road
    share : float
        Share of road sides that have one.
    keep_off : bool (rows, cols)
        Basins, streams and what lies near.

    Returns
    -------
    list of Cut
    """
    cuts: list[Cut] = []
    for road in roads:
        tx, ty = np.gradient(road.path.x), np.gradient(road.path.y)
        long = np.hypot(tx, ty)
        for sign in (-1.0, 1.0):
            if rng.random() > share:
                continue
            level = sample(ground, road.path.x, road.path.y, cell_m)
            foot = road.width_m / 2 + road.side * ndimage.gaussian_filter1d(np.clip(road.crown - level, 0.2, 2), 5.0)
            off = sign * (foot + rng.uniform(2.0, 3.5))
            line = Path(road.path.x - off * ty / long, road.path.y + off * tx / long)
            deep, width, side = rng.uniform(0.35, 0.7), rng.uniform(0.5, 1.2), rng.uniform(1.3, 2.5)
            stop = sample(keep_off.astype(np.float32), line.x, line.y, cell_m) > 0.0
            edges = np.flatnonzero(np.diff(np.concatenate([[True], stop, [True]]).astype(np.int8)))
            for a, b in zip(edges[::2], edges[1::2], strict=True):
                if (b - a) * STEP_M < 40:
                    continue
                part = Path(line.x[a:b], line.y[a:b])
                bed = ndimage.gaussian_filter1d(sample(ground, part.x, part.y, cell_m), 2.0) - deep
                if bed[-1] > bed[0]:
                    part, bed = Path(part.x[::-1], part.y[::-1]), bed[::-1]
                cuts.append(Cut("roadside", part, bed.copy(), width, side))
    return cuts
