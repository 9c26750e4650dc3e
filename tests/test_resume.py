"""A run that is stopped goes on where it was: nothing lost, nothing done twice, nothing doubled.

What must hold is the project's own promise (outward contract: `--resume`; a result appears only when whole); the file
that a run without a stop writes is the reference.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace

import numpy as np
import pyproj
import pytest

from wetscout import pipeline
from wetscout.cli import app
from wetscout.errors import InputError, OutputError
from wetscout.grid import Grid
from wetscout.io.geopackage_read import digest
from wetscout.io.rasters import write_cog
from wetscout.io.work_folder import WorkFolder, differences, work_path
from wetscout.outputs import open_screen
from wetscout.prove import make_landscape
from wetscout.settings import Settings
from wetscout.steps import plan as plans

TILE = 160


@pytest.fixture(scope="module")
def dem(tmp_path_factory):
    """A small invented landscape with drained basins, as a raster."""
    land = make_landscape("collectors through basins", 11, 1.0, 480.0)
    rows, cols = land.z.shape
    path = tmp_path_factory.mktemp("dem") / "dem.tif"
    write_cog(path, land.z, Grid(rows, cols, 400000.0, 4600000.0, 1.0, 1.0, 1.0, pyproj.CRS(26915).to_wkt()))
    return path


@pytest.fixture(scope="module")
def whole(dem, tmp_path_factory):
    """Digest of the result of a run without a stop, in one tile."""
    return digest(pipeline.screen(dem, tmp_path_factory.mktemp("whole") / "whole.gpkg", workers=1).path)


class Stop(Exception):
    """Stands for whatever ends a run."""


def run_until(monkeypatch, part, error, *args, **options):
    """Screen, and stop it as soon as so many parts are kept."""
    put, count = WorkFolder.put, []

    def counted(self, name, arrays):
        put(self, name, arrays)
        count.append(name)
        if len(count) >= part:
            raise error

    with monkeypatch.context() as patch:
        patch.setattr(WorkFolder, "put", counted)
        pipeline.screen(*args, **options)


@pytest.mark.parametrize("part", [1, 8, 17, 30])
def test_a_stopped_run_goes_on_and_writes_the_same_file(dem, whole, part, tmp_path, monkeypatch):
    out = tmp_path / "county.gpkg"
    with pytest.raises(Stop):
        run_until(monkeypatch, part, Stop(), dem, out, tile=TILE, workers=1)
    assert not out.exists()
    kept = sorted(p.name for p in work_path(out).glob("*.npz"))
    # a thread may have finished one tile more before it heard of the end
    assert part <= len(kept) <= part + 1
    made = []
    arrays = plans.Keep.arrays

    def watched(self, name, work):
        def noted():
            made.append(f"{name}.npz")
            return work()

        return arrays(self, name, noted)

    monkeypatch.setattr(plans.Keep, "arrays", watched)
    pipeline.screen(dem, out, tile=TILE, workers=2, resume=True)
    assert digest(out) == whole
    assert not set(made) & set(kept)
    assert not work_path(out).exists()
    assert set(open_screen(out).run["timings"]) >= {"reading", "basins", "sites"}


def test_without_resume_a_run_begins_anew_and_a_torn_part_is_made_again(dem, whole, tmp_path, monkeypatch):
    out = tmp_path / "county.gpkg"
    with pytest.raises(Stop):
        run_until(monkeypatch, 12, Stop(), dem, out, tile=TILE, workers=1)
    parts = sorted(work_path(out).glob("*.npz"))
    parts[0].write_bytes(parts[0].read_bytes()[:100])
    pipeline.screen(dem, out, tile=TILE, workers=1, resume=True)
    assert digest(out) == whole
    with pytest.raises(Stop):
        run_until(monkeypatch, 3, Stop(), dem, out, tile=TILE, workers=1, overwrite=True)
    assert digest(out) == whole  # the older result stays until the new one is whole
    with pytest.raises(Stop):
        run_until(monkeypatch, 1, Stop(), dem, out, tile=TILE, workers=1, overwrite=True)
    assert len(list(work_path(out).glob("*.npz"))) in (1, 2)


def test_other_settings_or_inputs_are_refused_with_the_difference_named(dem, tmp_path, monkeypatch):
    out = tmp_path / "county.gpkg"
    with pytest.raises(Stop):
        run_until(monkeypatch, 2, Stop(), dem, out, tile=TILE, workers=1)
    usual = Settings()
    other = replace(usual, sites=replace(usual.sites, min_depth_m=0.21))
    with pytest.raises(InputError, match=r"settings sites min_depth_m was .*, is 0\.21"):
        pipeline.screen(dem, out, tile=TILE, resume=True, settings=other)
    stat = dem.stat()
    os.utime(dem, (stat.st_atime, stat.st_mtime + 5.0))
    try:
        with pytest.raises(InputError, match="changed was"):
            pipeline.screen(dem, out, tile=TILE, resume=True)
    finally:
        os.utime(dem, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    assert len(list(work_path(out).glob("*.npz"))) in (2, 3)


def test_interrupted_says_what_is_kept_and_how_to_go_on(dem, tmp_path, monkeypatch, capsys):
    out = tmp_path / "county.gpkg"
    put = WorkFolder.put

    def stopping(self, name, arrays):
        put(self, name, arrays)
        raise KeyboardInterrupt

    monkeypatch.setattr(WorkFolder, "put", stopping)
    assert app.run(["screen", str(dem), "--out", str(out), "--tile", str(TILE), "--workers", "1", "-q"]) == 130
    said = capsys.readouterr().err
    assert "finished parts are kept" in said and "--resume" in said and str(work_path(out)) in said
    assert not out.exists()


@pytest.mark.slow
def test_killed_at_random_moments_nothing_is_lost(dem, whole, tmp_path):
    """SIGKILL at 20 moments of a run: what comes out after going on is the reference, and the folder is gone."""
    start = "import sys; from wetscout.cli.app import run; sys.exit(run())"
    words = [sys.executable, "-c", start, "screen", str(dem), "--tile", str(TILE), "--workers", "2", "-q"]
    began = time.monotonic()
    subprocess.run([*words, "--out", str(tmp_path / "timed.gpkg")], check=True)
    took = time.monotonic() - began
    rng = np.random.default_rng()
    for k, moment in enumerate(rng.uniform(0.2, 1.0, 20) * took):
        out = tmp_path / f"run{k}.gpkg"
        job = subprocess.Popen([*words, "--out", str(out)])
        try:
            job.wait(moment)
        except subprocess.TimeoutExpired:
            job.send_signal(signal.SIGKILL)
            job.wait()
        ended = out.exists()
        more = ["--overwrite"] if ended else []
        subprocess.run([*words, "--out", str(out), "--resume", *more], check=True)
        assert digest(out) == whole, (k, moment, ended)
        assert not work_path(out).exists()


def test_facts_name_what_differs():
    older = {"version": "1", "settings": {"a": {"x": 1, "y": [1, 2]}}}
    assert differences(older, older) == []
    newer = {"version": "1", "settings": {"a": {"x": 2, "y": [1, 3]}, "b": 0}}
    assert differences(older, newer) == [
        "settings a x was 1, is 2",
        "settings a y 2 was 2, is 3",
        "settings b was None, is 0",
    ]


def test_a_full_disk_is_told_and_leaves_no_half_part(tmp_path, monkeypatch):
    folder = WorkFolder(tmp_path / "w", {})
    folder.put("one", {"a": np.arange(3)})
    real = os.fsync

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        folder.put("two", {"a": np.arange(3)})
    monkeypatch.setattr(os, "fsync", real)
    assert sorted(p.name for p in (tmp_path / "w").iterdir()) == ["one.npz", "run.json"]
    again = WorkFolder(tmp_path / "w", {}, resume=True)
    np.testing.assert_array_equal(again.get("one")["a"], [0, 1, 2])
    assert again.get("two") is None
    assert json.loads((tmp_path / "w" / "run.json").read_text()) == {}
    (tmp_path / "w" / "mine.txt").write_text("a note of the user's")
    again.remove()
    assert [p.name for p in (tmp_path / "w").iterdir()] == ["mine.txt"]
