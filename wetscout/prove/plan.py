"""What is dug in a landscape, in the order it was dug: collectors, chains, drains, second cuts, pipes, earthwork."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from wetscout.prove.buried import Pipe, lay_pipes
from wetscout.prove.earthwork import Work
from wetscout.prove.fields import smooth_walk
from wetscout.prove.found import inside
from wetscout.prove.kinds import Options
from wetscout.prove.network import Hollow, Network
from wetscout.prove.routes import STEP_M, Cut
from wetscout.prove.sweep import Path, resample
from wetscout.prove.truth import Pool, near_mask
from wetscout.records import F32

Streams = dict[str, np.random.Generator]


@dataclass
class Dug:
    """What was dug: all cuts, the cut that drains each basin by number, the pipes."""

    cuts: list[Cut] = field(default_factory=list)
    drains: dict[int, int] = field(default_factory=dict)
    pipes: list[Pipe] = field(default_factory=list)


def dig_network(
    streams: Streams, network: Network, ground: F32, pools: list[Pool], cell_m: float, options: Options
) -> Dug:
    """Plan every ditch and pipe of a landscape.

    Parameters
    ----------
    streams : dict of str to Generator
        `network`, `chains`, `covered`.
    network : Network
        Empty.
    ground : float32 (rows, cols)
        [m].
    pools : list of Pool
        Its basins.
    cell_m : float
        [m].
    options : Options

    Returns
    -------
    Dug
    """
    rng, o = streams["network"], options
    if o.collectors_shun_basins:
        network.keep_off(near_mask(pools, (ground.shape[0], ground.shape[1]), cell_m, 25.0))
    network.add_collectors()
    drains = _chains(streams["chains"], network, ground, pools, cell_m, o)
    chosen = _chosen(rng, pools, o)
    for number in chosen:
        hollow = hollow_of(rng, ground, pools[number], cell_m)
        partial = bool(rng.random() < o.partial)
        if number not in drains and network.drain(hollow, partial):
            drains[number] = len(network.cuts) - 1
    left = [n for n in _worth(pools) if n not in drains]
    network.rng = streams["chains"]
    if o.second_cut > 0:
        _second_cuts(network, ground, {n: pools[n] for n in drains}, cell_m, o.second_cut)
    pipes = []
    if o.covered > 0:
        covered = streams["covered"]
        wishes = [(n, pools[n], hollow_of(covered, ground, pools[n], cell_m)) for n in left]
        pipes = lay_pipes(covered, network, wishes, o, cell_m)
    if o.dead_ditch > 0:
        _dead_ditches(streams["chains"], network, [pools[n] for n in left], cell_m, o.dead_ditch)
    rough_beds(rng, network.cuts)
    return Dug(network.cuts, drains, pipes)


def _worth(pools: list[Pool]) -> list[int]:
    """Basins worth draining: large and deep enough, and not the lower half of a larger one with the same floor."""
    out = []
    for number, pool in enumerate(pools):
        worth = pool.area_m2 >= 350 and pool.node.spill_m - pool.node.floor_m >= 0.15
        if worth and (pool.parent < 0 or pools[pool.parent].node.floor_pit != pool.node.floor_pit):
            out.append(number)
    return out


def _chosen(rng: np.random.Generator, pools: list[Pool], options: Options) -> list[int]:
    """Basins to be drained, lowest first: a share of those worth it, most often those nobody else encloses."""
    out = []
    for number in _worth(pools):
        share = options.drained if pools[number].parent < 0 else 0.8 * options.drained
        if rng.random() < share:
            out.append(number)
    return sorted(out, key=lambda n: pools[n].node.floor_m)


def hollow_of(rng: np.random.Generator, ground: F32, pool: Pool, cell_m: float) -> Hollow:
    """Where a drain starts: on the floor, within its lowest tenth.

    Parameters
    ----------
    rng : Generator
    ground : float32 (rows, cols)
        [m].
    pool : Pool
    cell_m : float
        [m].

    Returns
    -------
    Hollow
    """
    rows, cols = pool.patch.mask.shape
    window = ground[pool.patch.row0 : pool.patch.row0 + rows, pool.patch.col0 : pool.patch.col0 + cols]
    depth = pool.node.spill_m - pool.node.floor_m
    r, c = np.nonzero(pool.patch.mask & (window <= pool.node.floor_m + 0.1 * depth))
    i = int(rng.integers(r.size))
    x, y = float(pool.patch.col0 + c[i]) * cell_m, float(pool.patch.row0 + r[i]) * cell_m
    return Hollow(x, y, pool.node.floor_m, pool.node.spill_m, pool.area_m2)


def _chains(
    rng: np.random.Generator, network: Network, ground: F32, pools: list[Pool], cell_m: float, options: Options
) -> dict[int, int]:
    """Drain groups of basins by one ditch: each drain ends where the next lower basin's begins."""
    drains: dict[int, int] = {}
    if options.chains[1] == 0:
        return drains
    network.rng = rng
    tops = [n for n in _worth(pools) if pools[n].parent < 0]
    for _ in range(int(rng.integers(options.chains[0], options.chains[1] + 1))):
        free = [n for n in tops if n not in drains]
        rng.shuffle(free)
        lowest = next((n for n in free if network.drain(hollow_of(rng, ground, pools[n], cell_m), False)), None)
        if lowest is None:
            break
        drains[lowest] = len(network.cuts) - 1
        tail = lowest
        for _link in range(4):
            below = network.cuts[drains[tail]]
            x, y = float(below.path.x[0]), float(below.path.y[0])
            hollows = {n: hollow_of(rng, ground, pools[n], cell_m) for n in tops if n not in drains}
            near = sorted(hollows, key=lambda n: np.hypot(hollows[n].x - x, hollows[n].y - y))[:6]
            up = next((n for n in near if network.drain_into(hollows[n], drains[tail])), None)
            if up is None:
                break
            drains[up] = len(network.cuts) - 1
            tail = up
    return drains


