"""`wetscout check` and `wetscout doctor` on the sample county and on rasters that cannot be used.

What the sample is stands in its own README; the doctor's bowl has its spill level in closed form (cli/doctor.py).
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from wetscout.cli import app, doctor
from wetscout.cli.sample import sample_folder

DEM = sample_folder() / "dem.tif"


def test_check_says_what_the_sample_is(capsys: pytest.CaptureFixture[str]):
    assert app.run(["check", str(DEM), "--parcels", str(sample_folder() / "parcels.gpkg")]) == 0
    said = capsys.readouterr().out
    for fact in ("1200 x 1300 cells of 1 m", "EPSG:26915", "1.56 km2", "13 from", "Ready to screen"):
        assert fact in said


def test_check_as_json(capsys: pytest.CaptureFixture[str]):
    assert app.run(["check", str(DEM), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["rows"], found["cols"], found["cell_m"], found["epsg"]) == (1200, 1300, 1.0, 26915)
    assert found["noise_m"] == pytest.approx(0.03, abs=0.01)
    assert found["ready"] is True


def test_check_writes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    shutil.copyfile(DEM, tmp_path / "dem.tif")
    monkeypatch.chdir(tmp_path)
    assert app.run(["check", "dem.tif", "-q"]) == 0
    assert [path.name for path in tmp_path.iterdir()] == ["dem.tif"]


def test_a_missing_dem_is_one_plain_line(capsys: pytest.CaptureFixture[str]):
    assert app.run(["check", "nowhere.tif"]) == 1
    said = capsys.readouterr()
    assert "nowhere.tif" in said.err
    assert len(said.err.strip().splitlines()) == 1
    assert said.out == ""


def test_degrees_are_refused_with_a_way_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "degrees.tif"
    profile = {"driver": "GTiff", "width": 50, "height": 50, "count": 1, "dtype": "float32", "crs": "EPSG:4269"}
    with rasterio.open(path, "w", transform=from_origin(-93.0, 43.0, 1e-5, 1e-5), **profile) as raster:
        raster.write(np.linspace(300, 310, 2500, dtype=np.float32).reshape(50, 50), 1)
    assert app.run(["check", str(path)]) == 1
    assert "gdalwarp" in capsys.readouterr().err


def test_a_layer_that_cannot_be_used_fails(capsys: pytest.CaptureFixture[str]):
    """Roads are no polygons: told on stdout with the rest, and as the reason on stderr."""
    assert app.run(["check", str(DEM), "--roads", str(sample_folder() / "parcels.gpkg")]) == 1
    said = capsys.readouterr()
    assert "Not ready" in said.out
    assert "roads" in said.err


def test_settings_with_a_slip_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "mine.toml"
    path.write_text("[ranking]\nweight_gian = 5.0\n")
    assert app.run(["check", str(DEM), "--settings", str(path)]) == 1
    assert "weight_gain" in capsys.readouterr().err


def test_doctor_is_well(capsys: pytest.CaptureFixture[str]):
    assert app.run(["doctor", "--json", "-q"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["well"] is True
    assert any("spill level" in check["says"] for check in found["checks"])


def test_doctor_tells_what_is_wrong(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    def broken(folder: Path) -> str:
        raise ValueError("no such kernel")

    monkeypatch.setattr(doctor, "tiny_run", broken)
    assert app.run(["doctor"]) == 1
    said = capsys.readouterr()
    assert "BAD  a tiny run failed: ValueError: no such kernel" in said.out
    assert "1 of" in said.err
