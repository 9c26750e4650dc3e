"""A plug of one's own: what it would hold on today's ground, and what it takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from wetscout.basins import fill
from wetscout.errors import InputError
from wetscout.ingest.load import load
from wetscout.io.vectors import read_layer
from wetscout.linework import find_lines
from wetscout.outputs import ScreenResult as Layers
from wetscout.outputs import shapes
from wetscout.outputs.layers import plane_crs
from wetscout.records import BOOL, F32, F64, Patch, Terrain
from wetscout.restore.hold import paint
from wetscout.restore.plug import PlugSize, resized
from wetscout.settings import Settings
from wetscout.steps.given import given_culverts, given_roads
from wetscout.steps.plan import Plan
from wetscout.steps.read import FIRST_GIVEN_ID
from wetscout.surfaces import build_surfaces

# water that rises by less than this is rounding [m]
RISE_M = 0.005
# level and crest nearer than this are the same [m]
SAME_M = 0.01
EIGHT = np.ones((3, 3), dtype=bool)


@dataclass(frozen=True)
class OwnPlug:
    """What a plug holds and takes; levels in the DEM's vertical datum.

    Attributes
    ----------
    crest_m, bed_m, height_m : float
        Crest, lowest ground under the line, crest over it [m].
    across_m, along_m : float
        Length of the line; length along the ditch at the bed [m].
    fill_m3 : float
        Earth in place, both faces as the settings say [m3].
    level_m : float
        Level of the water behind it before it overflows [m]; NaN when it holds none.
    overflows : str
        `over the plug`, `over other ground`, or `holds no water`.
    pool_m2, gain_m2, volume_m3 : float
        Water behind it, what of it is dry today, and how much water that is more than today.
    pool : shapely.MultiPolygon
        In the CRS of the result.
    sites : tuple of str
        Sites whose pools the water reaches.
    edge : bool
        The water reaches the border of the raster or a hole in it: the numbers are bounds.
    cautions : tuple of str
    """

    crest_m: float
    bed_m: float
    height_m: float
    across_m: float
    along_m: float
    fill_m3: float
    level_m: float
    overflows: str
    pool_m2: float
    gain_m2: float
    volume_m3: float
    pool: Any
    sites: tuple[str, ...]
    edge: bool
    cautions: tuple[str, ...]


def own_plug(result: Layers, line: Any, crest_m: float, places: Mapping[str, Path], settings: Settings) -> OwnPlug:
    """Put a plug into today's ground and raise water behind it.

    Parameters
    ----------
    result : ScreenResult
    line : shapely.LineString
        Along the crest, across the ditch, in the CRS of the result.
    crest_m : float
        [m] in the DEM's vertical datum.
    places : mapping of str to Path
        The rasters (`dem0`, `dem1`, ...) and, where the run had them, `roads` and `culverts`.
    settings : Settings
        Of the run.

    Returns
    -------
    OwnPlug

    Raises
    ------
    InputError
        The line is none, lies outside, or the crest stands nowhere above the ground.
    """
    if not isinstance(line, shapely.LineString) or line.is_empty or line.length <= 0 or not np.isfinite(crest_m):
        raise InputError(
            f"plug: got {type(line).__name__} and a crest of {crest_m}; wanted: a LineString across the ditch in the "
            "CRS of the result and the level of its crest in metres"
        )
    rasters = [places[name] for name in sorted(places) if name.startswith("dem")]
    terrain = load(rasters, settings.ingest, result.run.get("z_unit"), line.buffer(line.length))
    today = _today(terrain, places, settings)
    grid = terrain.grid
    xy = shapely.get_coordinates(line)
    row, col = grid.row_col(xy[:, 0], xy[:, 1])
    if not ((row > 0) & (col > 0) & (row < grid.rows - 1) & (col < grid.cols - 1)).all():
        raise InputError("plug: the line leaves the elevation raster; draw it inside")
    size = resized(_size(row, col, crest_m), today, grid.cell_m, settings.restore)
    bed = _lowest(today, row, col)
    if not np.isfinite(bed) or bed >= crest_m:
        raise InputError(
            f"plug: the ground under the line stands at {bed:.2f} m and higher, the crest at {crest_m:.2f} m; give a "
            "crest above the bed of the ditch, or draw the line across it"
        )
    closed = today.copy()
    paint(closed, row, col, crest_m)
    high = crest_m - bed
    along = settings.restore.crest_width_m + 2 * settings.restore.face_slope * high
    size = replace(size, bed_m=bed, height_m=high, along_m=along)
    return _held(result, terrain, (today, closed), size)


def _size(row: F64, col: F64, crest_m: float) -> PlugSize:
    nothing = float("nan")
    return PlugSize(row, col, crest_m, nothing, nothing, nothing, nothing, nothing)


def _today(terrain: Terrain, places: Mapping[str, Path], settings: Settings) -> F32:
    """Today's ground around the plug, ditches led under roads, as the screen sees it."""
    grid, plan = terrain.grid, Plan()
    lines = find_lines(terrain, settings.linework, partial(plan.windows, terrain.z.shape), plan.each)
    bounds = (grid.x0, grid.y0 - grid.rows * grid.dy, grid.x0 + grid.cols * grid.dx, grid.y0)
    roads, culverts = (
        None if name not in places else read_layer(places[name], wanted, plane_crs(grid), bounds, name).geometry
        for name, wanted in (("roads", "line"), ("culverts", ("point", "line")))
    )
    lines = replace(
        lines,
        embankments=lines.embankments + (() if roads is None else given_roads(grid, roads, FIRST_GIVEN_ID)),
        crossings=lines.crossings + (() if culverts is None else given_culverts(grid, terrain.z, culverts)),
    )
    return build_surfaces(terrain, lines, settings.surfaces, plan.run).today


