"""The cutter itself: exact on ground of closed form, honest about what it did."""

from __future__ import annotations

import numpy as np
import pytest

from .cutter import MAX_CUT_M, Transplant, transplant
from .ground import closed_basins, fill, held_by_bank, resample
from .score import Found, offered_of, score_transplant


def bowls(cell_m: float = 1.0) -> np.ndarray:
    """Two paraboloid basins, 1 m deep with rims of 50 m radius, on a plain that falls 0.4 % to the south."""
    n = round(500 / cell_m)
    y, x = np.meshgrid((np.arange(n) + 0.5) * cell_m, (np.arange(n) + 0.5) * cell_m, indexing="ij")
    z = 20.0 - 0.004 * y
    for cy, cx in ((150.0, 160.0), (260.0, 340.0)):
        r = np.hypot(y - cy, x - cx)
        rim = 20.0 - 0.004 * cy
        bowl = rim - 1.0 + (r / 50.0) ** 2
        shoulder = rim - 0.02 * (r - 50.0)
        z = np.where(r <= 50.0, bowl, np.maximum(z, np.where(r < 120.0, shoulder, -99.0)))
    return z


@pytest.fixture(scope="module")
def made() -> Transplant:
    return transplant(bowls(), 1.0, seed=3, share=1.0)


def test_paraboloid_volume_and_area() -> None:
    """Paraboloid z = (r / 50)^2 filled to depth h: area pi 50^2 h, volume pi 50^2 h^2 / 2 (closed form)."""
    found = closed_basins(bowls(), 1.0)
    assert len(found) == 2
    for basin in found:
        h = basin.depth_m
        assert 0.95 < h < 1.0
        assert abs(basin.area_m2 / (np.pi * 50**2 * h) - 1) < 0.01
        assert abs(basin.volume_m3 / (np.pi * 50**2 * h**2 / 2) - 1) < 0.01


def test_fill_leaves_unknown_ground_as_an_outlet() -> None:
    z = bowls()
    z[150, 160] = np.nan
    assert np.nansum(fill(z)[100:200, 110:210] - z[100:200, 110:210]) < 1.0


@pytest.mark.parametrize(("width", "bank"), [(8.0, True), (60.0, False)])
def test_what_only_a_bank_holds_is_told_by_its_width(width: float, bank: bool) -> None:
    """A flat field with a ring of 0.5 m around it, as wide as a bank or as a natural rim."""
    y, x = np.mgrid[0:300, 0:300].astype(float)
    r = np.hypot(y - 150.0, x - 150.0)
    z = 10.0 - 0.0005 * np.abs(r - 5.0) + np.where((r > 40.0) & (r < 40.0 + width), 0.5, 0.0)
    z -= np.where(r > 40.0 + width, 0.05, 0.0)
    found = closed_basins(z, 1.0)
    assert len(found) == 1
    assert held_by_bank(z, 1.0, found[0].pool, found[0].spill_m, found[0].floor_m) is bank


def test_cut_drains_and_bed_falls(made: Transplant) -> None:
    assert [t.state for t in made.truths] == ["drained", "drained"]
    for t in made.truths:
        assert t.line is not None
        assert (np.diff(t.line.bed_m) < 0).all()
        assert t.line.bed_m[0] < t.floor_m
        assert t.lost_share > 0.9
        assert len(t.rim_row) > 0
        row, col = np.rint(t.line.row).astype(int), np.rint(t.line.col).astype(int)
        cut = made.untouched[row, col] - t.line.bed_m
        assert cut.max() <= MAX_CUT_M + 0.1
        assert (made.untouched - made.z)[row, col].max() > t.spill_m - t.floor_m


def test_road_closes_the_cut_in_the_dem_only() -> None:
    roads = 0
    for seed in range(6):
        t = transplant(bowls(), 1.0, seed=seed, share=1.0)
        roads += sum(x.road for x in t.truths)
        for x in t.truths:
            if x.road:
                assert (t.z - t.untouched).max() > 0.8
                assert x.state == "drained"
    assert 3 <= roads <= 5  # a third of twelve ditches


def test_same_seed_same_ground_other_seed_other_ground() -> None:
    a, b, c = (transplant(bowls(2.0), 2.0, seed=s, noise_m=0.02) for s in (5, 5, 6))
    assert np.array_equal(a.z, b.z) and not np.array_equal(a.z, c.z)
    assert np.array_equal(a.truths[0].pool, b.truths[0].pool)


def test_coarse_cells_average_the_section() -> None:
    """The soil taken out does not depend on the cell size (mean over sub-cells), within a tenth."""
    out = []
    for cell in (1.0, 3.0):
        z = resample(bowls(3.0), 3.0, cell)
        t = transplant(z, cell, seed=1, share=1.0)
        out.append(
            np.clip(t.untouched - t.z, 0, None).sum() * cell**2 / sum(len(x.line.row) for x in t.truths if x.line)
        )
    assert abs(out[0] / out[1] - 1) < 0.1


def test_score_knows_hits_misses_and_false_offers(made: Transplant) -> None:
    a, b = made.truths
    perfect = Found(0, 0, a.pool, a.spill_m + 0.1, ((float(a.rim_row[0]), float(a.rim_col[0])),))
    away = np.zeros_like(a.pool)
    away[400:450, 20:80] = True
    score = score_transplant(made, [perfect, Found(0, 0, away, 1.0)])
    assert [m.hit for m in score.matches] == [True, False]
    assert abs(score.matches[0].spill_error_m - 0.1) < 1e-9 and score.matches[0].plug_m == 0.0
    assert score.elsewhere == (1,) and score.on_whole == ()
    half = b.pool.copy()
    half[: int(np.nonzero(b.pool)[0].mean()) + 8] = False
    assert not score_transplant(made, [Found(0, 0, half, b.spill_m)]).matches[1].hit
    assert offered_of(made, [Found(0, 0, half, b.spill_m)]) == [1]


def test_offers_on_basins_left_whole_are_counted() -> None:
    made = transplant(bowls(), 1.0, seed=3, share=0.0)
    assert {t.state for t in made.truths} == {"whole"}
    score = score_transplant(made, [Found(0, 0, made.truths[0].pool, 1.0)])
    assert score.on_whole == (0,) and not score.matches
