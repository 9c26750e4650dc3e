"""The same answer, to the bit, for any tile size."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio

from wetscout import large
from wetscout.outputs import to_layers
from wetscout.pipeline import screen_array
from wetscout.prove import make_landscape
from wetscout.records import Screen
from wetscout.steps.plan import Plan


def same(one: Screen, other: Screen) -> None:
    for name in ("smooth", "today", "natural", "cautious", "corridor"):
        a, b = getattr(one.surfaces, name), getattr(other.surfaces, name)
        assert a.tobytes() == b.tobytes(), name
    assert len(one.linework.ditches) == len(other.linework.ditches)
    for a, b in zip(one.linework.ditches, other.linework.ditches, strict=True):
        assert a.row.tobytes() == b.row.tobytes() and a.bed_m.tobytes() == b.bed_m.tobytes()
    first, second = to_layers(one), to_layers(other)
    assert first.keys() == second.keys()
    for name, table in first.items():
        if name == "run":
            continue
        if "geometry" in table.columns:
            assert [g and g.wkb for g in table.geometry] == [g and g.wkb for g in second[name].geometry], name
        plain, other = (frame.drop(columns="geometry", errors="ignore") for frame in (table, second[name]))
        assert plain.to_csv() == other.to_csv(), name


def test_a_small_landscape_in_three_tilings():
    land = make_landscape("collectors through basins", 11, 1.0, 480.0)
    whole = screen_array(land.z, 1.0, plan=Plan(4096, 1))
    assert len(whole.linework.ditches) > 0
    for tile, workers in ((150, 2), (211, 1)):
        same(whole, screen_array(land.z, 1.0, plan=Plan(tile, workers)))


def test_arrays_on_disk_give_the_same_layers_as_in_memory(tmp_path, monkeypatch):
    land = make_landscape("collectors through basins", 11, 1.0, 480.0)
    z = land.z.copy()
    z[200:215, 100:140] = np.nan
    whole = screen_array(z, 1.0, plan=Plan(4096, 1))
    monkeypatch.setattr(large, "_STRIP_CELLS", 480 * 37)
    with large.on_disk(tmp_path, small_bytes=0, kept_bytes=1 << 20):
        other = screen_array(z, 1.0, plan=Plan(150, 2))
        assert other.surfaces.natural.base is not None
        same(whole, other)
    for name in ("z", "hole", "water", "faults"):
        assert getattr(whole.terrain, name).tobytes() == getattr(other.terrain, name).tobytes(), name


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["roads over ditches", "everything"])
def test_a_square_of_1500_cells_in_three_tilings(kind):
    land = make_landscape(kind, 5, 1.0, 1500.0)
    z = land.z.copy()
    z[700:720, 400:460] = np.nan
    whole = screen_array(z, 1.0, plan=Plan(4096, 1))
    assert len(whole.sites) > 0
    for tile, workers in ((300, 2), (511, 1)):
        same(whole, screen_array(z, 1.0, plan=Plan(tile, workers)))


def placed(screen: Screen, origin: tuple[int, int], keep: tuple[int, int, int, int]):
    """Sites whose pool lies within rows and columns of the whole, and their pools on it."""
    for site in screen.sites:
        row, col = site.pool.row0 + origin[0], site.pool.col0 + origin[1]
        h, w = site.pool.shape
        if row >= keep[0] and col >= keep[1] and row + h <= keep[2] and col + w <= keep[3]:
            pool = np.zeros((keep[2], keep[3]), dtype=bool)
            pool[row : row + h, col : col + w] = site.pool.mask
            yield site, pool


@pytest.mark.slow
def test_interior_sites_are_those_of_the_ground_cropped_anywhere():
    """At least 150 m from the cut: the same sites with spills to the bit.

    Not all is the same to the bit: lines that the cut shortens are sampled anew from their ends, which moves the filled
    ground under them by millimetres, and what lies beyond the cut (ditches upstream, steps downstream) is not told.
    """
    with rasterio.open(Path(__file__).parents[1] / "sample_data" / "dem.tif") as file:
        z, cell_m = file.read(1, masked=True).filled(np.nan).astype(np.float32), file.transform.a
    whole = screen_array(z, cell_m)
    seen = 0
    for _ in range(3):
        # differs from run to run
        top, left, low, right = (int(v) for v in np.random.default_rng().integers(1, 100, 4))
        cropped = screen_array(z[top : z.shape[0] - low, left : z.shape[1] - right].copy(), cell_m)
        ring = round(150.0 / cell_m)
        keep = top + ring, left + ring, z.shape[0] - low - ring, z.shape[1] - right - ring
        ones, others = list(placed(whole, (0, 0), keep)), list(placed(cropped, (top, left), keep))
        assert len(ones) == len(others), (top, left, low, right)
        for site, pool in ones:
            shared = [((pool & it).sum() / (pool | it).sum(), other) for other, it in others]
            share, other = max(shared, key=lambda pair: pair[0])
            assert share > 0.97, (top, left, low, right, site.site_id)
            assert other.values["spill_m"] == site.values["spill_m"]
            seen += 1
    assert seen > 5
