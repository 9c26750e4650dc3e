"""The values that stages hand to each other.

Rows grow southwards, columns eastwards; positions in cells, (0, 0) is the centre of the first cell. Elevations [m] in
the DEM's vertical datum, lengths [m], areas [m2], volumes [m3]. NaN or None is unknown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from wetscout.grid import Grid
from wetscout.grid import Patch as Patch  # noqa: PLC0414 - the stages know it from here
from wetscout.records_along import BedStep, Chain

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I32 = NDArray[np.int32]
U8 = NDArray[np.uint8]
BOOL = NDArray[np.bool_]


@dataclass(frozen=True)
class Terrain:
    """One DEM, clean: metres, north up, one mask.

    Attributes
    ----------
    grid : Grid
        Shape and place.
    z : float32 (rows, cols)
        Ground [m]; NaN where there is no ground (outside, holes).
    hole : bool (rows, cols)
        Inner no-data: unknown ground, not an outlet.
    water : bool (rows, cols)
        Water surface at the time of survey (flat, or void-filled): not ground.
    noise_m : float
        Measured small-scale noise [m] of z at this cell size.
    relief_m : float
        Small relief of open ground [m] (what limits detection); see `ingest`.
    notes : tuple of str
        What was found and repaired on the way in, in plain words.
    faults : uint8 (rows, cols) or None
        Ground that no survey saw as it is: bits FAULT_SMOOTH, FAULT_FACETS, FAULT_SEAM, FAULT_LEVEL.
    """

    grid: Grid
    z: F32
    hole: BOOL
    water: BOOL
    noise_m: float
    relief_m: float
    notes: tuple[str, ...] = ()
    faults: U8 | None = None


# bits of Terrain.faults
FAULT_SMOOTH, FAULT_FACETS, FAULT_SEAM, FAULT_LEVEL = 1, 2, 4, 8


@dataclass(frozen=True)
class Ditch:
    """A line cut into the ground, stations drawn downhill.

    Attributes
    ----------
    ditch_id : int
        From 1, in order of the first station (row, col).
    row, col : float64 (n,)
        Stations [cells], about one cell apart, on the lowest line of the cut (asked within 2 m).
    bed_m, bank_low_m, bank_high_m : float64 (n,)
        Bed and the lower and higher bank top beside it [m], robust along the line.
    top_width_m : float64 (n,)
        Width between the shoulders [m].
    kind : str
        `ditch`, `straightened stream`, `natural stream`, `roadside`, `grassed waterway`, `unclear`.
    depth_m, bank_climb_m, straightness : float
        Median cut depth [m]; how far the lower bank rises downstream while the bed does not [m]; 0-1.
    spoil : str
        `none`, `one side`, `both sides`.
    sure : bool
        Listed in the layer `ditches`. Lines that are not sure only help the surfaces.
    wide_bed : bool
        Its sides stand far out, across a flat bed of some 8 m and more.
    """

    ditch_id: int
    row: F64
    col: F64
    bed_m: F64
    bank_low_m: F64
    bank_high_m: F64
    top_width_m: F64
    kind: str
    depth_m: float
    bank_climb_m: float
    straightness: float
    spoil: str
    sure: bool = True
    wide_bed: bool = False


# the bed at an end of a ditch is a median over this length [m], a quarter of the line at most: lines run up a bank or
# road at their ends, and the level of the last station alone turned 82 of 612 invented ditches uphill, this 32
BED_END_M = 50.0


def bed_ends(bed_m: F64, cell_m: float) -> tuple[float, float, float]:
    """Bed at the two ends of a line, and how far apart along it the two levels stand.

    Parameters
    ----------
    bed_m : float64 (n,)
        Bed at stations one cell apart [m]; NaN where unknown.
    cell_m : float
        Cell size [m].

    Returns
    -------
    first, last : float
        Medians over 50 m or a quarter of the known stations [m]; NaN where none is known.
    share : float
        Part of the line's length that lies between the middles of the two stretches, 0-1.
    """
    known = bed_m[np.isfinite(bed_m)]
    if not known.size:
        return float("nan"), float("nan"), 1.0
    part = max(1, min(known.size // 4, round(BED_END_M / cell_m)))
    share = (known.size - part) / max(1, known.size - 1)
    first, last = (float(np.sort(v)[(part - 1) // 2 : part // 2 + 1].mean()) for v in (known[:part], known[-part:]))
    return first, last, share


@dataclass(frozen=True)
class Embankment:
    """A line raised above the ground on both sides: road fill, spoil bank, dike, ridge.

    Attributes
    ----------
    embankment_id : int
    row, col : float64 (n,)
        Stations along the crest [cells], about one cell apart.
    height_m, width_m : float
        Medians: crest over the lower side; between the toes [m].
    kind : str
        `road`, `spoil`, `dike`, `terrace`, `pond dam`, `natural ridge`, `unclear`.
    """

    embankment_id: int
    row: F64
    col: F64
    height_m: float
    width_m: float
    kind: str

    @property
    def taken_off(self) -> int:
        """1 where the natural surface leaves it out: road fill (spoil is taken off cell by cell, not by its line)."""
        return int(self.kind == "road")


@dataclass(frozen=True)
class Crossing:
    """Where water passes beneath fill the DEM shows closed.

    Attributes
    ----------
    row, col : float64 (2,)
        Upstream and downstream end [cells].
    level_m : float64 (2,)
        Bed at both ends [m].
    given : bool
        True for a culvert of the user's, False for one inferred from the ground.
    """

    row: F64
    col: F64
    level_m: F64
    given: bool


@dataclass(frozen=True)
class Linework:
    """All lines of a DEM."""

    ditches: tuple[Ditch, ...] = ()
    embankments: tuple[Embankment, ...] = ()
    crossings: tuple[Crossing, ...] = ()
    bed_steps: tuple[BedStep, ...] = ()


@dataclass(frozen=True)
class Surfaces:
    """Two surfaces from one DEM.

    Attributes
    ----------
    smooth : float32 (rows, cols)
        The DEM, noise calmed [m].
    today : float32 (rows, cols)
        Ground with road fill opened where water passes beneath [m].
    natural : float32 (rows, cols)
        Ditches filled along the highest short lines between free ground, road fill taken off [m].
    cautious : float32 (rows, cols)
        The same with the lines that bend least: does not dam a valley [m].
    corridor : uint8 (rows, cols)
        Bits CUT, ROADSIDE, FILL, UNSURE, SPOIL.
    """

    smooth: F32
    today: F32
    natural: F32
    cautious: F32
    corridor: U8


# a bed of coarse cells stands too high by this much for each metre of cell beyond 1 m (0.14 m at 2 m, 0.33 m at 3 m)
COARSE_BED = 0.1
# bits of Surfaces.corridor
CUT, ROADSIDE, FILL, UNSURE, SPOIL = 1, 2, 4, 8, 16


class Tree(Protocol):
    """What a stage needs of a basin tree; nodes in postorder, so a subtree is the range first[i]..i."""

    @property
    def table(self) -> pd.DataFrame:
        """One row per node, the columns of `wetscout.basin_tree`."""

    @property
    def labels(self) -> I32:
        """Innermost node whose pool holds each cell, -1 none."""

    @property
    def first(self) -> I32:
        """First node of each subtree."""

    @property
    def bbox(self) -> I32:
        """Window of each pool: row0, col0, row1, col1, half open."""

    @property
    def catchment_labels(self) -> I32:
        """Leaf whose catchment holds each cell, -1 outside."""

    def catchment(self, node: int) -> Patch:
        """Cells that drain into a node, its pool included.

        Parameters
        ----------
        node : int
        """


@dataclass(frozen=True)
class Cut:
    """One way out of a natural basin that was dug below its spill.

    Attributes
    ----------
    row, col : int
        Plug place: where the way out crosses the natural rim [cells].
    along_row, along_col : float
        Unit vector downstream at that place.
    exit_m : float
        Level at which water leaves here today [m].
    rim_m, bed_m : float
        Natural ground and today's bed at the plug place [m].
    ditch_id : int or None
        The ditch that runs here.
    under_road : bool
        Road fill or a crossing lies on the way near the rim.
    way_row, way_col : int64 (n,)
        Way out, from the floor across the rim.
    """

    row: int
    col: int
    along_row: float
    along_col: float
    exit_m: float
    rim_m: float
    bed_m: float
    ditch_id: int | None
    under_road: bool
    way_row: NDArray[np.int64]
    way_col: NDArray[np.int64]


@dataclass(frozen=True)
class Candidate:
    """A natural basin whose rim was cut, before its numbers are worked out.

    Attributes
    ----------
    node : int
        Row of the natural basin tree.
    pool : Patch
        Cells under water at `spill_m`.
    catchment : Patch
    spill_m, today_m, floor_m : float
        Levels [m]; spill corrected for noise.
    floor_at, spill_at : (int, int)
        Row and column of the floor and of the spill cell.
    cuts : tuple of Cut
    edge : bool
    upstream_m : float
        Ditch length that enters from above [m].
    ditch_ids : tuple of int
        Ditches inside the pool or at its cuts.
    closes : bool
        Closing the cuts raises today's water to the spill.
    next_at : (int, int, float) or None
        The next way round and its level.
    signs : Mapping
        What the judgement rests on, by name.
    """

    node: int
    pool: Patch
    catchment: Patch
    spill_m: float
    today_m: float
    floor_m: float
    floor_at: tuple[int, int]
    spill_at: tuple[int, int]
    cuts: tuple[Cut, ...]
    edge: bool
    upstream_m: float
    ditch_ids: tuple[int, ...]
    closes: bool
    next_at: tuple[int, int, float] | None
    signs: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Plug:
    """Closing of one cut at the natural rim."""

    plug_id: str
    site_id: str
    ditch_id: int | None
    order: int
    row: F64
    col: F64
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Site:
    """A basin offered for restoration; `values` holds the contract's fields by name."""

    site_id: str
    pool: Patch
    catchment: Patch | None
    levels: tuple[tuple[float, float, float], ...]
    plugs: tuple[Plug, ...]
    spill_points: tuple[tuple[str, int, int, float], ...]
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Basin:
    """A natural basin above the size limits; `values` holds the contract's fields by name."""

    basin_id: str
    pool: Patch
    values: Mapping[str, Any] = field(default_factory=dict)
    reason: str | None = None


@dataclass(frozen=True)
class Screen:
    """Everything one run found, ready to be written."""

    terrain: Terrain
    linework: Linework
    sites: tuple[Site, ...]
    basins: tuple[Basin, ...]
    not_offered: tuple[Basin, ...]
    run: Mapping[str, Any] = field(default_factory=dict)
    surfaces: Surfaces | None = None
    tree: Tree | None = None
    chains: tuple[Chain, ...] = ()
    wet_ground: tuple[Basin, ...] = ()
