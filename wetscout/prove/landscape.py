"""What an invented landscape is: the DEM, the ground before anything was dug, and the exact answers."""

from __future__ import annotations

from dataclasses import dataclass

from shapely.geometry import MultiPolygon, Polygon

from wetscout.records import F32, F64, U8, Patch


@dataclass(frozen=True)
class TrueLine:
    """A true centre line, drawn downhill where water runs in it.

    Attributes
    ----------
    line_id : int
        From 0, within the landscape and its sort.
    kind : str
        `drain`, `collector`, `deepened outlet`, `roadside`, `stream`, `road`.
    row, col : float64 (n,)
        Stations [cells], about 1 m apart.
    level_m : float64 (n,)
        Bed (ditch, stream) or crown (road) [m].
    width_m : float
        Bed or crown width [m].
    side : float
        Side slope, horizontal to 1 vertical.
    passing : bool
        Carries water of other ditches.
    joins : int
        The ditch it runs into, -1 none.
    joins_at : int
        The station at which it does; -1 none.
    """

    line_id: int
    kind: str
    row: F64
    col: F64
    level_m: F64
    width_m: float
    side: float
    passing: bool = False
    joins: int = -1
    joins_at: int = -1


@dataclass(frozen=True)
class TrueCulvert:
    """A pipe under a road which the DEM does not show: both ends [cells], and the ditch it carries."""

    row: F64
    col: F64
    line_id: int
    length_m: float


@dataclass(frozen=True)
class TruePond:
    """A pond dug into the ground: centre [cells], area [m2], depth [m], whether a ditch leaves it."""

    row: float
    col: float
    area_m2: float
    depth_m: float
    joined: bool


@dataclass(frozen=True)
class Crossing:
    """Where a ditch passes the rim of a natural basin with its bed below the spill level.

    Attributes
    ----------
    line_id : int
        The ditch.
    row, col : float64 (n,)
        Every station at which a plug stands on the rim: the edge of the pool, the run from there on which the natural
        ground beside stands within 0.05 m of the spill level, and the first crest of the rim behind it [cells].
    outflow : bool
        True where water leaves; False where the ditch comes in from above with its bed below the spill level.
    under_road : bool
        The rim is crossed beneath road fill.
    """

    line_id: int
    row: F64
    col: F64
    outflow: bool
    under_road: bool


@dataclass(frozen=True)
class Original:
    """A basin before anything was done to its rim and floor: what "rebuild the rim" would give back.

    Attributes
    ----------
    pool : Patch
    spill_m, area_m2, volume_m3 : float
        [m], [m2], [m3].
    """

    pool: Patch
    spill_m: float
    area_m2: float
    volume_m3: float


@dataclass(frozen=True)
class SoilPatch:
    """One polygon of an invented soil map, with the map scale's errors.

    Attributes
    ----------
    polygon : shapely Polygon or MultiPolygon
        [m]; x = (col + 0.5) cell_m, y = (rows - row - 0.5) cell_m: the map coordinates that `screen_array` gives a
        raster. Polygons cover it without gaps.
    hydclprs : int, str or None
        Percent of the map unit that is hydric, 0-100; older surveys hold words ("All hydric", "Partially hydric", "Not
        hydric", "Unknown"); None not filled in.
    drclassdcd : str
        Drainage class of the dominant condition ("Very poorly drained" ... "Well drained").
    """

    polygon: Polygon | MultiPolygon
    hydclprs: int | str | None
    drclassdcd: str


@dataclass(frozen=True)
class TrueCovered:
    """A basin drained by a pipe laid in the ground and covered.

    Attributes
    ----------
    covered_id : int
        From 0.
    node_ids : tuple of int
        Every nested basin of `Landscape.basins` in which the pipe begins and which it leaves; the one that stands for
        it first. An offer on any of them is right.
    pool : Patch
        Of the basin as it is now: cells strictly below the spill level.
    spill_m, depth_m, area_m2, volume_m3 : float
        As it is now; `depth_m` is the closed depth left.
    original : Original
        Before the rim was graded, the floor raised, the field levelled.
    mouth_row, mouth_col, mouth_m : float
        Where the pipe comes out, in the head of an open ditch: place [cells] and level [m].
    ditch_id : int
        That open ditch, a `TrueLine.line_id`.
    pipe_row, pipe_col, pipe_m : float64 (n,)
        The pipe from the floor to the mouth [cells] and its invert [m]; stations about 1 m apart.
    trench_m : float
        Height of what the backfill left over the trench [m]: > 0 ridge, < 0 trough, 0 nothing.
    rim_lowered_m, floor_raised_m : float
        How far the spill lies lower and the floor higher than they were [m].
    hydric_mapped, cropped : bool
        Whether the soil map shows it as hydric; whether the land-cover raster shows it as crops or hay.
    cut_open : bool
        An open ditch lowers part of it too: counts neither way.
    at_edge : bool
        Touches the border of the raster: not scored.
    """

    covered_id: int
    node_ids: tuple[int, ...]
    pool: Patch
    spill_m: float
    depth_m: float
    area_m2: float
    volume_m3: float
    original: Original
    mouth_row: float
    mouth_col: float
    mouth_m: float
    ditch_id: int
    pipe_row: F64
    pipe_col: F64
    pipe_m: F64
    trench_m: float
    rim_lowered_m: float
    floor_raised_m: float
    hydric_mapped: bool
    cropped: bool
    cut_open: bool
    at_edge: bool

    @property
    def has_ridge(self) -> bool:
        """Whether the trench shows as a ridge or trough of 3 cm or more."""
        return abs(self.trench_m) >= 0.03