def _lowest(ground: F32, row: F64, col: F64) -> float:
    """Lowest cell under a line [m]."""
    n = max(2, int(2 * np.hypot(np.diff(row), np.diff(col)).sum()) + 1)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(row), np.diff(col)))])
    where = np.linspace(0.0, at[-1], n)
    r, c = (np.rint(np.interp(where, at, part)).astype(np.int64) for part in (row, col))
    return float(np.nanmin(ground[r, c])) if np.isfinite(ground[r, c]).any() else float("nan")


def _held(result: Layers, terrain: Terrain, grounds: tuple[F32, F32], size: PlugSize) -> OwnPlug:
    """The water behind a plug: all that stands higher, in pieces that hang together."""
    today, closed = grounds
    before, after = fill(today), fill(closed)
    under = closed > today
    rises = (after > before + RISE_M) & (after > closed + RISE_M) & ~under
    stands = (after > closed + RISE_M) & ~under
    label, _ = ndimage.label(stands, structure=EIGHT)
    pool: BOOL = np.isin(label, np.unique(label[rises])) & stands
    grid = terrain.grid
    edge = bool(_rim_of(np.isnan(closed))[pool].any())
    depth = np.clip((after - closed)[pool] - np.clip(before - today, 0.0, None)[pool], 0.0, None)
    level = float(after[rises].max()) if rises.any() else float("nan")
    outline = shapes.outline(Patch(0, 0, pool), grid)
    sites = result.layer("sites")
    touched = shapely.intersects(sites["geometry"].to_numpy(), outline)
    reached = tuple(str(name) for name in sites["site_id"].to_numpy()[touched]) if pool.any() else ()
    over = "holds no water" if not pool.any() else "over other ground"
    over = "over the plug" if pool.any() and level >= size.crest_m - SAME_M else over
    return OwnPlug(
        crest_m=size.crest_m,
        bed_m=size.bed_m,
        height_m=size.height_m,
        across_m=size.across_m,
        along_m=size.along_m,
        fill_m3=size.fill_m3,
        level_m=level,
        overflows=over,
        pool_m2=float(pool.sum()) * grid.cell_m2,
        gain_m2=float((pool & (before <= today + RISE_M)).sum()) * grid.cell_m2,
        volume_m3=float(depth.sum(dtype=np.float64)) * grid.cell_m2,
        pool=outline,
        sites=reached,
        edge=edge,
        cautions=_cautions(over, edge, len(reached)),
    )


def _rim_of(gone: BOOL) -> NDArray[np.bool_]:
    """Cells at the border or beside unknown ground."""
    rim: NDArray[np.bool_] = ndimage.binary_dilation(gone, EIGHT)
    rim[[0, -1], :] = True
    rim[:, [0, -1]] = True
    return rim


def _cautions(over: str, edge: bool, reached: int) -> tuple[str, ...]:
    words = ["screening from a raster: survey the rim, and call the utility locate service before anyone digs"]
    if over == "over the plug":
        words.append(
            "water runs over the plug itself before it finds other ground: it needs a spillway or a lower level"
        )
    if over == "holds no water":
        words.append("water gets round it: lead the line on to higher ground on both sides")
    if edge:
        words.append("the water reaches the border of what was surveyed: it may reach farther")
    if reached > 1:
        words.append("the water reaches more than one site: what it does to land upstream must be looked at")
    return tuple(words)


def find_places(result: Layers, folders: Sequence[Path]) -> dict[str, Path]:
    """Where the rasters, roads and culverts of a run lie now.

    Parameters
    ----------
    result : ScreenResult
    folders : sequence of Path
        Where to look first; then beside the result, then in the working folder.

    Returns
    -------
    dict of str to Path

    Raises
    ------
    InputError
        One is not there.
    """
    inputs = result.run["inputs"]
    wanted = {f"dem{k:06d}": fact["name"] for k, fact in enumerate(inputs["dems"])}
    wanted |= {name: inputs[name]["name"] for name in ("roads", "culverts") if name in inputs}
    where = list(dict.fromkeys(f.resolve() for f in (*folders, result.path.parent, Path())))
    found: dict[str, Path] = {}
    for key, name in wanted.items():
        place = next((f / name for f in where if (f / name).exists()), None)
        if place is None:
            looked = ", ".join(str(f) for f in where)
            raise InputError(
                f"plug: {result.path.name} was made from {name}, which does not lie in {looked}. Give the folder it "
                "lies in as folder=..."
            )
        found[key] = place
    return found
