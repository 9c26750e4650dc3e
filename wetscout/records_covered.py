"""Values around covered drains: what map layers say cell by cell and basin by basin, and where to look for a pipe.

Positions in cells as in `records`; NaN or None is unknown, never 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

U8 = NDArray[np.uint8]
F64 = NDArray[np.float64]

# Evidence.hydric where no percentage is known
UNKNOWN_PERCENT = 255

# drainage classes of the public US soil survey from dry to wet, by their number in Evidence.drainage; 0 is unknown
DRAINAGE = (
    "unknown",
    "excessively drained",
    "somewhat excessively drained",
    "well drained",
    "moderately well drained",
    "somewhat poorly drained",
    "poorly drained",
    "very poorly drained",
    "subaqueous",
)
POORLY = 6

# land cover, by its number in Evidence.cover
COVER = ("unknown", "crop", "hay", "developed", "forest", "wetland", "water", "other")
CROP, HAY, DEVELOPED, FOREST, WETLAND, WATER = 1, 2, 3, 4, 5, 6
OTHER = 7


@dataclass(frozen=True)
class Evidence:
    """What map layers say of each cell; a layer that was not given is None.

    Attributes
    ----------
    hydric : uint8 (rows, cols) or None
        Percent of the soil map unit that is hydric, 0-100; 255 unknown.
    drainage : uint8 (rows, cols) or None
        Number of the drainage class in DRAINAGE.
    cover : uint8 (rows, cols) or None
        Number of the land cover in COVER.
    notes : tuple of str
        What was found and left out on the way in, in plain words.
    """

    hydric: U8 | None = None
    drainage: U8 | None = None
    cover: U8 | None = None
    notes: tuple[str, ...] = ()

    @property
    def soils(self) -> bool:
        """Whether soils were given."""
        return self.hydric is not None or self.drainage is not None


@dataclass(frozen=True)
class Zone:
    """What map layers say of one pool; shares of its cells, None where a layer was not given or knows nothing there.

    Attributes
    ----------
    hydric_pct : float or None
        Mean percent hydric of the cells that are known.
    wet_soil : float or None
        Share on soil that counts as wet: hydric or poorly drained.
    farmed : float or None
        Share of the land that is not developed under crops or hay.
    wetland : float or None
        Share mapped as wetland or water today.
    built : float or None
        Share mapped as developed.
    """

    hydric_pct: float | None = None
    wet_soil: float | None = None
    farmed: float | None = None
    wetland: float | None = None
    built: float | None = None


@dataclass(frozen=True)
class FaintLine:
    """A faint straight ridge or trough between a hollow and a pipe mouth, or the way of least trench depth.

    Attributes
    ----------
    row, col : float64 (n,)
        From the hollow to the mouth [cells].
    form : str
        `ridge`, `trough`, or `route`: the way of least trench depth, nothing was seen there.
    strength : float
        0-1: how far it stands out from the lines beside it; 0 for a route.
    height_m : float
        Mean height over the ground beside it, negative for a trough [m]; NaN for a route.
    length_m : float
        [m]
    """

    row: F64
    col: F64
    form: str
    strength: float
    height_m: float
    length_m: float


@dataclass(frozen=True)
class PipeMouth:
    """Where to look for the mouth of a covered pipe.

    Attributes
    ----------
    row, col : float
        Place in the bank [cells].
    kind : str
        `ditch head`, `ditch bank`, `stream bank`.
    level_m, depth_to_dig_m : float
        Likely level of the pipe there; how far that lies below the bank top [m].
    distance_m : float
        Along the way from the floor [m].
    fall_m : float
        Hollow floor over the level of the mouth [m].
    deepest_cut_m : float
        Greatest depth of a trench along the way [m].
    feasible : bool
        The mouth lies at least cover and fall below the floor.
    """

    row: float
    col: float
    kind: str
    level_m: float
    depth_to_dig_m: float
    distance_m: float
    fall_m: float
    deepest_cut_m: float
    feasible: bool


@dataclass(frozen=True)
class Covered:
    """What speaks for a covered drain of one hollow.

    Attributes
    ----------
    zone : Zone
    mouths : tuple of PipeMouth
        The likeliest first.
    lines : tuple of FaintLine
    head : bool
        An open ditch begins abruptly outside and points at the hollow.
    faint : float
        Strength of the best faint line, 0-1.
    rim_dip_m : float or None
        How far the rim beside the line lies below the rim on either side [m].
    rim_beside_m : float or None
        Level that the rim on either side suggests [m].
    main_from : str
        Why a main from upstream land may pass through, in words; empty: nothing says so.
    """

    zone: Zone
    mouths: tuple[PipeMouth, ...] = ()
    lines: tuple[FaintLine, ...] = ()
    head: bool = False
    faint: float = 0.0
    rim_dip_m: float | None = None
    rim_beside_m: float | None = None
    main_from: str = ""
