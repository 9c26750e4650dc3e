"""Soil polygons with their attributes, read onto the grid as whole numbers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import rasterio.features
from rasterio.transform import Affine

from wetscout import large
from wetscout.errors import InputError
from wetscout.grid import Grid
from wetscout.records_covered import DRAINAGE, U8, UNKNOWN_PERCENT
from wetscout.settings.evidence import EvidenceSettings

# older exports of the survey hold a class instead of a percentage; "partially" is anything from 1 to 99 %, so the
# drainage class decides there
_CLASS_PERCENT = {"all hydric": 100, "partially hydric": UNKNOWN_PERCENT, "not hydric": 0, "unknown": UNKNOWN_PERCENT}


def _column(soils: Any, wanted: str, usual: str, what: str) -> str | None:
    """Name of a column as the file spells it; None when there is none and none was named."""
    if wanted.strip().lower() == "none":
        return None
    name = wanted.strip() or usual
    names = [str(c) for c in soils.columns if c != soils.geometry.name]
    found = [c for c in names if c == name] or [c for c in names if c.lower() == name.lower()]
    if found:
        return found[0]
    if wanted.strip():
        raise InputError(
            f"the soils layer has no column {name!r} for {what}; it has: {', '.join(names) or 'none'}. "
            f"Name the right one under [evidence] in the settings file."
        )
    return None


def _percent(values: pd.Series[Any], name: str) -> U8:
    """Percent hydric as whole numbers, 255 unknown."""
    if pd.api.types.is_numeric_dtype(values):
        numbers = values.to_numpy(dtype=np.float64, na_value=np.nan)
    else:
        words = values.astype("string").str.strip().str.lower()
        known = words.isin(list(_CLASS_PERCENT)) | words.isna() | (words == "")
        if not known.all():
            raise InputError(
                f"the soils column {name} holds text such as {values[~known].iloc[0]!r}; wanted: numbers from 0 to 100 "
                f"(or the survey's words {', '.join(w.capitalize() for w in _CLASS_PERCENT)}). Turn the column into "
                "numbers in a GIS, without a percent sign."
            )
        numbers = words.map(_CLASS_PERCENT).to_numpy(dtype=np.float64, na_value=np.nan)
        numbers[numbers == UNKNOWN_PERCENT] = np.nan
    bad = (numbers < 0) | (numbers > 100)
    if bad.any():
        raise InputError(
            f"the soils column {name} holds {numbers[bad][0]:g} in {int(bad.sum())} of {numbers.size} polygons; "
            "wanted: percent of the map unit that is hydric, 0 to 100. Is it another column, or an area in acres?"
        )
    return np.where(np.isnan(numbers), UNKNOWN_PERCENT, np.rint(numbers)).astype(np.uint8)


def _drainage(values: pd.Series[Any], name: str) -> tuple[U8, str]:
    """Numbers of drainage classes, and a word on those that are not known."""
    words = values.astype("string").str.strip().str.lower()
    numbers = words.map({word: k for k, word in enumerate(DRAINAGE)}).to_numpy(dtype=np.float64, na_value=np.nan)
    strange = np.isnan(numbers) & words.notna().to_numpy() & (words != "").fillna(value=False).to_numpy(dtype=bool)
    if strange.any() and strange.sum() == words.notna().sum():
        raise InputError(
            f"the soils column {name} holds {values[strange].iloc[0]!r} and no drainage class of the public US soil "
            f"survey; wanted: {', '.join(word.capitalize() for word in DRAINAGE[1:])}."
        )
    said = ""
    if strange.any():
        odd = values[strange].iloc[0]
        said = f"soils: {int(strange.sum())} polygon(s) with an unknown drainage class, such as {odd!r}"
    return np.where(np.isnan(numbers), 0, numbers).astype(np.uint8), said


def check_soils(soils: Any, s: EvidenceSettings) -> tuple[U8 | None, U8 | None, tuple[str, ...]]:
    """Read the attributes of soil polygons, and refuse what cannot be used.

    Parameters
    ----------
    soils : GeoDataFrame
        Polygons.
    s : EvidenceSettings
        Names of the columns.

    Returns
    -------
    hydric : uint8 (polygons,) or None
        Percent hydric, 255 unknown; None without such a column.
    drainage : uint8 (polygons,) or None
        Number in DRAINAGE; None without such a column.
    notes : tuple of str

    Raises
    ------
    InputError
        Neither column is there, a percentage is text or outside of 0 to 100, no drainage class is known.
    """
    hydric = _column(soils, s.hydric_field, "hydclprs", "percent hydric")
    drainage = _column(soils, s.drainage_field, "drclassdcd", "the drainage class")
    if hydric is None and drainage is None:
        names = [str(c) for c in soils.columns if c != soils.geometry.name]
        join = (
            " It has mukey: join the survey's table muaggatt to the polygons by mukey first."
            if "mukey" in {n.lower() for n in names}
            else " Name the columns as hydric_field and drainage_field under [evidence] in the settings file."
        )
        raise InputError(
            "the soils layer has neither a column hydclprs (percent hydric, 0-100) nor drclassdcd (drainage class); "
            f"it has: {', '.join(names) or 'none'}.{join}"
        )
    notes = []
    percent = None if hydric is None else _percent(soils[hydric], hydric)
    classes, said = (None, "") if drainage is None else _drainage(soils[drainage], drainage)
    if said:
        notes.append(said)
    if hydric is None:
        notes.append("soils: no column with percent hydric, judged by drainage class alone")
    if drainage is None:
        notes.append("soils: no column with the drainage class, judged by percent hydric alone")
    return percent, classes, tuple(notes)


def soil_on_grid(soils: Any, grid: Grid, s: EvidenceSettings) -> tuple[U8 | None, U8 | None, tuple[str, ...]]:
    """Soil attributes cell by cell: those of the polygon that holds the cell's centre, the later one where two do.

    Parameters
    ----------
    soils : GeoDataFrame
        Polygons in the grid's CRS.
    grid : Grid
    s : EvidenceSettings

    Returns
    -------
    hydric, drainage : uint8 (rows, cols) or None
        As in `records_covered.Evidence`.
    notes : tuple of str

    Raises
    ------
    InputError
        As `check_soils`.
    """
    hydric, drainage, notes = check_soils(soils, s)
    transform = Affine(grid.dx, 0.0, grid.x0, 0.0, -grid.dy, grid.y0)
    shapes = [(shape, k + 1) for k, shape in enumerate(soils.geometry) if shape is not None and not shape.is_empty]
    which = large.zeros(grid.shape, np.int32)
    rasterio.features.rasterize(shapes, out=which, fill=0, transform=transform)
    values = [
        None if told is None else np.concatenate([[unknown], told]).astype(np.uint8)
        for told, unknown in ((hydric, UNKNOWN_PERCENT), (drainage, 0))
    ]
    layers: list[U8 | None] = [None if told is None else large.empty(grid.shape, np.uint8) for told in values]
    for own, _, _ in large.strips(grid.shape):
        for layer, told in zip(layers, values, strict=True):
            if layer is not None and told is not None:
                layer[own] = told[which[own]]
    return layers[0], layers[1], notes
