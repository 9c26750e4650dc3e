"""Soils and land cover through the commands, on a corner of the sample county."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.windows import Window

from wetscout.cli import app
from wetscout.cli.sample import sample_folder
from wetscout.outputs import open_screen


@pytest.fixture(scope="module")
def corner(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A corner of the sample DEM with its soils, and land cover that shows crops everywhere."""
    folder = tmp_path_factory.mktemp("corner")
    with rasterio.open(sample_folder() / "dem.tif") as source:
        window = Window(300, 0, 600, 600)
        profile = {**source.profile, "height": 600, "width": 600, "transform": source.window_transform(window)}
        profile.update(driver="GTiff", blockxsize=256, blockysize=256)
        z = source.read(1, window=window)
    with rasterio.open(folder / "dem.tif", "w", **profile) as out:
        out.write(z, 1)
        out.units = ("metre",)
    step = profile["transform"] * profile["transform"].scale(30, 30)
    cover = {**profile, "dtype": "uint8", "nodata": 0, "height": 20, "width": 20, "transform": step}
    cover = {k: v for k, v in cover.items() if k not in ("blockxsize", "blockysize", "tiled", "predictor")}
    with rasterio.open(folder / "cover.tif", "w", **cover) as out:
        out.write(np.full((20, 20), 82, np.uint8), 1)
    return {"dem": folder / "dem.tif", "soils": sample_folder() / "soils.gpkg", "cover": folder / "cover.tif"}


def test_screen_reads_soils_and_land_cover(corner: dict[str, Path], tmp_path: Path):
    out = tmp_path / "told.gpkg"
    words = ["--soils", str(corner["soils"]), "--landcover", str(corner["cover"]), "-q"]
    assert app.run(["screen", str(corner["dem"]), "--out", str(out), *words]) == 0
    result = open_screen(out)
    assert set(result.run["inputs"]) >= {"dems", "soils", "landcover"}
    covered = result.sites[result.sites["list"] == "covered drains"]
    opened = result.sites[result.sites["list"] == "open drains"]
    assert len(opened) > 0
    # basins that the sample leaves whole lie on its hydric soil: under crops nothing tells them from drained ones
    assert len(covered) > 0
    assert set(covered["confidence"]) <= {"low", "medium"}
    assert covered["rank"].min() > opened["rank"].max()
    bare = tmp_path / "bare.gpkg"
    assert app.run(["screen", str(corner["dem"]), "--out", str(bare), "-q"]) == 0
    before = open_screen(bare).sites
    before = before[before["list"] == "open drains"].drop(columns="geometry").reset_index(drop=True)
    after = opened.drop(columns="geometry").reset_index(drop=True)
    assert before.equals(after[before.columns])


def test_check_reads_them_too_and_refusals_come_before_the_work(
    corner: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    words = ["--soils", str(corner["soils"]), "--landcover", str(corner["cover"])]
    assert app.run(["check", str(corner["dem"]), *words]) == 0
    said = capsys.readouterr().out
    assert "soils: 2 from" in said
    assert "land cover: 1 codes over 100% of the DEM" in said
    mine = tmp_path / "mine.toml"
    mine.write_text('[evidence]\nhydric_field = "wetness"\n')
    out = tmp_path / "none.gpkg"
    words = ["--soils", str(corner["soils"]), "--settings", str(mine)]
    assert app.run(["screen", str(corner["dem"]), "--out", str(out), *words]) == 1
    assert "no column 'wetness' for percent hydric; it has: mukey, muname, hydclprs" in capsys.readouterr().err
    assert not out.exists()
