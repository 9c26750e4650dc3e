"""The same answer, to the bit, for any tile size."""

from __future__ import annotations

import numpy as np
import pytest

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
