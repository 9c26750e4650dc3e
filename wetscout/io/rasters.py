"""Reading rasters window by window, and writing small cloud-optimised ones."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wetscout.io import environment

environment.prepare()

import numpy as np  # noqa: E402
import rasterio  # noqa: E402
import rasterio.shutil  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from rasterio._err import CPLE_BaseError  # noqa: E402  (some calls let GDAL's own error through)
from rasterio.enums import ColorInterp, MaskFlags  # noqa: E402
from rasterio.errors import NotGeoreferencedWarning, RasterioIOError  # noqa: E402
from rasterio.io import MemoryFile  # noqa: E402
from rasterio.windows import Window  # noqa: E402

from wetscout.errors import InputError, OutputError  # noqa: E402
from wetscout.grid import Grid  # noqa: E402

__all__ = ["RasterInfo", "describe", "read_window", "write_cog"]


@dataclass(frozen=True)
class RasterInfo:
    """What a raster file says about itself; nothing of it is judged here.

    Attributes
    ----------
    path : str
        As given.
    rows, cols, bands : int
        Shape.
    dtype : str
        Numpy name of the first band's type.
    transform : tuple of float (6,)
        x of a corner, x per column, x per row, y of the corner, y per column, y per row [CRS unit].
    crs_wkt : str
        Empty when the file has none.
    nodata : float or None
        Declared no-data value of the first band.
    has_mask : bool
        A mask or alpha band says which cells hold data.
    scale, offset : float
        Height = cell x scale + offset.
    unit : str
        Unit of the first band, empty when the file has none.
    picture : bool
        Colour bands or a colour table.
    bytes_on_disk : int
        0 where it cannot be told.
    """

    path: str
    rows: int
    cols: int
    bands: int
    dtype: str
    transform: tuple[float, float, float, float, float, float]
    crs_wkt: str
    nodata: float | None
    has_mask: bool
    scale: float
    offset: float
    unit: str
    picture: bool
    bytes_on_disk: int

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north of a raster that is not rotated [CRS unit]."""
        x0, dx, _xr, y0, _yc, dy = self.transform
        xs = sorted((x0, x0 + dx * self.cols))
        ys = sorted((y0, y0 + dy * self.rows))
        return xs[0], ys[0], xs[1], ys[1]


def _is_local(path: str) -> bool:
    return not path.startswith(("/vsi", "http://", "https://", "s3://")) and ":" not in path[2:]


def _check_file(path: str) -> int:
    """Size of a file on disk, or a plain word on why it cannot be read."""
    if not _is_local(path):
        return 0
    place = Path(path)
    if not place.exists():
        near = sorted(p.name for p in place.parent.glob("*.tif"))[:5] if place.parent.is_dir() else []
        hint = f"; that folder holds {', '.join(near)}" if near else ""
        raise InputError(f"there is no file {path}{hint}. Check the path and its spelling.")
    if place.is_dir():
        return 0
    if not os.access(place, os.R_OK):
        raise InputError(f"{path} may not be read by this user. Change its rights or copy it elsewhere.")
    size = place.stat().st_size
    if size == 0:
        raise InputError(f"{path} is empty (0 bytes). Download or copy it again.")
    return size


@contextmanager
def _open(path: str) -> Iterator[Any]:
    with warnings.catch_warnings(), rasterio.Env(GDAL_CACHEMAX=environment.GDAL_CACHE_MB):
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        try:
            with rasterio.open(path) as dataset:
                yield dataset
        except (RasterioIOError, CPLE_BaseError) as error:
            raise InputError(
                f"{path} cannot be read as a raster: {error}. It may be cut short, not fully downloaded, or of another "
                "kind; open it in a GIS or run gdalinfo on it, and fetch it again if that fails too."
            ) from error


