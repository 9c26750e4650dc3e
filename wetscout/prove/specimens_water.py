"""Specimens that hold or held water: ponds, pits, lagoons, plugged ditches, restored wetlands.

Sizes: common practice, no source.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from wetscout.prove.canvas import Canvas
from wetscout.prove.cover import BUILT, HAY, MARSH, WATER
from wetscout.prove.dig import dig_pond
from wetscout.prove.fields import sample, smooth_field
from wetscout.prove.kinds import Options
from wetscout.prove.sweep import Path, near, resample, sweep
from wetscout.prove.terrain import Bowl, sink
from wetscout.prove.truth import Pool, natural_pools
from wetscout.records import BOOL, F64

_BASIN = Options(rim_m=(0.2, 0.5))
BARREN = 31


def dug_ponds(c: Canvas) -> None:
    """Stock ponds: dry or with water, a third with a ditch that leaves them.

    Parameters
    ----------
    c : Canvas
    """
    for x, y, turn in c.lanes(3):
        before = c.z.copy()
        _, bottom = dig_pond(c.rng, c.z, c.cell, x, y)
        if c.rng.random() < 0.35:
            path = c.line(x, y, turn, c.side)
            low = sample(before, path.x[-1:], path.y[-1:], c.cell)[0] - 0.4
            c.ditch(path, max(bottom, min(low, bottom + 1.2)), 0.0005)
        u, v = c.frame(x, y, 0.0)
        c.add(
            (np.abs(c.z - before) > 0.02) & (np.hypot(u, v) < 45),
            int(c.rng.choice([HAY, WATER])),
            bool(c.rng.random() < 0.4),
        )


def borrow_pits(c: Canvas) -> None:
    """Pits from which road fill was taken: straight sides 1:1.5-3, flat floors; half with a way out to a ditch.

    Parameters
    ----------
    c : Canvas
    """
    for x, y, fall in c.lanes(3):
        turn = fall + c.rng.normal(0, 0.3)
        u, v = c.frame(x, y, turn)
        half_u, half_v = c.rng.uniform(18.0, 45.0), c.rng.uniform(10.0, 22.0)
        floor = c.level(x, y, 12.0) - c.rng.uniform(0.8, 2.0)
        off = np.maximum(np.abs(u) - half_u, np.abs(v) - half_v)
        pit = floor + np.clip(off, 0, None) / c.rng.uniform(1.5, 3.0)
        np.minimum(c.z, np.where(off < 10, pit, np.inf), out=c.z, casting="same_kind")
        if c.rng.random() < 0.5:
            start = (x + 0.8 * half_u * np.cos(turn), y + 0.8 * half_u * np.sin(turn))
            path = c.line(*start, fall, c.side)
            c.ditch(path, floor - 0.1, 0.0006, (1.0, 2.0))
        c.add(off < 8, int(c.rng.choice([BUILT, HAY, WATER])))


def lagoons(c: Canvas) -> None:
    """Manure and sewage lagoons: one to three cells with banks above the ground, flat liquid inside.

    Parameters
    ----------
    c : Canvas
    """
    for x, y in c.spots(2):
        turn = c.rng.uniform(0, np.pi)
        u, v = c.frame(x, y, turn)
        cells, half_v = int(c.rng.integers(1, 4)), c.rng.uniform(15.0, 32.0)
        half_u = c.rng.uniform(15.0, 30.0)
        level = c.level(x, y, 30.0)
        crest, floor = level + c.rng.uniform(0.8, 2.0), level - c.rng.uniform(0.5, 2.0)
        liquid = crest - c.rng.uniform(0.5, 1.2)
        out = np.maximum(np.abs(u) - cells * half_u - 4, np.abs(v) - half_v - 4)
        np.maximum(c.z, np.where(out < 12, crest - np.clip(out, 0, None) / 3.0, -np.inf), out=c.z, casting="same_kind")
        inner = np.abs((u + cells * half_u) % (2 * half_u) - half_u) - half_u + 3
        hole = np.maximum(np.maximum(inner, np.abs(v) - half_v), np.abs(u) - cells * half_u)
        dug = np.where(hole < 0, np.maximum(crest + hole / 2.5, floor), np.inf)
        np.minimum(c.z, dug, out=c.z, casting="same_kind")
        if c.rng.random() < 0.7:
            np.copyto(c.z, np.float32(liquid), where=(c.z < liquid) & (hole < 0))
        c.add(out < 14, int(c.rng.choice([WATER, BUILT, HAY])))


def quarries(c: Canvas) -> None:
    """Pits of 80-200 m with benches, a ramp through the edge, an uneven floor and heaps beside.

    Parameters
    ----------
    c : Canvas
    """
    for x, y in c.spots(2):
        u, v = c.frame(x, y, 0.0)
        radius = c.rng.uniform(40.0, 95.0)
        shape = 1 + 0.2 * np.tanh(smooth_field(c.rng, c.shape, c.cell, 1.2 * radius))
        d = np.hypot(u, v) * shape - radius
        deep = c.rng.uniform(3.0, 9.0)
        level = c.level(x, y, 20.0)
        steps = int(c.rng.integers(1, 4))
        wall = -np.clip(np.ceil(-d / 12.0), 0, steps) * deep / steps
        pit = (
            level + np.where(d < 0, np.maximum(wall, -deep), np.inf) + 0.25 * smooth_field(c.rng, c.shape, c.cell, 20.0)
        )
        np.minimum(c.z, np.where(d < 0, pit, np.inf), out=c.z, casting="same_kind")
        turn = c.rng.uniform(0, 2 * np.pi)
        path = c.line(x, y, turn, radius * 1.6)
        ramp = level - deep + deep * np.clip((path.along - 0.25 * radius) / (1.25 * radius), 0, 1)
        for piece in sweep(c.shape, c.cell, path, 9.0):
            low = piece.between(ramp) + np.clip(piece.distance - 4.0, 0, None) * 1.2
            np.minimum(c.z[piece.window], low, out=c.z[piece.window], casting="same_kind")
        heap = (
            c.rng.uniform(1.0, 4.0)
            * np.clip(1 - ((d - 25) / 12) ** 2, 0, 1)
            * (u * np.cos(turn) + v * np.sin(turn) < 0)
        )
        c.z += heap.astype(np.float32)
        c.add(d < 42, BARREN)


def pond_dams(c: Canvas) -> None:
    """A small dam across a draw, water or a dry floor behind it, a spillway dug round its end.

    Parameters
    ----------
    c : Canvas
    """
    for x, y, turn in c.lanes(2):
        u, v = c.frame(x, y, turn)
        # the draw: a trough that begins upslope and goes on down the fall
        fade = np.clip((150 + u) / 60, 0, 1)
        c.z -= (c.rng.uniform(1.0, 2.0) * fade * np.exp(-((v / c.rng.uniform(18.0, 30.0)) ** 2))).astype(np.float32)
        floor = c.level(x, y)
        crest = floor + c.rng.uniform(1.2, 2.2)
        dam = crest - np.clip(np.abs(u) - 2.0, 0, None) / 2.5
        side = 1.0 if c.rng.random() < 0.5 else -1.0
        fill = (np.abs(v) < 75) & (np.abs(u) < 1.5) & (dam > c.z + 0.05) & (v * side > 0)
        end = float(np.abs(v[fill]).max()) if fill.any() else 30.0
        np.maximum(c.z, np.where(np.abs(v) < 75, dam, -np.inf), out=c.z, casting="same_kind")
        along = np.array([-25.0, 0.0, 45.0])
        # round the end of the dam, not through it
        off = side * (end + np.array([5.0, 8.0, 4.0]))
        corners = Path(x + along * np.cos(turn) - off * np.sin(turn), y + along * np.sin(turn) + off * np.cos(turn))
        c.ditch(resample(corners, 4.0), crest - 0.5, 0.004, (3.0, 3.0))
        behind = (u < 0) & (u > -130) & (np.abs(v) < 80)
        if c.rng.random() < 0.6:
            water = crest - c.rng.uniform(0.6, 1.0)
            pond = ndimage.label((c.z < water) & behind)[0]
            mine = pond == pond[_cell(c, x - 8 * np.cos(turn), y - 8 * np.sin(turn))]
            np.copyto(c.z, np.float32(water), where=mine & (pond > 0))
        c.add((np.abs(u + 40) < 90) & (np.abs(v) < 80), None, bool(c.rng.random() < 0.3))
        c.cover.append((behind & (c.z < crest - 0.4) & (u > -80), int(c.rng.choice([WATER, HAY]))))


def _cell(c: Canvas, x: float, y: float) -> tuple[int, int]:
    r, q = round(y / c.cell), round(x / c.cell)
    return min(max(r, 0), c.shape[0] - 1), min(max(q, 0), c.shape[1] - 1)


def _basin(c: Canvas, x: float, y: float) -> Pool | None:
    """Sink a basin and tell its pool."""
    bowl = Bowl(x, y, float(c.rng.uniform(22.0, 55.0)), float(c.rng.uniform(0.4, 1.0)))
    sink(c.rng, c.z, c.cell, bowl, _BASIN)
    r, q = _cell(c, x, y)
    best = None
    for pool in natural_pools(c.z, c.cell):
        a, b = r - pool.patch.row0, q - pool.patch.col0
        rows, cols = pool.patch.mask.shape
        if 0 <= a < rows and 0 <= b < cols and pool.patch.mask[a, b]:
            best = pool if best is None or pool.area_m2 > best.area_m2 else best
    return best


def _pool_mask(c: Canvas, pool: Pool) -> BOOL:
    mask: BOOL = np.zeros(c.shape, dtype=np.bool_)
    rows, cols = pool.patch.mask.shape
    mask[pool.patch.row0 : pool.patch.row0 + rows, pool.patch.col0 : pool.patch.col0 + cols] = pool.patch.mask
    return mask


def _drained(c: Canvas, lane: tuple[float, float, float], pool: Pool) -> tuple[Path, F64, int]:
    """Dig the drain a plug was put into, down to the border; also the station at the rim."""
    path = c.line(*lane, c.side)
    level = sample(c.z, path.x, path.y, c.cell)
    bed = c.ditch(path, pool.node.floor_m - c.rng.uniform(0.15, 0.4), 0.0008, (float(c.rng.uniform(0.6, 1.4)), 1.8))
    rim = int(np.argmax(level > pool.node.spill_m - 0.03))
    return path, bed, max(rim, 2)


def _plug(c: Canvas, path: Path, at_m: float, half_m: float, crest: float) -> None:
    """Fill a ditch over a stretch up to a crest, with gentle ends and a crown as wide as the ditch."""
    along = path.along
    top = crest - np.clip(np.abs(along - at_m) - half_m, 0, None) / 4.0
    for piece in sweep(c.shape, c.cell, path, 9.0):
        fill = piece.between(top) - np.clip(piece.distance - 4.0, 0, None) / 3.0
        np.maximum(c.z[piece.window], fill, out=c.z[piece.window], casting="same_kind")


def plugged_ditches(c: Canvas) -> None:
    """Basins whose ditch was plugged at the rim: they hold water again, the rest of the ditch is still open.

    Parameters
    ----------
    c : Canvas
    """
    for x, y, turn in c.lanes(2):
        pool = _basin(c, x, y)
        if pool is None:
            continue
        path, _, rim = _drained(c, (x, y, turn), pool)
        _plug(c, path, float(path.along[rim]), c.rng.uniform(4.0, 9.0), pool.node.spill_m + c.rng.uniform(0.1, 0.3))
        mask = _pool_mask(c, pool)
        c.add(mask | near(c.shape, c.cell, path, 8.0), None, True)
        c.cover.append((mask, int(c.rng.choice([MARSH, MARSH, HAY]))))


def restored_wetlands(c: Canvas) -> None:
    """A plug, a low berm along the rim and water in the pool at survey; some with scrapes in the floor.

    Parameters
    ----------
    c : Canvas
    """
    for x, y, turn in c.lanes(2):
        pool = _basin(c, x, y)
        if pool is None:
            continue
        path, _, rim = _drained(c, (x, y, turn), pool)
        crest = pool.node.spill_m + c.rng.uniform(0.25, 0.45)
        _plug(c, path, float(path.along[rim]), c.rng.uniform(5.0, 10.0), crest)
        mask = _pool_mask(c, pool)
        berm = c.line(path.x[rim] - 45 * -np.sin(turn), path.y[rim] - 45 * np.cos(turn), turn + np.pi / 2, 90.0)
        for piece in sweep(c.shape, c.cell, berm, 6.0):
            top = crest - np.clip(piece.distance - 1.5, 0, None) / 3.0
            np.maximum(c.z[piece.window], top, out=c.z[piece.window], casting="same_kind")
        if c.rng.random() < 0.5:
            u, v = c.frame(x + c.rng.uniform(-12, 12), y + c.rng.uniform(-12, 12), c.rng.uniform(0, np.pi))
            scrape = 0.4 * np.clip(1 - (u / 14.0) ** 2 - (v / 7.0) ** 2, 0, 1)
            c.z -= scrape.astype(np.float32)
        if c.rng.random() < 0.6:
            water = pool.node.spill_m - c.rng.uniform(0.05, 0.25)
            np.copyto(c.z, np.float32(water), where=mask & (c.z < water))
        c.add(mask | near(c.shape, c.cell, path, 8.0) | near(c.shape, c.cell, berm, 8.0), None, True)
        c.cover.append((mask, int(c.rng.choice([MARSH, MARSH, 90, WATER]))))
