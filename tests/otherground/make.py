"""Make one invented landscape with its exact answers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from .covered import Pipe, lay_pipes
from .dig import FINE, carve, dig_pond, finer, lay_spoil, raise_road, weather
from .flood import filled, hollows
from .ground import natural_ground
from .maps import Maps, map_of
from .plan import KINDS, Plan, make_plan, moved
from .specimens import Specimen, place
from .texture import furrows, lidar_error, stripes
from .truth import Sheet, Truth, truths_of

Grid = NDArray[np.float64]

# the number of a kind is part of the seed: new ones go to the end
ORDER = (
    "all", "crevasse", "crooked", "floodplain", "knolls", "lakeplain", "noisy", "none", "none-flood", "none-plain",
    "old", "roads", "till", "chain", "cuts", "covered", "covered-till", "covered-plain", "specimens",
    "dunes", "swale", "terraces", "striped", "styles",
)  # fmt: skip
MARGIN_M = 120.0  # ground made beyond the sheet on each side


@dataclass(frozen=True)
class Other:
    """A landscape: the DEM a screen may see, and what only we know."""

    z: NDArray[np.float32]
    cell_m: float
    natural: Grid
    dug: Grid
    water_m: Grid
    open_ground: Grid
    truths: tuple[Truth, ...]
    plan: Plan
    kind: str
    seed: int
    pipes: tuple[Pipe, ...] = ()
    maps: Maps | None = None
    specimens: tuple[Specimen, ...] = ()


def pooled(z: Grid, by: int, how: str = "mean") -> Grid:
    """Means or minima of square blocks."""
    n = z.shape[0] // by * by
    blocks = z[:n, :n].reshape(n // by, by, n // by, by)
    return np.asarray(blocks.min((1, 3)) if how == "min" else blocks.mean((1, 3)))


def make(seed: int, kind: str, cell_m: float = 1.0, size_m: int = 1000) -> Other:
    """Make a landscape.

    Parameters
    ----------
    seed : int
    kind : str
        A name of `KINDS`.
    cell_m : float
        1, 2 or 3 [m].
    size_m : int
        Side of the square [m].

    Returns
    -------
    Other
    """
    what = KINDS[kind]
    rng = np.random.default_rng([seed, ORDER.index(kind)])
    margin = int(np.ceil(MARGIN_M / cell_m) * cell_m)  # the sheet is cut out of a larger piece: ditches run on
    n = int(size_m) + 2 * margin
    nat = natural_ground(rng, what.ground, n)
    found = hollows(nat.z)
    plan = make_plan(rng, nat, what, found)
    asis, pipes = (nat.z, []) if not what.covered else lay_pipes(rng, nat, what, found, plan)
    fine = dug_ground(rng, asis, plan)
    things = place(rng, fine, asis, margin) if what.specimens else []
    open_ground = pooled(fine, FINE, "min")
    water = filled(open_ground)
    dug = pooled(fine, FINE)
    seen = _seen(fine, asis, plan)
    if what.furrows:
        seen = seen + furrows(rng, n)
    if what.stripes_m:
        seen = seen + stripes(rng, n, what.stripes_m)
    sheet = slice(margin, margin + int(size_m))
    cut = (sheet, sheet)
    z = pooled((seen + lidar_error(rng, n, what.noise_m))[cut], round(cell_m))
    left = hollows(asis) if pipes else found
    truths = truths_of(asis, water, left, plan.lines, Sheet(margin, int(size_m), cell_m), pipes)
    maps = None
    if what.covered:
        whole = map_of(rng, nat.z, found, {p.hollow for p in pipes}, {line.target for line in plan.lines})
        maps = Maps(whole.soil[cut], whole.cover[cut])
    pipes = [replace(p, at=p.at - margin, mouth=(p.mouth[0] - margin, p.mouth[1] - margin)) for p in pipes]
    where = moved(plan, margin)
    return Other(
        z.astype(np.float32), cell_m, asis[cut], dug[cut], water[cut], open_ground[cut], tuple(truths), where, kind,
        seed, tuple(pipes), maps, tuple(things),
    )  # fmt: skip


def dug_ground(rng: Generator, z: Grid, plan: Plan) -> Grid:
    """The ground with all ditches and ponds, at fine cells."""
    fine = finer(z)
    for line in plan.lines:
        lay_spoil(rng, fine, line, z)
    for line in plan.lines:
        carve(fine, line)
    for line in plan.lines:
        weather(fine, line)
    for at in plan.ponds:
        dig_pond(rng, fine, at)
    return fine


def _seen(fine: Grid, z: Grid, plan: Plan) -> Grid:
    """What a survey sees, on 1 m cells: road fill closes the ditches beneath. Changes `fine`."""
    for road in plan.roads:
        raise_road(fine, road)
    seen = pooled(fine, FINE)
    rr, cc = np.mgrid[: len(seen), : len(seen)]
    for row, col in plan.closed:  # a field crossing: earth to bank height over a pipe
        seen = np.where(np.hypot(rr - row, cc - col) < 4.5, np.maximum(seen, z + 0.05), seen)
    return seen
