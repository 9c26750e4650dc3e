"""Where the water of a drained basin runs: the next drained basin it enters on today's ground, culverts open."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from wetscout.prove.flood import fill_level
from wetscout.prove.joined import DEEP, GRAZES_M, joined_pool
from wetscout.prove.landscape import TrueBasin
from wetscout.records import F32, I32, Patch

# Water is followed from so many places.
PLACES = 9
_BESIDE = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))


def with_chain(basins: tuple[TrueBasin, ...], ground: F32, opened: F32, cell_m: float) -> tuple[TrueBasin, ...]:
    """Note the next drained basin that the water of each drained one enters, outside of the basins around it.

    The water decides, not the ditches: out of a basin with several ways the lowest takes it all, and a ditch that joins
    another may be led either way there. Where its floor drains both ways, most of nine places on it decide.

    Parameters
    ----------
    basins : tuple of TrueBasin
    ground : float32 (rows, cols)
        Natural ground [m].
    opened : float32 (rows, cols)
        Today's ground, culverts open, no noise [m].
    cell_m : float
        [m].

    Returns
    -------
    tuple of TrueBasin
    """
    tops = [b for b in basins if b.drained and not _drained_parent(b, basins)]
    areas = {b.node_id: joined_pool(b.pool, ground, opened, (b.floor_m, b.spill_m)) for b in tops}
    below = next_below(tops, areas, ground, opened, cell_m)
    return tuple(replace(b, next_id=below.get(b.node_id, b.next_id)) for b in basins)


def next_below(
    basins: Sequence[TrueBasin], areas: Mapping[int, Patch], ground: F32, opened: F32, cell_m: float
) -> dict[int, int]:
    """Which area the water over the floor of each basin enters next.

    Parameters
    ----------
    basins : sequence of TrueBasin
    areas : mapping of int to Patch
        By `node_id`. Of areas that share ground the later one has it.
    ground, opened : float32 (rows, cols)
        Natural ground; today's ground, culverts open, no noise [m].
    cell_m : float
        [m].

    Returns
    -------
    dict of int to int
        `node_id` of the next one, by that of the basin; -1 where the water leaves over the border first.
    """
    owner: I32 = np.full(opened.shape, -1, dtype=np.int32)
    for number, part in areas.items():
        rows, cols = part.mask.shape
        owner[part.row0 : part.row0 + rows, part.col0 : part.col0 + cols][part.mask] = number
    level = fill_level(opened)
    out = {}
    for b in basins:
        votes = Counter(
            next_entered(level, at, owner, GRAZES_M / cell_m, b.node_id) for at in _over_the_floor(b, ground)
        )
        out[b.node_id] = votes.most_common(1)[0][0]
    return out


def _drained_parent(b: TrueBasin, basins: tuple[TrueBasin, ...]) -> bool:
    at = b.parent_id
    while at >= 0:
        if basins[at].drained:
            return True
        at = basins[at].parent_id
    return False


def _over_the_floor(b: TrueBasin, ground: F32) -> list[tuple[int, int]]:
    """Places spread over the deepest third of a basin."""
    row, col = np.nonzero(b.pool.mask)
    row, col = row + b.pool.row0, col + b.pool.col0
    deep = np.flatnonzero(ground[row, col] <= b.floor_m + DEEP * b.depth_m)
    if not deep.size:
        deep = np.array([np.argmin(ground[row, col])])
    picked = deep[np.linspace(0, deep.size - 1, PLACES).astype(np.int64)]
    return [(int(row[k]), int(col[k])) for k in picked]


def next_entered(level: F32, start: tuple[int, int], owner: I32, far: float, mine: int) -> int:
    """Follow water down a surface without hollows into the first area of another owner.

    To the lowest of eight neighbours; over level ground, where hollows were filled, the shortest way to a cell beside
    lower ground.

    Parameters
    ----------
    level : float32 (rows, cols)
        Hollows raised to the level at which they spill [m].
    start : (int, int)
        Cell the water comes from.
    owner : int32 (rows, cols)
        Number of the area, -1 for none.
    far : float
        Its way in an area must reach so far in row or column [cells].
    mine : int
        The owner left out.

    Returns
    -------
    int
        -1 where it leaves over the border first.
    """
    rows, cols = level.shape
    met: dict[int, tuple[int, int, int, int]] = {}
    at = start
    while True:
        for r, c in _to_lower(level, at):
            if r in (0, rows - 1) or c in (0, cols - 1):
                return -1
            at = r, c
            here = int(owner[at])
            if here < 0 or here == mine:
                continue
            top, end, left, right = met.get(here, (r, r, c, c))
            met[here] = box = min(top, r), max(end, r), min(left, c), max(right, c)
            if max(box[1] - box[0], box[3] - box[2]) + 1 >= far:
                return here


def _to_lower(level: F32, at: tuple[int, int]) -> list[tuple[int, int]]:
    """Cells from one, left out, to the next lower one or the border."""
    rows, cols = level.shape
    came: dict[tuple[int, int], tuple[int, int]] = {at: at}
    todo = deque([at])
    while todo:
        r, c = todo.popleft()
        if r in (0, rows - 1) or c in (0, cols - 1):
            return _way((r, c), came) or [(r, c)]
        beside = [(r + dr, c + dc) for dr, dc in _BESIDE]
        low = min(beside, key=lambda k: level[k])
        if level[low] < level[r, c]:
            return [*_way((r, c), came), low]
        for near in beside:
            if near not in came and level[near] == level[r, c]:
                came[near] = r, c
                todo.append(near)
    raise AssertionError("a hollow was not filled")


def _way(at: tuple[int, int], came: dict[tuple[int, int], tuple[int, int]]) -> list[tuple[int, int]]:
    out = []
    while came[at] != at:
        out.append(at)
        at = came[at]
    return out[::-1]
