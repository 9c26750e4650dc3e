"""Make one invented landscape with its exact answers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .dig import FINE, carve, dig_pond, finer, lay_spoil, raise_road, weather
from .flood import filled, hollows
from .ground import natural_ground
from .plan import KINDS, Plan, make_plan, moved
from .texture import furrows, lidar_error
from .truth import Sheet, Truth, truths_of

Grid = NDArray[np.float64]

MARGIN_M = 120.0  # ground made beyond the sheet on each side


@dataclass(frozen=True)
class Other:
    """A landscape: the DEM a screen may see, and what only we know."""

    z: NDArray[np.float32]
    cell_m: float
    natural: Grid
    dug: Grid
    water_m: Grid
    truths: tuple[Truth, ...]
    plan: Plan
    kind: str
    seed: int


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
    rng = np.random.default_rng([seed, sorted(KINDS).index(kind)])
    margin = int(np.ceil(MARGIN_M / cell_m) * cell_m)  # the sheet is cut out of a larger piece: ditches run on
    n = int(size_m) + 2 * margin
    nat = natural_ground(rng, what.ground, n)
    found = hollows(nat.z)
    plan = make_plan(rng, nat, what, found)
    fine = finer(nat.z)
    for line in plan.lines:
        lay_spoil(rng, fine, line, nat.z)
    for line in plan.lines:
        carve(fine, line)
    for line in plan.lines:
        weather(fine, line)
    for at in plan.ponds:
        dig_pond(rng, fine, at)
    open_ground = pooled(fine, FINE, "min")
    water = filled(open_ground)
    dug = pooled(fine, FINE)
    for road in plan.roads:
        raise_road(fine, road)
    seen = pooled(fine, FINE)
    for row, col in plan.closed:  # a field crossing: earth to bank height over a pipe
        rr, cc = np.mgrid[:n, :n]
        seen = np.where(np.hypot(rr - row, cc - col) < 4.5, np.maximum(seen, nat.z + 0.05), seen)
    if what.furrows:
        seen = seen + furrows(rng, n)
    sheet = slice(margin, margin + int(size_m))
    cut = (sheet, sheet)
    z = pooled((seen + lidar_error(rng, n, what.noise_m))[cut], round(cell_m))
    truths = truths_of(nat.z, water, found, plan.lines, Sheet(margin, int(size_m), cell_m))
    return Other(
        z.astype(np.float32), cell_m, nat.z[cut], dug[cut], water[cut], tuple(truths), moved(plan, margin), kind, seed
    )
