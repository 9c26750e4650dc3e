"""Ground that no survey saw: invented gaps, filled by general interpolation (scipy), in rough ground; then real ground.

A gap filled by a linear interpolation over triangles (Delaunay) shows facets; one filled by the membrane equation is
smooth. What was cut out is known to the cell, so the answer is.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from ingest_ground import rolling, save
from realground.data import dem
from scipy import ndimage, sparse
from scipy.interpolate import griddata
from scipy.sparse.linalg import spsolve

from wetscout import large
from wetscout.ingest import check, faults, from_array, load
from wetscout.ingest.seams import find_seams
from wetscout.pipeline import screen_array
from wetscout.ranking.row_words import on_unseen_ground
from wetscout.records import FAULT_FACETS, FAULT_LEVEL, FAULT_SEAM, FAULT_SMOOTH, Basin, Patch, Site
from wetscout.settings.ingest import IngestSettings
from wetscout.steps.faults import mark_faults

S = IngestSettings()
UNSEEN = FAULT_SMOOTH | FAULT_FACETS


def gap(shape, row, col, half, cell_m=1.0):
    """A round gap; `half` [m]."""
    r, c = np.ogrid[: shape[0], : shape[1]]
    return np.hypot(r - row, c - col) * cell_m <= half


def membrane(z, hole):
    """Fill a gap so that each cell is the mean of its four neighbours; the gap may not touch the border."""
    rows, cols = np.nonzero(hole)
    number = np.full(z.shape, -1)
    number[rows, cols] = np.arange(rows.size)
    matrix = sparse.lil_matrix((rows.size, rows.size))
    right = np.zeros(rows.size)
    for k, (r, c) in enumerate(zip(rows, cols, strict=True)):
        matrix[k, k] = 4.0
        for a, b in ((r - 1, c), (r + 1, c), (r, c - 1), (r, c + 1)):
            if number[a, b] >= 0:
                matrix[k, number[a, b]] = -1.0
            else:
                right[k] += z[a, b]
    out = z.copy()
    out[hole] = spsolve(matrix.tocsc(), right)
    return out


def facets(z, hole, every=7, seed=0):
    """Leave one point in every square of `every` cells in a gap and join them by triangles."""
    rng = np.random.default_rng(seed)
    keep = ~hole
    for r in range(0, z.shape[0], every):
        for c in range(0, z.shape[1], every):
            at = min(r + int(rng.integers(every)), z.shape[0] - 1), min(c + int(rng.integers(every)), z.shape[1] - 1)
            keep[at] = True
    keep &= ndimage.binary_dilation(hole, iterations=every)
    rows, cols = np.nonzero(keep)
    out = z.copy()
    out[hole] = griddata((rows, cols), z[keep].astype(np.float64), np.nonzero(hole), "linear")
    return out


def mask_of(z, cell_m=1.0, water=None):
    none = np.zeros(z.shape, dtype=bool)
    return faults.fault_mask(z, none if water is None else water, find_seams(z, S.seam_m), cell_m, S)


@pytest.mark.parametrize("cell_m", [1.0, 1.524, 2.0, 3.0])
@pytest.mark.parametrize("noise_m", [0.02, 0.05])
def test_rough_ground_has_none(cell_m, noise_m):
    assert not mask_of(rolling(260, 240, seed=4, noise_m=noise_m, cell_m=cell_m), cell_m).any()


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_a_smooth_gap_is_found_and_nothing_else(cell_m):
    z = rolling(220, 240, seed=1, cell_m=cell_m)
    hole = gap(z.shape, 100, 120, 40.0, cell_m)
    found = mask_of(membrane(z, hole), cell_m) & FAULT_SMOOTH > 0
    assert np.count_nonzero(found & hole) >= 0.7 * np.count_nonzero(hole)
    assert np.count_nonzero(found & ~hole) == 0


@pytest.mark.parametrize("every", [7, 11])
def test_facets_are_told_from_smooth_fill(every):
    z = rolling(220, 240, seed=2)
    hole = gap(z.shape, 100, 120, 45.0)
    found = mask_of(facets(z, hole, every))
    assert np.count_nonzero((found & FAULT_FACETS > 0) & hole) >= 0.5 * np.count_nonzero(hole)
    assert np.count_nonzero((found & UNSEEN > 0) & ~hole) <= 0.05 * np.count_nonzero(hole)
    assert not (found & FAULT_SMOOTH).any()


def test_seams_and_water_have_bits_of_their_own():
    z = rolling(300, 600)
    z[140:] += np.float32(0.3)
    water = gap(z.shape, 60, 100, 15.0)
    found = mask_of(z, water=water)
    assert ((found & FAULT_LEVEL > 0) == water).all()
    rows = np.flatnonzero((found & FAULT_SEAM > 0).any(axis=1))
    assert (rows[0], rows[-1]) == (130, 149)
    assert (found[130:150, :500] & FAULT_SEAM > 0).all()
    assert not (found & UNSEEN).any()


def test_a_raster_too_smooth_to_tell_and_ground_without_data_stay_silent():
    smooth = rolling(200, 200, noise_m=0.0005)
    assert not mask_of(smooth).any()
    # a flat field with heights rounded to 1 cm is level from cell to cell, and yet as surveyed
    field = rolling(200, 200, noise_m=0.02)
    field[50:150, 50:150] = 380.0 + np.random.default_rng(1).normal(0.0, 0.003, (100, 100))
    assert not (mask_of(np.round(field, 2)) & UNSEEN).any()
    assert not mask_of(np.full((50, 50), np.nan, dtype=np.float32)).any()
    assert not mask_of(np.zeros((2, 2), dtype=np.float32)).any()


def test_bend_is_the_greatest_second_difference_and_shares_are_counts():
    rng = np.random.default_rng(3)
    z = rng.normal(size=(9, 11)).astype(np.float32)
    z[2, 3] = np.nan
    got = faults.bend(z)
    for r in range(9):
        for c in range(11):
            if not (0 < r < 8 and 0 < c < 10):
                assert np.isnan(got[r, c])
                continue
            steps = ((0, 1), (1, 0), (1, 1), (1, -1))
            want = max(abs(z[r + i, c + j] + z[r - i, c - j] - 2.0 * z[r, c]) for i, j in steps)
            if np.isnan([z[r + i, c + j] for i in (-1, 0, 1) for j in (-1, 0, 1)]).any():
                assert np.isnan(got[r, c])
            else:
                assert got[r, c] == pytest.approx(want, abs=1e-6)


def test_the_answer_does_not_depend_on_the_strips(monkeypatch):
    z = rolling(220, 240, seed=1)
    z = facets(membrane(z, gap(z.shape, 60, 70, 35.0)), gap(z.shape, 150, 160, 40.0))
    whole = mask_of(z)
    assert whole.any()
    for rows in (17, 64):
        monkeypatch.setattr(large, "_STRIP_CELLS", 240 * rows)
        assert (mask_of(z) == whole).all()


def test_sites_and_basins_carry_words_and_a_site_on_such_ground_is_less_sure():
    z = rolling(220, 240, seed=1)
    hole = gap(z.shape, 100, 120, 40.0)
    terrain = from_array(membrane(z, hole), 1.0)
    on, off = Patch(80, 100, np.ones((40, 40), dtype=bool)), Patch(5, 5, np.ones((30, 30), dtype=bool))
    made = [Site(n, p, None, (), (), (), {"confidence": "high"}) for n, p in (("a", on), ("b", off))]
    sites, basins = mark_faults(tuple(made), (Basin("c", on), Basin("d", off)), terrain, S)
    assert [site.values["survey_flags"] for site in sites] == ["smooth filled-in ground", None]
    assert [site.values["confidence"] for site in sites] == ["medium", "high"]
    assert [basin.values["survey_flags"] for basin in basins] == ["smooth filled-in ground", None]
    assert "smooth filled-in survey ground" in on_unseen_ground(sites[0])[0]
    assert on_unseen_ground(sites[1]) == []
    kept, _ = mark_faults(tuple(made), (), replace(terrain, faults=None), S)
    assert [site.values["confidence"] for site in kept] == ["high", "high"]


def test_load_and_check_tell_how_much(tmp_path):
    z = rolling(220, 240, seed=1)
    path = save(tmp_path / "d.tif", membrane(z, gap(z.shape, 100, 120, 40.0)), unit="m")
    notes = [note for note in load([path], S).notes if "smooth ground" in note]
    assert len(notes) == 1 and notes[0].startswith("Warning: ") and "guesses" in notes[0]
    report = check.preflight([path])
    assert report.facts["Survey"].endswith(" m2 smooth filled-in ground")
    assert 3500.0 <= report.values["faults_m2"]["smooth"] <= 5100.0


@pytest.mark.slow
@pytest.mark.parametrize("name", ["nl_oostrum_2m_core", "in_fulton_5ft", "ia_hoffman_3m"])
def test_real_ground_shows_its_water_and_an_added_gap_and_nothing_else(name):
    terrain = from_array(*dem(name))
    assert not (terrain.faults & UNSEEN).any()
    cell_m = terrain.grid.cell_m
    known = np.isfinite(terrain.z)
    row, col = next(
        (r, c)
        for r in range(40, terrain.z.shape[0] - 40, 10)
        for c in range(40, terrain.z.shape[1] - 40, 10)
        if known[r - 30 : r + 31, c - 30 : c + 31].all() and not terrain.water[r - 30 : r + 31, c - 30 : c + 31].any()
    )
    # 25 cells: the rim of a gap takes the noise of the ground beside it for some cells
    hole = gap(terrain.z.shape, row, col, 25.0 * cell_m, cell_m)
    found = mask_of(membrane(terrain.z, hole), cell_m, terrain.water) & UNSEEN > 0
    assert np.count_nonzero(found & hole) >= 0.6 * np.count_nonzero(hole)
    assert np.count_nonzero(found & ~hole) <= 0.05 * np.count_nonzero(hole)


def test_a_screen_of_ground_with_a_gap_says_so_in_its_layers():
    z = rolling(160, 160, seed=1, noise_m=0.02)
    hole = gap(z.shape, 80, 80, 35.0)
    screen = screen_array(membrane(z, hole), 1.0)
    told = {basin.values["survey_flags"] for basin in screen.basins}
    assert told <= {None, "smooth filled-in ground"} and len(screen.basins) > 0
