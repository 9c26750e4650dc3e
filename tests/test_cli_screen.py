"""`screen`, `demo` and `owners` from end to end on the sample county.

The answers come from the ground the sample's own script makes before it digs, filled by scikit-image (van der Walt et
al. 2014, PeerJ 2:e453; grey reconstruction by erosion): an independent library on ground no ditch has touched.
"""

from __future__ import annotations

import csv
import importlib.util
import json
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from rasterio.windows import Window
from skimage.morphology import reconstruction

from wetscout.cli import app
from wetscout.cli.sample import sample_folder
from wetscout.outputs import open_screen
from wetscout.outputs.result import ScreenResult

UNDRAINED = {"pothole", "kettle"}


@pytest.fixture(scope="module")
def maker():
    """The script that made the sample, as a module."""
    spec = importlib.util.spec_from_file_location("make_sample", sample_folder() / "make_sample.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def truth(maker) -> dict[str, tuple[float, float]]:
    """Spill level [m] and pool area [m2] of each basin of the sample before anything was dug."""
    y, x = np.mgrid[0 : maker.HEIGHT, 0 : maker.WIDTH] + 0.5
    ground = maker.natural_ground(x, y, np.random.default_rng(maker.SEED))
    seed = np.full_like(ground, ground.max())
    seed[0], seed[-1], seed[:, 0], seed[:, -1] = ground[0], ground[-1], ground[:, 0], ground[:, -1]
    filled = reconstruction(seed, ground, method="erosion", footprint=np.ones((3, 3)))
    answers = {}
    for name, (cx, cy, *_) in maker.BASINS.items():
        level = float(filled[int(cy), int(cx)])
        near = np.hypot(x - cx, y - cy) < 150.0
        answers[name] = (level, float(np.count_nonzero(near & (filled == level) & (ground < level))))
    return answers


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    assert app.run(["demo", str(folder), "-q"]) == 0
    return folder


@pytest.fixture(scope="module")
def result(demo: Path) -> ScreenResult:
    return open_screen(demo / "result.gpkg")


@pytest.fixture(scope="module")
def corner(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A part of the sample DEM with the basins heron and kettle: enough where only the command is looked at."""
    path = tmp_path_factory.mktemp("corner") / "dem.tif"
    window = Window(col_off=200, row_off=20, width=650, height=420)
    with rasterio.open(sample_folder() / "dem.tif") as whole:
        profile = {**whole.profile, "driver": "GTiff", "width": 650, "height": 420}
        with rasterio.open(path, "w", **{**profile, "transform": whole.window_transform(window)}) as part:
            part.write(whole.read(1, window=window), 1)
            part.units = whole.units
    return path


def at(maker, name: str) -> shapely.Point:
    cx, cy = maker.BASINS[name][:2]
    return shapely.Point(maker.WEST + cx, maker.NORTH - cy)


def test_the_eight_drained_basins_are_found_and_nothing_else(maker, result: ScreenResult):
    found = {name for name in maker.BASINS if result.sites.covers(at(maker, name)).any()}
    assert found == set(maker.BASINS) - UNDRAINED
    assert len(result.sites) == 8


def test_spill_levels_and_areas_of_the_sample(maker, truth, result: ScreenResult):
    """Each level within 0.15 m, half of them within 0.05 m; each area within a fifth."""
    errors = []
    for name in set(maker.BASINS) - UNDRAINED:
        site = result.sites[result.sites.covers(at(maker, name))].iloc[0]
        level, area = truth[name]
        errors.append(abs(site.spill_m - level))
        assert site.pool_m2 == pytest.approx(area, rel=0.2), name
    assert max(errors) < 0.15
    assert np.median(errors) < 0.05


def test_whole_basins_are_listed_as_whole(maker, result: ScreenResult):
    for name in UNDRAINED:
        basin = result.basins[result.basins.covers(at(maker, name))]
        assert list(basin.rim) == ["whole"]


def test_the_passing_ditch_ranks_last(maker, result: ScreenResult):
    site = result.sites[result.sites.covers(at(maker, "through"))].iloc[0]
    assert site.drain_position == "passes through"
    assert site["rank"] > 3
    assert "other people's water" in site.cautions


def test_demo_tells_what_to_open(demo: Path, capsys: pytest.CaptureFixture[str]):
    assert app.run(["demo", str(demo)]) == 0
    said = capsys.readouterr()
    assert "8 drained basins" in said.out
    assert str(demo / "result.png") in said.out
    assert (demo / "result.png").stat().st_size > 100_000
    for stage in ("reading", "basins", "ranking"):
        assert stage in said.err


def test_screen_as_json(corner: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    out = tmp_path / "county.gpkg"
    words = ["screen", str(corner), "--out", str(out), "--json", "-q", "--us-units"]
    assert app.run(words) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["sites"] == len(open_screen(out).sites)
    assert found["first"][0]["rank"] == 1
    assert "spill_ft" in open_screen(out).sites.columns
    assert app.run(words) == 1
    assert "--overwrite" in capsys.readouterr().err


def test_known_places_are_explained(maker, corner: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    import geopandas as gpd

    names = ["heron", "kettle"]
    gpd.GeoDataFrame({"name": names}, geometry=[at(maker, name) for name in names], crs=maker.CRS).to_file(
        tmp_path / "known.gpkg"
    )
    out = tmp_path / "county.gpkg"
    assert app.run(["screen", str(corner), "--out", str(out), "--known", str(tmp_path / "known.gpkg")]) == 0
    said = capsys.readouterr().out
    assert "offered, rank" in said
    assert said.count("known place") == 2


def test_owners(demo: Path, tmp_path: Path, maker, capsys: pytest.CaptureFixture[str]):
    out = tmp_path / "owners.csv"
    words = ["owners", str(demo / "result.gpkg"), "--out", str(out)]
    assert app.run(words) == 0
    said = capsys.readouterr()
    rows = list(csv.DictReader(out.read_text(encoding="utf-8-sig").splitlines()))
    owners = {owner for owner, *_ in maker.OWNERS}
    assert 0 < len(rows) <= len(owners)
    assert not any(owner in said.out + said.err for owner in owners)
    assert app.run(words) == 1
    assert "--overwrite" in capsys.readouterr().err


def test_settings_change_the_result(corner: Path, tmp_path: Path):
    mine = tmp_path / "mine.toml"
    mine.write_text("[ranking]\nweight_gain = 0.0\nweight_confidence = 0.0\n")
    scores = []
    for words in ([], ["--settings", str(mine)]):
        out = tmp_path / f"county{len(words)}.gpkg"
        assert app.run(["screen", str(corner), "--out", str(out), "-q", *words]) == 0
        scores.append(open_screen(out).sites.set_index("site_id").score)
    assert list(scores[0].index) == list(scores[1].index)
    assert (scores[0] != scores[1]).any()
    assert open_screen(out).run["settings"]["ranking"]["weight_gain"] == 0.0