def _second_cuts(network: Network, ground: F32, pools: dict[int, Pool], cell_m: float, share: float) -> None:
    """A second drain through another part of the rim, from another place on the floor."""
    for number in sorted(pools):
        if network.rng.random() > share:
            continue
        for _ in range(4):
            if network.drain(hollow_of(network.rng, ground, pools[number], cell_m), False):
                break


def _dead_ditches(rng: np.random.Generator, network: Network, pools: list[Pool], cell_m: float, share: float) -> None:
    """A ditch on the floor of a whole basin that leaves it nowhere: dug to find water, or to gather it."""
    for pool in pools:
        if rng.random() > share or pool.area_m2 < 1200:
            continue
        hollow = hollow_of(rng, network.ground, pool, cell_m)
        turn = rng.uniform(0, 2 * np.pi)
        t = np.arange(0.0, 2.5 * np.sqrt(pool.area_m2), STEP_M)
        x, y = hollow.x + t * np.cos(turn), hollow.y + t * np.sin(turn)
        wet = inside(pool.patch, y / cell_m, x / cell_m)
        n = int(np.argmin(wet)) if not wet.all() else wet.size
        # it stays two thirds of the way to the shore, well below the spill
        n = int(0.67 * n)
        if n < 4:
            continue
        path = Path(x[:n], y[:n])
        bed = np.full(n, hollow.floor_m - rng.uniform(0.3, 0.7))
        network.cuts.append(Cut("dead ditch", path, bed, float(rng.uniform(0.6, 1.5)), float(rng.uniform(1.3, 2.5))))


def plan_works(rng: np.random.Generator, dug: Dug, pools: list[Pool], options: Options) -> list[Work]:
    """Choose the earthwork on drained basins.

    Parameters
    ----------
    rng : Generator
    dug : Dug
    pools : list of Pool
    options : Options

    Returns
    -------
    list of Work
    """
    lines = {n: dug.cuts[c].path for n, c in dug.drains.items()} | {p.pool: p.path for p in dug.pipes}
    out = []
    for number in sorted(lines):
        pool, o = pools[number], options
        depth = pool.node.spill_m - pool.node.floor_m
        graded, filled, part, level = (
            bool(v) for v in rng.random(4) < (o.graded, o.filled, o.partly_filled, o.levelled)
        )
        lower, width = float(rng.uniform(*o.graded_m)), float(rng.uniform(*o.graded_width_m))
        raised, share = float(rng.uniform(*o.filled_m)), float(rng.uniform(0.35, 0.7))
        by = float(rng.uniform(*o.levelled_by))
        out.append(
            Work(
                pool,
                resample(lines[number], 2.0),
                # something of the basin is left: half its depth at most goes each way
                min(lower, 0.5 * depth) * graded,
                width,
                min(raised, 0.5 * depth) * filled,
                share if part else 1.0,
                by * level,
            )
        )
    return out


def rough_beds(rng: np.random.Generator, cuts: list[Cut]) -> None:
    """Give each bed the small ups and downs of silt and slumps, 2-3 cm, and old ones their silt.

    Parameters
    ----------
    rng : Generator
    cuts : list of Cut
        Changed in place.
    """
    for cut in cuts:
        cut.bed += (0.03 if cut.old else 0.02) * np.clip(smooth_walk(rng, cut.bed.size, STEP_M, 22.0), -2, 2)
        if cut.old:
            cut.bed += np.clip(0.04 + 0.04 * smooth_walk(rng, cut.bed.size, STEP_M, 70.0), 0, 0.1)
