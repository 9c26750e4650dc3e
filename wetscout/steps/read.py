"""What a run is given: rasters, layers, settings, all checked before the long work begins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from rasterio import features
from rasterio.transform import Affine

from wetscout.errors import InputError
from wetscout.evidence import check_soils, cover_codes
from wetscout.grid import Grid
from wetscout.ingest.load import load, look
from wetscout.io.geopackage_lock import check_target
from wetscout.io.vectors import read_layer
from wetscout.outputs.layers import plane_crs
from wetscout.people import check_parcels
from wetscout.records import Linework, Patch, Screen, Terrain
from wetscout.records_covered import Evidence
from wetscout.settings import Settings
from wetscout.steps.evidence import read_evidence
from wetscout.steps.given import given_culverts, given_roads
from wetscout.steps.plan import Plan

# rows of a pool looked at together
_ROWS = 64

# ids of given roads start here, so that they never meet those of found embankments
FIRST_GIVEN_ID = 1_000_000


@dataclass(frozen=True)
class Request:
    """One run as it was asked for.

    Attributes
    ----------
    dems : tuple of Path
    out : Path
    settings : Settings
    z_unit : {"m", "ft", "us-ft"} or None
    area, known, roads, culverts, soils, landcover, parcels : Path or None
        Layers.
    tile : int or None
        Tile width [cells].
    workers : int or None
        Threads.
    scheduler : str or None
        Address of a Dask scheduler whose workers work out tiles.
    overwrite, us_units : bool
    resume : bool
        Go on with what a run that was stopped has kept.
    """

    dems: tuple[Path, ...]
    out: Path
    settings: Settings
    z_unit: str | None = None
    area: Path | None = None
    known: Path | None = None
    roads: Path | None = None
    culverts: Path | None = None
    soils: Path | None = None
    landcover: Path | None = None
    parcels: Path | None = None
    tile: int | None = None
    workers: int | None = None
    scheduler: str | None = None
    overwrite: bool = False
    us_units: bool = False
    resume: bool = False

    @staticmethod
    def of(dems: Sequence[str | Path], out: str | Path, settings: Settings, options: Mapping[str, Any]) -> Request:
        """Make a request of loose options.

        Parameters
        ----------
        dems : sequence of path
        out : path
        settings : Settings
        options : mapping
            Field names of this class.

        Returns
        -------
        Request

        Raises
        ------
        InputError
            An option of another name.
        """
        names = {f.name for f in fields(Request)} - {"dems", "out", "settings"}
        unknown = sorted(set(options) - names)
        if unknown:
            raise InputError(f"screen: there is no option {', '.join(unknown)}; there are {', '.join(sorted(names))}")
        layers = ("area", "known", "roads", "culverts", "soils", "landcover", "parcels")
        given: dict[str, Any] = {k: Path(v) if k in layers and v is not None else v for k, v in options.items()}
        return Request(tuple(Path(d) for d in dems), Path(out), settings, **given)

    @property
    def plan(self) -> Plan:
        """Tile size and workers."""
        usual = Plan()
        return Plan(self.tile or usual.tile_cells, self.workers or usual.workers)


@dataclass(frozen=True)
class Inputs:
    """What was read.

    Attributes
    ----------
    terrain : Terrain
    given : Linework
        Roads and culverts of the user's.
    evidence : Evidence or None
        Soils and land cover.
    parcels, known : GeoDataFrame or None
    area : shapely geometry or None
        In the DEM's CRS.
    notes : tuple of str
    """

    terrain: Terrain
    given: Linework
    evidence: Evidence | None
    parcels: Any
    known: Any
    area: Any
    notes: tuple[str, ...]

    def only_area(self, screen: Screen) -> Screen:
        """Keep the sites and basins whose pool touches the area asked for.

        Parameters
        ----------
        screen : Screen

        Returns
        -------
        Screen
        """
        if self.area is None:
            return screen
        inside = _mask_of(self.area, self.terrain.grid)

        def touches(patch: Patch) -> bool:
            labels, first, last = patch.labelled
            h, w = patch.shape
            part = inside[patch.row0 : patch.row0 + h, patch.col0 : patch.col0 + w]
            # some rows at a time: nearly all that touch do so in the first, and windows of nested pools are wide
            for row in range(0, h, _ROWS):
                area, held = part[row : row + _ROWS], labels[row : row + _ROWS]
                if area.any() and (area & (held >= first) & (held <= last)).any():
                    return True
            return False

        return replace(
            screen,
            sites=tuple(s for s in screen.sites if touches(s.pool)),
            basins=tuple(b for b in screen.basins if touches(b.pool)),
            not_offered=tuple(b for b in screen.not_offered if touches(b.pool)),
            wet_ground=tuple(g for g in screen.wet_ground if touches(g.pool)),
        )


def _mask_of(area: Any, grid: Grid) -> np.ndarray:
    transform = Affine(grid.dx, 0.0, grid.x0, 0.0, -grid.dy, grid.y0)
    return np.asarray(
        features.rasterize([(area, 1)], grid.shape, transform=transform, all_touched=True, dtype="uint8") > 0
    )


def _bounds(grid: Grid) -> tuple[float, float, float, float]:
    return grid.x0, grid.y0 - grid.rows * grid.dy, grid.x0 + grid.cols * grid.dx, grid.y0


def read_inputs(request: Request) -> Inputs:
    """Read rasters and layers; everything that can be refused is refused here.

    Parameters
    ----------
    request : Request

    Returns
    -------
    Inputs

    Raises
    ------
    InputError, OutputError
        Before anything is written.
    """
    check_target(request.out, request.overwrite)
    whole = look(request.dems, request.settings.ingest, request.z_unit).mosaic.grid
    crs = plane_crs(whole)
    notes: list[str] = []

    def layer(path: Path | None, wanted: str | tuple[str, ...], what: str) -> Any:
        if path is None:
            return None
        frame = read_layer(path, wanted, crs, _bounds(whole), what)
        notes.extend(frame.attrs.get("notes", ()))
        return frame

    area = layer(request.area, "polygon", "area")
    shape = None if area is None else shapely.union_all(area.geometry.to_numpy())
    roads = layer(request.roads, "line", "roads")
    culverts = layer(request.culverts, ("point", "line"), "culverts")
    parcels = layer(request.parcels, "polygon", "parcels")
    known = layer(request.known, "point", "known places")
    soils = layer(request.soils, "polygon", "soils")
    if soils is not None:
        check_soils(soils, request.settings.evidence)
    if request.landcover is not None:
        cover_codes(request.settings.evidence)
    if parcels is not None:
        check_parcels(parcels, request.settings.people)
    terrain = load(request.dems, request.settings.ingest, request.z_unit, shape)
    given = Linework(
        embankments=() if roads is None else given_roads(terrain.grid, roads.geometry, FIRST_GIVEN_ID),
        crossings=() if culverts is None else given_culverts(terrain.grid, terrain.z, culverts.geometry),
    )
    evidence = read_evidence(terrain.grid, soils, request.landcover, request.settings)
    notes.extend(() if evidence is None else evidence.notes)
    return Inputs(terrain, given, evidence, parcels, known, shape, (*terrain.notes, *notes))
