"""Seams: straight steps are found where they were planted, ground without them is left alone."""

from __future__ import annotations

import re

import numpy as np
import pytest
from ingest_ground import rolling, save

from wetscout.ingest import load
from wetscout.ingest.seams import Seam, find_seams
from wetscout.settings.ingest import IngestSettings


@pytest.mark.parametrize("step_m", [0.12, -0.4])
@pytest.mark.parametrize("turn", [False, True])
def test_a_planted_step_is_found_where_it_lies(step_m, turn):
    z = rolling(300, 1100)
    z[140:] -= np.float32(step_m)
    z = z.T if turn else z
    found = find_seams(np.ascontiguousarray(z), 0.1)
    assert len(found) == 1
    assert (found[0].along, found[0].index) == ("column" if turn else "row", 139)
    assert (found[0].begin, found[0].end) == (0, 1000)
    assert found[0].step_m == pytest.approx(-step_m, abs=0.02)


def test_no_seam_in_whole_ground_nor_at_a_ditch_or_road_along_a_row():
    z = rolling(400, 600)
    assert find_seams(z, 0.1) == []
    profile = np.interp(np.arange(400), [150, 152, 153, 155, 250, 256, 260, 266], [0, -0.8, -0.8, 0, 0, 1, 1, 0])
    assert find_seams(z + profile[:, None].astype(np.float32), 0.1) == []


def test_no_data_does_not_hide_a_seam_and_is_none():
    z = rolling(300, 600)
    z[140:] += np.float32(0.3)
    z[:, :150] = np.nan
    assert find_seams(z, 0.1) == [Seam("row", 139, 0, 500, pytest.approx(0.3, abs=0.02))]
    z[:, :] = np.nan
    assert find_seams(z, 0.1) == []


def test_load_tells_it_as_a_warning_with_its_place(tmp_path):
    z = rolling(300, 600)
    z[140:] += np.float32(0.3)
    notes = load([save(tmp_path / "d.tif", z, unit="m")], IngestSettings()).notes
    told = [note for note in notes if note.startswith("Warning: ")]
    assert len(told) == 1
    assert re.search(r"0\.(29|30|31) m at y = 4775860\.0 over 500 m", told[0])
