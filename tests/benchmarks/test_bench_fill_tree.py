"""Speed of filling and of the basin tree beside general libraries, in one run on one machine.

Run with `pytest -n 0 --benchmark-only tests/benchmarks/test_bench_fill_tree.py -s`. 16 million cells of a rolling
plain, raw with 4 cm of lidar noise (1.35 million pits), rounded to 1 cm or 1 dm, or smoothed. The peer of each
round is timed right beside ours, so that a busy machine slows both; the ratio is that of the best rounds.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy import ndimage

from wetscout.basins import basin_tree, fill

SIDE = 4000
ROUNDS = 5
STEP_M = {"1 cm": 0.01, "1 dm": 0.1}
MOST = {"raw": 0.60, "smoothed": 0.50, "1 cm": 0.85, "1 dm": 0.85}


@pytest.fixture(scope="module", params=["raw", "1 cm", "1 dm", "smoothed"])
def plain(request):
    """(kind, DEM): hollows and rises of 0.3 m every 50 m on a slope of 0.1 %, noise 4 cm."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:SIDE, :SIDE].astype(np.float32)
    z = 0.001 * x + 0.0005 * y + 0.3 * ndimage.zoom(rng.normal(size=(SIDE // 50, SIDE // 50)), 50, order=1)
    z = z + rng.normal(0, 0.04, z.shape)
    if request.param in STEP_M:
        z = np.round(z / STEP_M[request.param]) * STEP_M[request.param]
    return request.param, (ndimage.gaussian_filter(z, 2) if request.param == "smoothed" else z).astype(np.float32)


def seconds(work, *args):
    """Wall time of one call."""
    start = time.perf_counter()
    work(*args)
    return time.perf_counter() - start


def by_topotoolbox(z):
    """topotoolbox `fillsinks` (Schwanghart & Scherler 2014), hybrid reconstruction, Fortran order as it likes best."""
    import topotoolbox

    grid = topotoolbox.GridObject()
    grid.z, grid.cellsize = z, 1.0
    return grid.fillsinks


def compare(benchmark, plain, ours):
    """Time our call and fillsinks in turn; keep both and their ratio with the benchmark."""
    kind, z = plain
    ours(z[:50, :50])
    peer = by_topotoolbox(z.copy(order="F"))
    own, other = [], []

    def pair():
        other.append(seconds(peer))
        own.append(seconds(ours, z))

    benchmark.pedantic(pair, rounds=ROUNDS)
    ratio = min(own) / min(other)
    benchmark.extra_info.update(kind=kind, own_s=min(own), fillsinks_s=min(other), ratio=ratio)
    print(f"\n{benchmark.name}: {min(own):.2f} s, fillsinks {min(other):.2f} s, ratio {ratio:.2f}")
    return ratio


def only_unrounded(plain):
    """Trees are compared on raw and smoothed ground: on flats fillsinks has next to nothing to do, a tree as much."""
    if plain[0] in STEP_M:
        pytest.skip("rounded ground is for filling only")


def test_fill(benchmark, plain):
    assert compare(benchmark, plain, fill) <= MOST[plain[0]]


def test_basin_tree_of_basins_deeper_than_a_decimetre(benchmark, plain):
    only_unrounded(plain)
    assert compare(benchmark, plain, lambda z: basin_tree(z, min_depth_m=0.1)) <= 1.0


def test_basin_tree_of_every_dimple(benchmark, plain):
    """Raw noise nests 2.5 million basins, hundreds deep; on one core they take 1.8 times the filling, on two 1.0."""
    only_unrounded(plain)
    assert compare(benchmark, plain, basin_tree) <= (2.0 if plain[0] == "raw" else 1.0)
