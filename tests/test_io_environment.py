"""Our own projection data are used whatever another program left in the environment; COG writing."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio
from ingest_ground import rolling

from wetscout.errors import OutputError
from wetscout.grid import Grid
from wetscout.io import environment
from wetscout.io.rasters import describe, read_window, write_cog

_SCRIPT = """
import sys
from wetscout.io import environment
found = environment.prepare()
import rasterio, pyproj, pyogrio
assert rasterio.crs.CRS.from_epsg(26915).to_epsg() == 26915
x, y = pyproj.Transformer.from_crs(4326, 26915, always_xy=True).transform(-93, 0)
assert abs(x - 500000) < 1
print(len(found.set_aside), environment.prepare() is found)
"""


@pytest.mark.parametrize("name", ["PROJ_LIB", "PROJ_DATA"])
def test_projection_data_of_another_program_are_set_aside(tmp_path, name):
    """The trap: without `prepare` the same environment breaks the CRS of at least one library."""
    (tmp_path / "proj.db").write_bytes(b"not a database of ours")
    env = {**os.environ, name: str(tmp_path)}
    run = subprocess.run([sys.executable, "-c", _SCRIPT], env=env, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    assert run.stdout.split() == ["1", "True"]


def test_without_it_the_environment_would_break(tmp_path):
    (tmp_path / "proj.db").write_bytes(b"not a database of ours")
    script = "import rasterio; print(rasterio.crs.CRS.from_epsg(26915).to_epsg())"
    env = {**os.environ, "PROJ_LIB": str(tmp_path), "PROJ_DATA": str(tmp_path)}
    run = subprocess.run([sys.executable, "-c", script], env=env, capture_output=True, text=True, check=False)
    assert run.returncode != 0 or "26915" not in run.stdout


def test_versions_memory_and_disk_are_told(tmp_path):
    found = environment.versions()
    assert found["rasterio"] == rasterio.__version__
    assert "missing" not in {found[name] for name in ("numpy", "rasterio", "pyproj", "geopandas")}
    memory, disk = environment.free_memory(), environment.free_disk(tmp_path / "not" / "yet")
    assert memory is None or 10**7 < memory < 10**14
    assert disk is not None and disk > 0


def test_a_cog_reads_back_and_is_one(tmp_path):
    """Source: OGC 21-026 (2023), cloud-optimised GeoTIFF: tiled, overviews inside, directories before the data."""
    z = rolling(700, 900)
    z[10, 20] = np.nan
    grid = Grid(700, 900, 463000.0, 4776000.0, 1.0, 1.0, 1.0, rasterio.crs.CRS.from_epsg(26915).to_wkt())
    path = tmp_path / "dém cog.tif"
    write_cog(path, z, grid)
    info = describe(path)
    values, valid = read_window(info, (0, 700), (0, 900))
    np.testing.assert_array_equal(np.where(valid, values, np.nan), z)
    assert (info.unit, info.nodata, info.transform) == ("metre", -9999.0, (463000.0, 1.0, 0.0, 4776000.0, 0.0, -1.0))
    with rasterio.open(path) as dataset:
        assert dataset.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert dataset.profile["tiled"] and dataset.overviews(1)
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


def test_a_folder_that_is_not_there(tmp_path):
    grid = Grid(5, 5, 0.0, 5.0, 1.0, 1.0, 1.0)
    with pytest.raises(OutputError, match="cannot be written"):
        write_cog(tmp_path / "none" / "a.tif", np.zeros((5, 5), dtype=np.float32), grid)
    assert list(Path(tmp_path).iterdir()) == []
