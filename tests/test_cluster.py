"""Tiles worked out by a Dask cluster of two processes on the loopback: the same layers as in threads."""

from __future__ import annotations

import contextlib
import subprocess
import sys

import numpy as np
import pyproj
import pytest

from wetscout import pipeline
from wetscout.cli import app
from wetscout.errors import InputError
from wetscout.grid import Grid
from wetscout.io.geopackage_read import digest
from wetscout.io.rasters import write_cog
from wetscout.prove import make_landscape
from wetscout.steps import cluster

distributed = pytest.importorskip("distributed", reason="Dask is not installed: pip install 'wetscout[cluster]'")


@pytest.fixture(scope="module")
def dem(tmp_path_factory):
    """A small invented landscape with a gap, as a raster."""
    z = make_landscape("collectors through basins", 11, 1.0, 480.0).z.copy()
    z[200:215, 100:140] = np.nan
    rows, cols = z.shape
    path = tmp_path_factory.mktemp("dem") / "dem.tif"
    write_cog(path, z, Grid(rows, cols, 400000.0, 4600000.0, 1.0, 1.0, 1.0, pyproj.CRS(26915).to_wkt()))
    return path


@contextlib.contextmanager
def scheduler(workers):
    """Address of a scheduler with so many worker processes."""
    # -P: the same files as here, not those of the folder the tests are started in
    line = [
        sys.executable,
        "-P",
        "-m",
        "distributed.cli.dask_scheduler",
        "--host",
        "127.0.0.1",
        "--port",
        "0",
        "--no-dashboard",
    ]
    with contextlib.ExitStack() as stack:
        run = stack.enter_context(subprocess.Popen(line, stderr=subprocess.PIPE, text=True))
        stack.callback(run.kill)
        address = next(word for said in run.stderr for word in said.split() if word.startswith("tcp://127"))
        for _ in range(workers):
            made = [
                sys.executable,
                "-P",
                "-m",
                "distributed.cli.dask_worker",
                address,
                "--nthreads",
                "1",
                "--no-dashboard",
            ]
            worker = stack.enter_context(subprocess.Popen([*made, "--no-nanny"], stderr=subprocess.DEVNULL))
            stack.callback(worker.kill)
        if workers:
            with distributed.Client(address, set_as_default=False) as client:
                client.wait_for_workers(workers, timeout=120)
        yield address


def test_a_cluster_of_two_processes_gives_the_same_file(dem, tmp_path):
    here = pipeline.screen(dem, tmp_path / "here.gpkg", tile=160, workers=1).path
    with scheduler(2) as address:
        there = pipeline.screen(dem, tmp_path / "there.gpkg", tile=211, scheduler=address).path
    assert digest(there) == digest(here)


def test_an_address_where_nobody_answers_is_told(dem, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(cluster, "_ANSWER_S", 1)
    words = ["screen", str(dem), "--out", str(tmp_path / "a.gpkg"), "--scheduler", "tcp://127.0.0.1:9", "--quiet"]
    assert app.run(words) == 1
    assert "no Dask scheduler answers" in capsys.readouterr().err
    assert not (tmp_path / "a.gpkg").exists()


def test_a_cluster_without_workers_or_with_another_version_is_refused(monkeypatch):
    with scheduler(0) as address, pytest.raises(InputError, match="no workers"), cluster.cluster_at(address):
        pass
    with scheduler(1) as address:
        monkeypatch.setattr(cluster, "code_files", lambda: [])
        with pytest.raises(InputError, match="other files"), cluster.cluster_at(address):
            pass
