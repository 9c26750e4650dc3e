"""What each basin was before, what it is used for, and which pipe empties it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wetscout.prove.buried import Pipe
from wetscout.prove.cover import AGRICULTURE
from wetscout.prove.found import inside, iou
from wetscout.prove.landscape import Maps, Original, TrueBasin, TrueCovered
from wetscout.prove.soilmap import hydric_share
from wetscout.prove.truth import Pool, natural_pools
from wetscout.records import F32, F64, U8, Patch


@dataclass(frozen=True)
class Before:
    """The ground before anything was done [m] and its basins, on the grid of the DEM."""

    ground: F32
    pools: list[Pool]
    cell_m: float

    @staticmethod
    def of(ground: F32, cell_m: float) -> Before:
        """Flood the ground.

        Parameters
        ----------
        ground : float32 (rows, cols)
            [m].
        cell_m : float
            [m].

        Returns
        -------
        Before
        """
        return Before(ground, natural_pools(ground, cell_m), cell_m)

    def like(self, pool: Patch) -> Original | None:
        """The basin that shares most ground with a pool, by IoU.

        Parameters
        ----------
        pool : Patch

        Returns
        -------
        Original or None
            None where there was none.
        """
        best: tuple[float, Pool] | None = None
        for p in self.pools:
            share = iou(pool, p.patch)
            if share > 0 and (best is None or share > best[0]):
                best = (share, p)
        if best is None:
            return None
        p = best[1]
        return Original(p.patch, p.node.spill_m, p.area_m2, p.volume_m3)


def with_originals(basins: tuple[TrueBasin, ...], before: Before) -> tuple[TrueBasin, ...]:
    """Note what each basin was before its rim and floor were changed.

    Parameters
    ----------
    basins : tuple of TrueBasin
    before : Before

    Returns
    -------
    tuple of TrueBasin
    """
    return tuple(replace(b, original=before.like(b.pool)) for b in basins)


_USES = ("drained", "wetland", "farmed wetland", "upland")


def paint_uses(pools: list[Pool], uses: list[str], shape: tuple[int, int]) -> U8:
    """Mark the cells of all basins with what they are used for.

    Parameters
    ----------
    pools : list of Pool
    uses : list of str
        One a basin.
    shape : (rows, cols)

    Returns
    -------
    uint8 (rows, cols)
        0 outside.
    """
    out: U8 = np.zeros(shape, dtype=np.uint8)
    for pool, use in zip(pools, uses, strict=True):
        rows, cols = pool.patch.mask.shape
        window = out[pool.patch.row0 : pool.patch.row0 + rows, pool.patch.col0 : pool.patch.col0 + cols]
        window[pool.patch.mask] = 1 + _USES.index(use)
    return out


def with_uses(basins: tuple[TrueBasin, ...], use_map: U8) -> tuple[TrueBasin, ...]:
    """Note what each basin is used for.

    Parameters
    ----------
    basins : tuple of TrueBasin
    use_map : uint8 (rows, cols)
        From `paint_uses`.

    Returns
    -------
    tuple of TrueBasin
    """
    out = []
    for b in basins:
        rows, cols = b.pool.mask.shape
        seen = use_map[b.pool.row0 : b.pool.row0 + rows, b.pool.col0 : b.pool.col0 + cols][b.pool.mask]
        count = np.bincount(seen, minlength=len(_USES) + 1)[1:]
        use = _USES[int(np.argmax(count))] if count.any() else ""
        out.append(replace(b, use="drained" if b.drained or b.partial else use))
    return tuple(out)


def covered_truths(
    basins: tuple[TrueBasin, ...],
    pipes: list[tuple[Pipe, F64, F64]],
    before: Before,
    maps: Maps,
) -> tuple[tuple[TrueCovered, ...], tuple[TrueBasin, ...]]:
    """Tell which basins each pipe empties.

    Parameters
    ----------
    basins : tuple of TrueBasin
        Of the ground as it is now.
    pipes : list of (Pipe, row, col)
        With their stations [cells].
    before : Before
    maps : Maps

    Returns
    -------
    covered : tuple of TrueCovered
        Pipes whose basin no longer closes are left out.
    basins : tuple of TrueBasin
        With the pipe that empties them noted.
    """
    covered: list[TrueCovered] = []
    out = {b.node_id: b for b in basins}
    for pipe, row, col in pipes:
        mine = [b for b in basins if _empties(b.pool, row, col) and not b.drained]
        was = [p for p in before.pools if _empties(p.patch, row, col)]
        if not mine or not was:
            continue
        first = min(was, key=lambda p: abs(p.node.spill_m - pipe.spill_m))
        best = max(mine, key=lambda b: (iou(b.pool, first.patch), -b.node_id))
        if iou(best.pool, first.patch) < 0.3:
            # the hollow itself is gone; what closes over the pipe now is what lay around it
            best, first = max(((b, p) for b in mine for p in was), key=lambda k: iou(k[0].pool, k[1].patch))
        ids = (best.node_id, *(b.node_id for b in mine if b.node_id != best.node_id))
        covered.append(_covered((len(covered), ids), best, (pipe, row, col), (before, first), maps))
        for n in ids:
            out[n] = replace(out[n], covered_id=covered[-1].covered_id, use="drained")
    return tuple(covered), tuple(out[b.node_id] for b in basins)


def _empties(pool: Patch, row: F64, col: F64) -> bool:
    """Whether a pipe begins in a pool and comes out outside of it; the first metres count, the floor is uneven."""
    wet = inside(pool, row, col)
    return bool(wet[:6].any()) and not wet[-1]


def _covered(
    numbers: tuple[int, tuple[int, ...]],
    basin: TrueBasin,
    line: tuple[Pipe, F64, F64],
    was: tuple[Before, Pool],
    maps: Maps,
) -> TrueCovered:
    pipe, row, col = line
    before, pool = was
    along = pipe.path.along
    invert = np.interp(np.linspace(0.0, along[-1], row.size), along, pipe.invert)
    rows, cols = basin.pool.mask.shape
    seen = maps.landcover[basin.pool.row0 : basin.pool.row0 + rows, basin.pool.col0 : basin.pool.col0 + cols]
    return TrueCovered(
        covered_id=numbers[0],
        node_ids=numbers[1],
        pool=basin.pool,
        spill_m=basin.spill_m,
        depth_m=basin.depth_m,
        area_m2=basin.area_m2,
        volume_m3=basin.volume_m3,
        original=Original(pool.patch, pool.node.spill_m, pool.area_m2, pool.volume_m3),
        mouth_row=float(row[-1]),
        mouth_col=float(col[-1]),
        mouth_m=float(invert[-1]),
        ditch_id=pipe.cut,
        pipe_row=row,
        pipe_col=col,
        pipe_m=invert,
        trench_m=pipe.trench_m,
        rim_lowered_m=pool.node.spill_m - basin.spill_m,
        floor_raised_m=basin.floor_m - pool.node.floor_m,
        hydric_mapped=hydric_share(maps.soils, pool, before.cell_m, before.ground.shape[0]) >= 0.5,
        cropped=bool(np.isin(seen[basin.pool.mask], AGRICULTURE).mean() >= 0.5),
        cut_open=basin.partial,
        at_edge=basin.at_edge,
    )
