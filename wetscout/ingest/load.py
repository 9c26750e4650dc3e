"""From files to one Terrain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from wetscout import large
from wetscout.errors import InputError
from wetscout.grid import Grid
from wetscout.ingest.faults import fault_notes
from wetscout.ingest.georef import Place, place_of, vertical_unit
from wetscout.ingest.mosaic import Mosaic, clip_to_area, lay_out
from wetscout.ingest.plausible import WARNING, judge_ground, refuse_pictures
from wetscout.ingest.seams import Seam, find_seams
from wetscout.ingest.terrain import any_ground, finish
from wetscout.ingest.values import Tally, clear_zero_patches, height_step, to_metres
from wetscout.io.rasters import RasterInfo, describe, read_window
from wetscout.records import F32, Terrain
from wetscout.settings.ingest import IngestSettings

__all__ = ["Sources", "load", "look"]

_SAMPLE_CELLS = 4000
_SEAMS_TOLD = 3


@dataclass(frozen=True)
class Sources:
    """Rasters that fit together, before their cells are read.

    Attributes
    ----------
    infos, places : tuple
        One each a raster.
    units_m : tuple of float
        Height unit of each raster [m].
    mosaic : Mosaic
        The grid they share.
    notes : tuple of str
    """

    infos: tuple[RasterInfo, ...]
    places: tuple[Place, ...]
    units_m: tuple[float, ...]
    mosaic: Mosaic
    notes: tuple[str, ...]

    @property
    def name(self) -> str:
        """How to call them in messages."""
        return self.infos[0].path if len(self.infos) == 1 else f"the mosaic of {len(self.infos)} rasters"


@dataclass
class _Overlap:
    """Height differences where a later raster meets cells that are filled already."""

    cells: int = 0
    samples: list[np.ndarray[Any, Any]] = field(default_factory=list)


def look(paths: Sequence[str | Path], settings: IngestSettings, z_unit: str | None = None, area: Any = None) -> Sources:
    """Judge the rasters by what their files say.

    Parameters
    ----------
    paths : sequence of str or Path
        One or more rasters; where they overlap the first wins.
    settings : IngestSettings
        Limits.
    z_unit : {"m", "ft", "us-ft"}, optional
        Height unit, when the files do not say it or say it wrongly.
    area : shapely geometry, optional
        Polygons in the CRS of the first raster; only they and the ring they depend on are kept.

    Returns
    -------
    Sources

    Raises
    ------
    InputError
        No raster, or one that cannot be used; with what to do about it.
    """
    if isinstance(paths, (str, Path)):
        paths = [paths]
    names = list(dict.fromkeys(str(path) for path in paths))
    if not names:
        raise InputError("no DEM was given; name at least one raster.")
    notes = [f"{len(paths) - len(names)} raster(s) named twice were read once"] if len(names) < len(paths) else []
    infos = [describe(name) for name in names]
    for info in infos:
        refuse_pictures(info)
    places = [place_of(info, settings) for info in infos]
    units = [vertical_unit(info, z_unit) for info in infos]
    if max(unit for unit, _n in units) / min(unit for unit, _n in units) > 1.0 + 1e-4 and z_unit is None:
        low, high = (infos[[u for u, _n in units].index(f(u for u, _n in units))].path for f in (min, max))
        notes.append(
            f"{WARNING}the rasters have heights in different units ({low}, {high}); each is converted by its own"
        )
    for place in places:
        notes.extend(place.notes)
    for _unit, told in units:
        notes.extend(told)
    mosaic = lay_out(infos, places, settings)
    if area is not None:
        mosaic = clip_to_area(mosaic, area, places[0].unit_m, settings)
    return Sources(tuple(infos), tuple(places), tuple(unit for unit, _n in units), mosaic, tuple(notes))


def load(paths: Sequence[str | Path], settings: IngestSettings, z_unit: str | None = None, area: Any = None) -> Terrain:
    """Read one or more rasters as one clean Terrain.

    Parameters
    ----------
    paths : sequence of str or Path
        One or more rasters; where they overlap the first wins, gaps between them are no-data.
    settings : IngestSettings
        Limits.
    z_unit : {"m", "ft", "us-ft"}, optional
        Height unit, when the files do not say it or say it wrongly.
    area : shapely geometry, optional
        Polygons in the CRS of the first raster; only they and the ring they depend on are read.

    Returns
    -------
    Terrain
        Heights in metres, north up. What was repaired stands in `notes`; warnings begin with "Warning: ".

    Raises
    ------
    InputError, UnitError
        The rasters cannot be used; with what to do about it.
    """
    sources = look(paths, settings, z_unit, area)
    grid = sources.mosaic.grid
    z = large.full(grid.shape, np.nan, np.float32)
    notes = list(sources.notes)
    steps = []
    for number in range(len(sources.infos)):
        told, step_m = _fill_in(z, sources, number, settings)
        notes.extend(told)
        steps.append(step_m)
    zeros = clear_zero_patches(z, settings)
    if zeros:
        notes.append(f"{sources.name}: {zeros} cells of exactly 0 far from the ground beside them are taken as no-data")
    if not any_ground(z):
        raise InputError(f"{sources.name} holds no height at all{' in the area' if area is not None else ''}.")
    seams = find_seams(z, settings.seam_m)
    terrain = finish(z, grid, settings, seams=seams)
    step_m = min((step for step in steps if step is not None), default=None) if all(steps) else None
    notes.extend(judge_ground(terrain, step_m, settings, sources.name))
    notes.extend(_seam_notes(seams, grid, sources.name))
    notes.extend(fault_notes(terrain, sources.name))
    return replace(terrain, notes=tuple(notes))


def _fill_in(z: F32, sources: Sources, number: int, settings: IngestSettings) -> tuple[list[str], float | None]:
    """Read one raster into the cells of the mosaic that are still empty; its rounding step [m] comes back."""
    info, unit_m = sources.infos[number], sources.units_m[number]
    row0, col0 = sources.mosaic.corners[number]
    rows = max(0, row0), min(z.shape[0], row0 + info.rows)
    cols = max(0, col0), min(z.shape[1], col0 + info.cols)
    if rows[0] >= rows[1] or cols[0] >= cols[1]:
        return [], 1e-9
    tally, overlap = Tally(), _Overlap()
    samples = []
    for own, _, _ in large.strips((rows[1] - rows[0], cols[1] - cols[0])):
        top, bottom = rows[0] + own.start, rows[0] + own.stop
        asked = top - row0, bottom - row0
        if sources.places[number].south_up:
            asked = info.rows - asked[1], info.rows - asked[0]
        values, valid = read_window(info, asked, (cols[0] - col0, cols[1] - col0))
        if sources.places[number].south_up:
            values, valid = values[::-1], valid[::-1]
        heights = to_metres(values, valid, info, unit_m, settings, tally)
        samples.append(_sample(values, ~np.isnan(heights)))
        _place(z[top:bottom, cols[0] : cols[1]], heights, overlap)
    notes = list(tally.notes(info.path, info.rows * info.cols))
    notes.extend(_overlap_note(info.path, overlap, settings))
    step = height_step(*_join(samples))
    return notes, None if step is None else step * info.scale * unit_m


def _sample(values: np.ndarray[Any, Any], ground: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    found = values[ground]
    # a copy: a view would keep all cells of the strip, a gigabyte at 256 M cells
    thinned: np.ndarray[Any, Any] = found[:: max(1, found.size // _SAMPLE_CELLS)].copy()
    return thinned


def _join(samples: list[np.ndarray[Any, Any]]) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    joined = np.concatenate(samples) if samples else np.zeros(0)
    return joined, np.ones(joined.shape, dtype=bool)


def _place(target: F32, heights: F32, overlap: _Overlap) -> None:
    empty = np.isnan(target)
    both = ~empty & ~np.isnan(heights)
    if both.any():
        overlap.cells += int(np.count_nonzero(both))
        overlap.samples.append((heights[both] - target[both])[:: max(1, overlap.cells // _SAMPLE_CELLS)].copy())
    np.copyto(target, heights, where=empty)


def _overlap_note(path: str, overlap: _Overlap, settings: IngestSettings) -> list[str]:
    if not overlap.cells:
        return []
    shift = float(np.median(np.concatenate(overlap.samples)))
    text = f"{path}: {overlap.cells} cells lie on rasters named before it; the first one was kept"
    if abs(shift) >= settings.seam_m:
        return [
            f"{WARNING}{text}. There it is {abs(shift):.2f} m {'higher' if shift > 0 else 'lower'}: two surveys that "
            "do not fit, which makes a false step along the seam"
        ]
    return [text]


def _seam_notes(seams: list[Seam], grid: Grid, name: str) -> list[str]:
    if not seams:
        return []
    told = []
    for seam in seams[:_SEAMS_TOLD]:
        place = (
            f"y = {grid.y0 - (seam.index + 1) * grid.dy:.1f}"
            if seam.along == "row"
            else f"x = {grid.x0 + (seam.index + 1) * grid.dx:.1f}"
        )
        told.append(f"{abs(seam.step_m):.2f} m at {place} over {(seam.end - seam.begin) * grid.cell_m:.0f} m")
    more = f" and {len(seams) - len(told)} more" if len(seams) > len(told) else ""
    return [
        f"{WARNING}{name} has straight steps along its rows or columns, as tiles or surveys that do not fit leave: "
        f"{'; '.join(told)}{more}. Basins across them may be false"
    ]
