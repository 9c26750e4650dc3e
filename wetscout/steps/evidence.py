"""Where stage 8 meets the user's files: soils and land cover on the grid of the DEM."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wetscout.errors import InputError
from wetscout.evidence import cover_classes, soil_on_grid
from wetscout.grid import Grid
from wetscout.io.onto_grid import read_nearest
from wetscout.records_covered import Evidence
from wetscout.settings import Settings


def gather(grid: Grid, soils: Any, codes: NDArray[Any] | None, settings: Settings) -> Evidence | None:
    """Bring what was given together.

    Parameters
    ----------
    grid : Grid
        The DEM's.
    soils : GeoDataFrame or None
        Polygons in the grid's CRS, with percent hydric or drainage class.
    codes : integer (rows, cols) or None
        Land cover codes, one a cell of the DEM.
    settings : Settings

    Returns
    -------
    Evidence or None
        None when nothing was given.

    Raises
    ------
    InputError
        Attributes that cannot be used, or codes on another grid.
    """
    if soils is None and codes is None:
        return None
    valid = None if codes is None else np.ones(codes.shape, dtype=bool)
    return _together(grid, soils, (codes, valid), settings)


def _together(grid: Grid, soils: Any, cover: tuple[Any, Any], settings: Settings) -> Evidence:
    hydric = drainage = classes = None
    notes: list[str] = []
    if soils is not None:
        hydric, drainage, said = soil_on_grid(soils, grid, settings.evidence)
        notes.extend(said)
    codes, valid = cover
    if codes is not None:
        if codes.shape != grid.shape:
            raise InputError(
                f"land cover codes of shape {codes.shape} for a DEM of shape {grid.shape}; wanted: one code a cell"
            )
        classes, said = cover_classes(codes, valid, settings.evidence)
        notes.extend(said)
    return Evidence(hydric, drainage, classes, tuple(notes))


def read_evidence(grid: Grid, soils: Any, landcover: Path | None, settings: Settings) -> Evidence | None:
    """Read the land cover raster onto the grid, and put it beside the soils.

    Parameters
    ----------
    grid : Grid
        The DEM's, cut to what is screened.
    soils : GeoDataFrame or None
        As read.
    landcover : Path or None
        Raster of codes.
    settings : Settings

    Returns
    -------
    Evidence or None
        None when neither was given.

    Raises
    ------
    InputError
        As `gather` and `io.onto_grid.read_nearest`.
    """
    if soils is None and landcover is None:
        return None
    cover = (None, None) if landcover is None else read_nearest(landcover, grid, "land cover")
    return _together(grid, soils, cover, settings)
