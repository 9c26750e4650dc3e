"""Invented land cover in 30 m cells, in the codes of the public United States land-cover map, with its errors.

Wrong single cells 3 %, borders one cell off, some wetlands shown as crops and some drained land as wetland: common
practice, no source.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from wetscout.prove.fields import smooth_field
from wetscout.prove.roads import Road
from wetscout.prove.truth import Pool
from wetscout.records import F32, F64, U8, Patch

STEP_M = 30.0
CROPS, HAY, GRASS, WOODY_WETLAND, MARSH, WATER, BUILT = 82, 81, 71, 90, 95, 11, 21
_FOREST = (41, 42, 43)
AGRICULTURE = (CROPS, HAY)


def make_cover(
    rng: np.random.Generator,
    shape: tuple[int, int],
    cell_m: float,
    basins: tuple[list[Pool], list[str]],
    roads: list[Road],
) -> U8:
    """Draw a land-cover raster.

    Parameters
    ----------
    rng : Generator
    shape : (rows, cols)
    cell_m : float
        [m].
    basins : (list of Pool, list of str)
        Basins of the ground and what each is used for.
    roads : list of Road

    Returns
    -------
    uint8 (rows, cols)
        Codes, in square blocks of 30 m.
    """
    n_r, n_c = (int(np.ceil(n * cell_m / STEP_M)) + 1 for n in shape)
    block = _fields(rng, (n_r, n_c))
    shift = rng.uniform(0, STEP_M, 2)
    # a cell that two basins share goes to the one with more of it
    most: F32 = np.zeros((n_r, n_c), dtype=np.float32)
    for pool, use in zip(*basins, strict=True):
        if pool.parent < 0:
            share = _share(pool.patch, cell_m, shift, (n_r, n_c))
            _basin(rng, block, np.where(share > most, share, np.float32(0)), use)
            np.maximum(most, share, out=most)
    for road in roads:
        r, c = ((v + s) / STEP_M for v, s in ((road.path.y, shift[0]), (road.path.x, shift[1])))
        ok = (r >= 0) & (c >= 0) & (r < n_r) & (c < n_c)
        block[r[ok].astype(int), c[ok].astype(int)] = BUILT
    wrong = rng.random((n_r, n_c)) < 0.03
    block[wrong] = rng.choice(np.array([CROPS, HAY, GRASS, 41, MARSH], dtype=np.uint8), int(wrong.sum()))
    r = ((np.arange(shape[0]) * cell_m + shift[0]) / STEP_M).astype(int)
    c = ((np.arange(shape[1]) * cell_m + shift[1]) / STEP_M).astype(int)
    out: U8 = np.ascontiguousarray(block[np.ix_(r, c)], dtype=np.uint8)
    return out


def _fields(rng: np.random.Generator, shape: tuple[int, int]) -> U8:
    """Crops in fields of 8-30 ha, some hay and grass, patches of forest."""
    wide, long = (max(1, int(rng.uniform(8, 16))) for _ in range(2))
    r, c = np.arange(shape[0]) // long, np.arange(shape[1]) // wide
    kind = rng.choice(np.array([CROPS, HAY, GRASS], dtype=np.uint8), (r[-1] + 1, c[-1] + 1), p=[0.85, 0.1, 0.05])
    block = kind[np.ix_(r, c)].astype(np.uint8)
    woods = smooth_field(rng, shape, STEP_M, 240.0) > 1.35
    block[woods] = int(rng.choice(_FOREST))
    return block


def _share(patch: Patch, cell_m: float, shift: F64, shape: tuple[int, int]) -> F32:
    """Share of each block that a basin covers."""
    r, c = np.nonzero(patch.mask)
    r = ((r + patch.row0) * cell_m + shift[0]) / STEP_M
    c = ((c + patch.col0) * cell_m + shift[1]) / STEP_M
    count = np.zeros(shape, dtype=np.float32)
    np.add.at(count, (r.astype(int), c.astype(int)), np.float32((cell_m / STEP_M) ** 2))
    return count


def _basin(rng: np.random.Generator, block: U8, share: F32, use: str) -> None:
    """Cover of one basin by its use; a wetland's border lies up to a cell off."""
    draw, least = rng.random(), rng.uniform(0.2, 0.5)
    at = (share > 0) & (share >= min(least, float(share.max())))
    if use == "wetland":
        # one in ten is too small or too grassy to be told
        block[at] = GRASS if draw < 0.1 else WOODY_WETLAND if draw < 0.3 else WATER if draw < 0.36 else MARSH
        if draw > 0.85:
            block[ndimage.binary_dilation(at) & (share > 0)] = MARSH
    elif use == "drained":
        block[at] = MARSH if draw < 0.03 else HAY if draw < 0.1 else GRASS if draw < 0.13 else CROPS
    else:
        block[at] = HAY if draw < 0.1 else CROPS


def uses_of(rng: np.random.Generator, pools: list[Pool], drained: set[int], shares: tuple[float, float]) -> list[str]:
    """Say what each basin is used for; nested ones go with the basin around them.

    Parameters
    ----------
    rng : Generator
    pools : list of Pool
        Basins of the ground before anything was done, children before parents.
    drained : set of int
        Numbers of those that have a drain, open or covered.
    shares : (wetland, farmed wetland)
        Of those left alone; the rest is upland.

    Returns
    -------
    list of str
        `drained`, `wetland`, `farmed wetland`, `upland`.
    """
    draws = rng.random(len(pools))
    top = list(range(len(pools)))
    for i in range(len(pools) - 1, -1, -1):
        if pools[i].parent >= 0:
            top[i] = top[pools[i].parent]
    emptied = {top[i] for i in drained}
    out = []
    for i in top:
        if i in emptied:
            out.append("drained")
        else:
            u = draws[i]
            out.append("wetland" if u < shares[0] else "farmed wetland" if u < sum(shares) else "upland")
    return out