@dataclass(frozen=True)
class TrueBasin:
    """A natural basin of the ground as it is now with its ditches closed and its roads taken off.

    Attributes
    ----------
    node_id, parent_id, family : int
        Own number; number of the enclosing basin (-1 none); number shared by all nested basins with one floor.
    pool : Patch
        Cells strictly below the spill level.
    spill_m, floor_m, depth_m, area_m2, volume_m3 : float
        Of the pool on the natural ground.
    today_m : float
        Level to which water over the lower third of the basin stands today (ditches and culverts open) [m].
    left : float
        Share of the natural volume that today's ground still holds.
    drained, partial : bool
        Drained: >= 0.7 of the depth is lost and <= 0.35 of the volume is left. Partial: less, but more than a trace.
    drained_by : str
        `ditch`, `ditch under road`, `deepened outlet`, `` when nothing was lost.
    under_road : bool
        A way out lies beneath road fill.
    crossings : tuple of Crossing
    starts_here : bool
        No ditch enters the pool from above.
    at_edge : bool
        Touches the border of the raster: not scored.
    original : Original or None
        The basin before its rim was graded and its floor raised; None where nothing was done to it.
    next_id : int
        The next drained basin its water enters on today's ground, culverts open; -1 none.
    covered_id : int
        The covered drain that empties it; -1 none.
    use : str
        What the land is: `drained`, `wetland` (left alone, wet), `farmed wetland` (wet, ploughed in dry years),
        `upland` (a dry hollow on soils that are not hydric).
    """

    node_id: int
    parent_id: int
    family: int
    pool: Patch
    spill_m: float
    floor_m: float
    depth_m: float
    area_m2: float
    volume_m3: float
    today_m: float
    left: float
    drained: bool
    partial: bool
    drained_by: str
    under_road: bool
    crossings: tuple[Crossing, ...]
    starts_here: bool
    at_edge: bool
    original: Original | None = None
    next_id: int = -1
    covered_id: int = -1
    use: str = ""


@dataclass(frozen=True)
class Landscape:
    """An invented landscape.

    Attributes
    ----------
    z : float32 (rows, cols)
        What a DEM would show [m]: ditches, roads, spoil, furrows, noise; no culverts.
    ground : float32 (rows, cols)
        Ground [m] with ditches closed and roads taken off, rims graded, floors raised and fields levelled as they are
        now; no noise. What closing the cuts gives is flooded on this.
    opened : float32 (rows, cols)
        Today's ground [m] without noise and furrows, culverts open (blocks take their lowest cell).
    cell_m : float
    kind : str
    seed : int
    basins : tuple of TrueBasin
        All nested levels, children before parents.
    ditches, roads, streams : tuple of TrueLine
    culverts : tuple of TrueCulvert
    ponds : tuple of TruePond
    noise_m : float
        Standard deviation of the noise [m] on the fine grid.
    covered : tuple of TrueCovered
        Basins drained by a covered pipe that still close by 0.12 m or more.
    soils : tuple of SoilPatch
        An invented soil map, to be handed to the screen.
    landcover : uint8 (rows, cols) or None
        Invented land cover on the grid of `z`, drawn in 30 m cells, in the codes of the public United States land-cover
        map: 82 crops, 81 hay, 41-43 forest, 71 grass, 90/95 wetlands, 11 water, 21-24 built; 0 unknown.
    original : float32 (rows, cols) or None
        Ground before anything was done [m]; None where that is `ground`.
    """

    z: F32
    ground: F32
    opened: F32
    cell_m: float
    kind: str
    seed: int
    basins: tuple[TrueBasin, ...]
    ditches: tuple[TrueLine, ...]
    culverts: tuple[TrueCulvert, ...]
    roads: tuple[TrueLine, ...]
    streams: tuple[TrueLine, ...]
    ponds: tuple[TruePond, ...]
    noise_m: float
    covered: tuple[TrueCovered, ...] = ()
    soils: tuple[SoilPatch, ...] = ()
    landcover: U8 | None = None
    original: F32 | None = None

    @property
    def maps(self) -> Maps | None:
        """Soil map and land cover, None where there is none."""
        return None if self.landcover is None else Maps(self.soils, self.landcover)

    @property
    def area_km2(self) -> float:
        """Area of the raster [km2]."""
        return self.z.size * self.cell_m**2 / 1e6

    def parent_of(self) -> dict[int, int]:
        """Enclosing basin of each basin, by number."""
        return {b.node_id: b.parent_id for b in self.basins}


@dataclass(frozen=True)
class Maps:
    """What the screen may be told of the land beside its heights.

    Attributes
    ----------
    soils : tuple of SoilPatch
    landcover : uint8 (rows, cols)
        On the grid of the DEM.
    """

    soils: tuple[SoilPatch, ...]
    landcover: U8
