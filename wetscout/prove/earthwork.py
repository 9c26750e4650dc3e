"""What machines did to basins after draining them: rims graded down, floors raised with spoil, fields levelled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from wetscout.prove.fields import sample, smooth_field
from wetscout.prove.found import inside
from wetscout.prove.sweep import Path, sweep
from wetscout.prove.truth import Pool
from wetscout.records import F32


@dataclass(frozen=True)
class Work:
    """Earthwork on one basin: along which line its rim is graded, and by how much of each sort [m], share 0-1.

    `lower_m` is how far below the spill the rim is graded, over `width_m` to both sides of the line; `raise_m` how far
    the floor is raised, on `part` of it; `level` the share of the relief that was ploughed and scraped away.
    """

    pool: Pool
    line: Path | None
    lower_m: float = 0.0
    width_m: float = 20.0
    raise_m: float = 0.0
    part: float = 1.0
    level: float = 0.0

    @property
    def idle(self) -> bool:
        """Whether nothing is done."""
        return self.lower_m == 0 and self.raise_m == 0 and self.level == 0


def do_work(rng: np.random.Generator, ground: F32, cell_m: float, works: list[Work]) -> F32:
    """Do the earthwork of all basins.

    Parameters
    ----------
    rng : Generator
    ground : float32 (rows, cols)
        Not changed [m].
    cell_m : float
        [m].
    works : list of Work

    Returns
    -------
    float32 (rows, cols)
        The ground afterwards [m].
    """
    out = ground.copy()
    for work in works:
        if work.level > 0:
            _level(out, cell_m, work)
    for work in works:
        if work.raise_m > 0:
            _raise(rng, out, ground, cell_m, work)
    for work in works:
        if work.lower_m > 0 and work.line is not None:
            _lower(out, cell_m, work)
    return out


def _window(pool: Pool, shape: tuple[int, ...], margin: int) -> tuple[slice, slice]:
    rows, cols = pool.patch.mask.shape
    r0, c0 = max(0, pool.patch.row0 - margin), max(0, pool.patch.col0 - margin)
    return (
        slice(r0, min(shape[0], pool.patch.row0 + rows + margin)),
        slice(c0, min(shape[1], pool.patch.col0 + cols + margin)),
    )


def _mask(pool: Pool, box: tuple[slice, slice]) -> np.ndarray:
    """The pool's cells in a window."""
    mask = np.zeros((box[0].stop - box[0].start, box[1].stop - box[1].start), dtype=np.bool_)
    rows, cols = pool.patch.mask.shape
    r, c = pool.patch.row0 - box[0].start, pool.patch.col0 - box[1].start
    mask[r : r + rows, c : c + cols] = pool.patch.mask
    return mask


def _level(z: F32, cell_m: float, work: Work) -> None:
    """Take a share of the relief away against the plane of the surroundings, fading out over 40 m around the basin."""
    box = _window(work.pool, z.shape, round(50 / cell_m))
    part = z[box]
    away = ndimage.distance_transform_edt(~_mask(work.pool, box)) * cell_m
    y, x = np.mgrid[0 : part.shape[0], 0 : part.shape[1]]
    around = (away > 0) & (away < 50)
    a = np.stack([np.ones(int(around.sum())), y[around], x[around]], axis=1).astype(np.float64)
    plane = np.linalg.lstsq(a, part[around].astype(np.float64), rcond=None)[0]
    flat = plane[0] + plane[1] * y + plane[2] * x
    weight = work.level * np.clip((45 - away) / 40, 0, 1)
    part += (weight * (flat - part)).astype(np.float32)


def _raise(rng: np.random.Generator, z: F32, ground: F32, cell_m: float, work: Work) -> None:
    """Put spoil on the floor, on all of it or from one side on, a little uneven."""
    box = _window(work.pool, z.shape, 0)
    part, mask = z[box], _mask(work.pool, box)
    depth = work.pool.node.spill_m - ground[box].astype(np.float64)
    deep = np.clip(depth / (0.5 * (work.pool.node.spill_m - work.pool.node.floor_m)), 0, 1)
    turn = rng.uniform(0, 2 * np.pi)
    y, x = np.mgrid[0 : part.shape[0], 0 : part.shape[1]]
    side = x * np.cos(turn) + y * np.sin(turn)
    edge = np.quantile(side[mask], work.part)
    kept = np.clip(0.5 - (side - edge) * cell_m / 8.0, 0, 1) if work.part < 1 else 1.0
    uneven = 1 + 0.1 * smooth_field(rng, (part.shape[0], part.shape[1]), cell_m, 18.0)
    part += np.where(mask, work.raise_m * deep * kept * uneven, 0.0).astype(np.float32)


def _lower(z: F32, cell_m: float, work: Work) -> None:
    """Grade the rim down on both sides of the line, from the pool to 10 m behind the crest, by `lower_m` at most."""
    assert work.line is not None
    target = work.pool.node.spill_m - work.lower_m
    level = sample(z, work.line.x, work.line.y, cell_m)
    wet = np.flatnonzero(inside(work.pool.patch, work.line.y / cell_m, work.line.x / cell_m))
    if wet.size == 0:
        return
    shore = int(wet[-1])
    step = max(float(np.diff(work.line.along).mean()), 0.5)
    crest = shore + int(np.argmax(level[shore : shore + int(40 / step)]))
    first, last = max(0, shore - int(8 / step)), min(crest + int(10 / step), work.line.x.size - 1)
    near = Path(work.line.x[first : last + 1], work.line.y[first : last + 1])
    if near.x.size < 2:
        return
    weight: F32 = np.zeros_like(z)
    for piece in sweep((z.shape[0], z.shape[1]), cell_m, near, work.width_m):
        w = np.clip(1.5 * (1 - piece.distance / work.width_m), 0, 1).astype(np.float32)
        np.maximum(weight[piece.window], w, out=weight[piece.window])
    z -= weight * np.clip(z - np.float32(target), 0, np.float32(work.lower_m))
