"""Values along the way of the water: sites in a row, and steps in the bed of a ditch.

Positions in cells as in `records`; elevations and lengths [m].
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class BedStep:
    """A place where the bed of a ditch drops within a few metres: a head cut that works its way up, or a built drop.

    Attributes
    ----------
    ditch_id : int
    row, col : float
        Upper edge of the step [cells].
    station : int
        Number of the ditch's station there.
    height_m : float
        Fall beyond the grade of the bed beside it [m].
    bed_up_m, bed_down_m : float
        Bed above and below the step [m].
    """

    ditch_id: int
    row: float
    col: float
    station: int
    height_m: float
    bed_up_m: float
    bed_down_m: float


@dataclass(frozen=True)
class ChainLink:
    """Two sites of which the upper drains to the lower, and what the lower one's pool does to the upper.

    Attributes
    ----------
    site_id, above_id : str
        The lower and the upper site.
    way_m : float
        Way of the water from the upper one's plug to the lower one's pool [m].
    effect : str
        `leaves it alone`, `reaches its plug`, `backs into its pool`, `drowns its plug`.
    levels_m : (float, float, float, float)
        Spill of the lower; bed at the plug, level today and spill of the upper [m].
    """

    site_id: str
    above_id: str
    way_m: float
    effect: str
    levels_m: tuple[float, float, float, float]


@dataclass(frozen=True)
class ChainStep:
    """The site to close next, plugs up to and with it, and ground wet again by then [m2], no cell counted twice."""

    site_id: str
    plugs_n: int
    gain_m2: float


@dataclass(frozen=True)
class Chain:
    """Sites that drain one to the next: ids in order downstream, their links, and what the best 1, 2, ... n bring."""

    chain_id: str
    site_ids: tuple[str, ...]
    links: tuple[ChainLink, ...]
    steps: tuple[ChainStep, ...]