def describe(path: str | Path) -> RasterInfo:
    """Read what a raster file says about itself.

    Parameters
    ----------
    path : str or Path
        Anything GDAL opens.

    Returns
    -------
    RasterInfo

    Raises
    ------
    InputError
        Missing, empty, not readable or not a raster.
    """
    name = str(path)
    size = _check_file(name)
    with _open(name) as dataset:
        if dataset.count == 0:
            raise InputError(
                f"{name} holds no raster band of its own; name one of its parts: {dataset.subdatasets[:5]}"
            )
        flags = dataset.mask_flag_enums[0]
        colours = {ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.palette}
        t = dataset.transform
        return RasterInfo(
            path=name,
            rows=dataset.height,
            cols=dataset.width,
            bands=dataset.count - (ColorInterp.alpha in dataset.colorinterp),
            dtype=str(dataset.dtypes[0]),
            transform=(t.c, t.a, t.b, t.f, t.d, t.e),
            crs_wkt=dataset.crs.to_wkt() if dataset.crs else "",
            nodata=None if dataset.nodatavals[0] is None else float(dataset.nodatavals[0]),
            has_mask=MaskFlags.per_dataset in flags or MaskFlags.alpha in flags,
            scale=float(dataset.scales[0]),
            offset=float(dataset.offsets[0]),
            unit=dataset.units[0] or "",
            picture=bool(colours & set(dataset.colorinterp)),
            bytes_on_disk=size,
        )


def files_of(path: str | Path) -> tuple[str, ...]:
    """Files a raster is made of: itself, and those a mosaic names.

    Parameters
    ----------
    path : str or Path
        Anything GDAL opens.

    Returns
    -------
    tuple of str
        Sorted.

    Raises
    ------
    InputError
        It cannot be read.
    """
    with _open(str(path)) as dataset:
        return tuple(sorted({str(path), *dataset.files}))


def read_window(
    info: RasterInfo, rows: tuple[int, int], cols: tuple[int, int]
) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Read part of the first band, as stored. The file is opened anew, so any thread may call this.

    Parameters
    ----------
    info : RasterInfo
        Of `describe`.
    rows, cols : (int, int)
        Half-open ranges [cells].

    Returns
    -------
    values : (rows, cols)
        In the file's own type, neither scaled nor flipped.
    valid : bool (rows, cols)
        What the file itself declares as data: by no-data value (as the file's type can hold it) or mask band.

    Raises
    ------
    InputError
        The file cannot be read there.
    """
    window = Window.from_slices(rows, cols)
    with _open(info.path) as dataset:
        values = dataset.read(1, window=window)
        valid = dataset.read_masks(1, window=window) > 0 if info.has_mask else np.ones(values.shape, dtype=bool)
    if info.nodata is not None and not np.isnan(info.nodata):
        if values.dtype.kind == "f":
            # a sentinel written with more digits than the cells can hold never equals them: compare in their type
            with np.errstate(over="ignore"):
                sentinel = values.dtype.type(info.nodata)
            close = np.abs(values - sentinel) <= 1e-6 * abs(sentinel) if np.isfinite(sentinel) else values == sentinel
            valid &= ~close
        else:
            valid &= values != info.nodata
    return values, valid


def write_cog(path: str | Path, values: NDArray[Any], grid: Grid, nodata: float = -9999.0, unit: str = "metre") -> None:
    """Write a small raster as a cloud-optimised GeoTIFF (made in memory, moved into place).

    Parameters
    ----------
    path : str or Path
        File to write.
    values : real (rows, cols)
        NaN becomes no-data.
    grid : Grid
        Place on the map.
    nodata : float
        Value for no-data.
    unit : str
        Unit of the values, kept in the file.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    cells = np.where(np.isfinite(values), values, nodata).astype(np.float32) if values.dtype.kind == "f" else values
    profile = {
        "driver": "GTiff",
        "height": grid.rows,
        "width": grid.cols,
        "count": 1,
        "dtype": cells.dtype,
        "crs": rasterio.crs.CRS.from_wkt(grid.crs_wkt) if grid.crs_wkt else None,
        "transform": rasterio.Affine(grid.dx, 0.0, grid.x0, 0.0, -grid.dy, grid.y0),
        "nodata": nodata,
    }
    target = Path(path)
    part = target.with_name(f".{target.name}.part.tif")
    try:
        with rasterio.Env(GDAL_CACHEMAX=environment.GDAL_CACHE_MB), MemoryFile() as memory:
            with memory.open(**profile) as dataset:
                dataset.write(cells, 1)
                dataset.units = (unit,)
            predictor = "FLOATING_POINT" if cells.dtype.kind == "f" else "STANDARD"
            with memory.open() as source:
                rasterio.shutil.copy(
                    source, part, driver="COG", compress="DEFLATE", predictor=predictor, bigtiff="IF_SAFER"
                )
        part.replace(target)
    except (RasterioIOError, CPLE_BaseError, OSError) as error:
        part.unlink(missing_ok=True)
        raise OutputError(
            f"{target} cannot be written: {error}. Is the folder there, writable and not full?"
        ) from error
