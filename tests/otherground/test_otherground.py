"""The second maker's answers are right: closed forms, an independent filling, and scores that can go both ways.

Sources: paraboloid area and volume are closed forms; filling is compared with topotoolbox's `fillsinks` (a general
library). The ranges of item 11 of the issue are the project's own.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import topotoolbox
from rasterio.transform import Affine

from .covered import lay_pipes
from .dig import FINE, Line, Section, carve, dense, finer
from .flood import filled, hollows, pool_of
from .ground import Natural, natural_ground
from .ground_more import MORE
from .make import KINDS, Other, make, pooled
from .maps import map_of
from .plan import Kind, Plan, section_of
from .report import part, precision, summary
from .score import score
from .specimens import BUILDERS, HALF_M, Spot
from .texture import stripes
from .truth import Sheet, truths_of

N = 160
LEVEL = 10.0


def bowl(radius: float = 40.0, deep: float = 1.0, at: tuple[float, float] = (80.0, 80.0)) -> np.ndarray:
    """Level ground with a paraboloid in it, a rim 0.5 m high round it, falling away outside."""
    rr, cc = np.mgrid[:N, :N].astype(float)
    d = np.hypot(rr - at[0], cc - at[1])
    return np.where(d < radius, LEVEL - deep + deep * (d / radius) ** 2, LEVEL - 0.01 * (d - radius))


def test_paraboloid_has_its_closed_form():
    (one,) = hollows(bowl())
    assert one.floor_at == (80, 80)
    assert one.spill_m == pytest.approx(LEVEL, abs=0.03)
    assert one.cells == pytest.approx(np.pi * 40**2, rel=0.04)
    assert one.volume_cells_m == pytest.approx(np.pi * 40**2 * 1.0 / 2, rel=0.06)


def test_two_floors_in_one_hollow_are_told_apart():
    rr, cc = np.mgrid[:N, :N]
    wide = np.hypot(rr - 80.0, cc - 80.0)
    z = np.where(wide < 60, LEVEL - 0.3, LEVEL - 0.01 * (wide - 60))
    for deep, col in ((0.8, 60.0), (0.5, 100.0)):
        z -= deep * np.clip(1 - (np.hypot(rr - 80.0, cc - col) / 19) ** 2, 0, None)
    inner, other, outer = sorted(hollows(z), key=lambda h: h.cells)
    assert {inner.parent, other.parent} == {outer.number}
    assert outer.parent == -1
    assert outer.spill_m == pytest.approx(LEVEL, abs=0.03)
    assert {round(inner.floor_m, 1), round(other.floor_m, 1)} == {LEVEL - 1.1, LEVEL - 0.8}


@pytest.mark.parametrize("seed", [1, 2])
def test_hollows_hold_what_an_independent_filling_says(seed: int):
    rng = np.random.default_rng(seed)
    z = rng.normal(0, 1, (90, 90)).cumsum(0).cumsum(1)
    z = np.ascontiguousarray((z / np.ptp(z)).astype(np.float32))
    dem = topotoolbox.GridObject()
    dem.z, dem.cellsize = z, 1.0
    full = np.asarray(dem.fillsinks().z, float)
    assert np.array_equal(filled(z.astype(float)), full)
    outer = [h for h in hollows(z, 1e-9) if h.parent < 0]
    assert outer
    assert sum(h.volume_cells_m for h in outer) == pytest.approx((full - z).sum(), rel=1e-6)
    for h in outer:
        assert full[h.floor_at] == pytest.approx(h.spill_m, abs=1e-6)
        assert pool_of(z, h.floor_at, h.spill_m).sum() == h.cells


def drained_bowl(bed_m: float) -> tuple[np.ndarray, np.ndarray, Line]:
    """The bowl with a ditch from its middle to the right edge; ground, brim-full water after digging, the ditch."""
    z = bowl()
    at = dense(np.array([[80.0, 80.0], [80.0, float(N)]]))
    line = Line("lateral", at, np.linspace(bed_m, bed_m - 0.02, len(at)), Section(1.0, 1.5))
    fine = finer(z)
    carve(fine, line)
    return z, filled(pooled(fine, FINE, "min")), line


@pytest.mark.parametrize(("bed", "state", "lost"), [(8.9, "drained", 1.0), (9.5, "partly", 0.5), (9.95, "whole", 0.05)])
def test_what_a_ditch_of_known_bed_takes_is_exact(bed: float, state: str, lost: float):
    z, water, line = drained_bowl(bed)
    (truth,) = truths_of(z, water, hollows(z), [line], Sheet(0, N, 1.0))
    assert truth.state == state
    assert truth.lost == pytest.approx(lost, abs=0.03)
    assert truth.upstream_m == 0
    if state == "drained":
        (way,) = truth.crossings
        assert not way.entering
        assert way.col[0] == pytest.approx(120, abs=2)
        assert np.allclose(way.row, 80)


def test_a_ditch_is_as_wide_and_deep_as_asked():
    z = np.full((N, N), LEVEL)
    line = Line("lateral", dense(np.array([[80.0, 10.0], [80.0, 150.0]])), np.full(281, LEVEL - 1.2), Section(2.0, 1.5))
    fine = finer(z)
    carve(fine, line)
    across = fine[:, N]
    assert across.min() == pytest.approx(LEVEL - 1.2)
    # bed and two sides of 1.5 : 1, closed form
    assert (across < LEVEL - 1e-9).sum() / FINE == pytest.approx(2.0 + 2 * 1.5 * 1.2, abs=1.0)
    assert (LEVEL - across).sum() / FINE == pytest.approx(1.2 * (2.0 + 1.5 * 1.2), rel=0.03)


def by_hand() -> Other:
    """Two bowls with closed forms; a ditch drains the first, the second is whole."""
    z = np.full((N, N), LEVEL)
    rr, cc = np.mgrid[:N, :N]
    for col in (45.0, 115.0):
        z -= 0.8 * np.clip(1 - (np.hypot(rr - 80.0, cc - col) / 22) ** 2, 0, None)
    z -= 0.002 * np.clip(np.abs(rr - 80.0) - 30, 0, None)
    at = dense(np.array([[80.0, 45.0], [N + 0.0, 45.0]]))
    line = Line("lateral", at, np.full(len(at), 9.0), Section(1.0, 1.5))
    fine = finer(z)
    carve(fine, line)
    open_ground = pooled(fine, FINE, "min")
    water = filled(open_ground)
    truths = truths_of(z, water, hollows(z), [line], Sheet(0, N, 1.0))
    return Other(z.astype(np.float32), 1.0, z, z, water, open_ground, tuple(truths), Plan([line]), "by hand", 0)


def perfect(other: Other, state: str = "drained", shift: int = 0) -> SimpleNamespace:
    """A screen that offers every hollow of a state with its true numbers, the pools moved by some rows."""
    sites = []
    for t in other.truths:
        if t.state == state:
            values = {"spill_m": t.spill_m, "volume_m3": t.volume_m3, "pool_m2": t.area_m2}
            plugs = [SimpleNamespace(values={"_row": c.row[0], "_col": c.col[0]}) for c in t.crossings]
            pool = SimpleNamespace(row0=t.row0 + shift, col0=t.col0, mask=t.mask)
            sites.append(SimpleNamespace(pool=pool, values=values, plugs=plugs))
    return SimpleNamespace(sites=sites, not_offered=[], basins=[])


def test_a_screen_that_knows_the_answer_scores_full():
    other = by_hand()
    assert sorted(t.state for t in other.truths) == ["drained", "whole"]
    best = score(other, perfect(other))
    (hit,) = best.families
    assert hit.same_level
    assert (hit.iou, hit.spill_error_m, hit.volume_error, hit.plugs_m) == (1.0, 0.0, 0.0, (0.0,))
    assert best.false == ()
    assert precision([best]) == (1, 1)
    assert part(best.families) == "1/1"


def test_a_blind_screen_and_one_that_looks_beside_find_nothing():
    other = by_hand()
    none = score(other, SimpleNamespace(sites=[], not_offered=[], basins=[]))
    assert part(none.families) == "0/1"
    assert precision([none]) == (0, 0)
    beside = score(other, perfect(other, shift=36))
    assert part(beside.families) == "0/1"
    assert precision([beside]) == (0, 1)
    assert len(summary([none, beside])) == 10


def test_a_site_on_a_whole_hollow_is_false():
    other = by_hand()
    (wrong,) = score(other, perfect(other, "whole")).false
    assert wrong.lies_on.startswith("whole hollow")


def test_a_covered_drain_leaves_a_shallower_hollow_that_closes():
    z = bowl(22, 0.8)
    found = hollows(z)
    rng, plan = np.random.default_rng(1), Plan()
    asis, (pipe,) = lay_pipes(rng, Natural(z, None), Kind("till", covered=1.0), found, plan)
    (truth,) = truths_of(asis, filled(asis), hollows(asis), plan.lines, Sheet(0, N, 1.0), [pipe])
    assert (truth.state, truth.lost, truth.pipe) == ("covered", 0.0, 0)
    # by the ranges: rim down by up to 0.4 m, floor up by 0.1 to 0.3 m, trench uneven by up to 0.15 m
    assert 0.8 - 0.4 - 0.3 - 0.15 <= truth.depth_m <= 0.8 - 0.1 + 0.02
    assert (np.diff(pipe.bed_m) <= 1e-9).all()
    assert pipe.bed_m[0] < z.min()
    far = np.hypot(pipe.mouth[0] - 80, pipe.mouth[1] - 80)
    assert far > 22 + 20


def test_maps_cover_the_ground_and_mark_more_wet_soil_in_hollows():
    z = bowl(60, 0.8)
    inside = np.hypot(*(np.mgrid[:N, :N] - 80)) < 45
    shares = []
    for seed in range(6):
        maps = map_of(np.random.default_rng(seed), z, hollows(z), {0}, set())
        wet = maps.soil == 2
        shares.append((wet[inside].mean(), wet[~inside].mean()))
        soils = maps.soils(1.0, Affine(1.0, 0.0, 0.0, 0.0, -1.0, float(N)))
        assert set(soils.drclassdcd) <= {"Well drained", "Moderately well drained", "Poorly drained"}
        assert soils.area.sum() == pytest.approx(N * N)
    within, beside = np.mean(shares, axis=0)
    assert within > 2 * beside


def test_the_same_landscape_comes_back():
    one, again = (make(4, "crevasse", 1.0, 300) for _ in range(2))
    assert np.array_equal(one.z, again.z)
    assert [t.spill_m for t in one.truths] == [t.spill_m for t in again.truths]


@pytest.mark.parametrize("kind", ["none", "none-plain"])
def test_nothing_is_drained_where_nobody_dug(kind: str):
    other = make(1, kind, 2.0, 300)
    assert not [t for t in other.truths if t.state == "drained" and not any(c.line >= 0 for c in t.crossings)]
    assert KINDS[kind].drained == 0
    assert other.z.shape == (150, 150)


@pytest.mark.parametrize("kind", sorted(BUILDERS))
def test_a_specimen_stays_in_its_square_and_changes_the_ground(kind: str):
    rr, cc = np.mgrid[:240, :240].astype(float)
    z = 20.0 - 0.01 * rr + 0.002 * cc
    fine = finer(z)
    before = fine.copy()
    BUILDERS[kind](np.random.default_rng(3), fine, z, Spot((120.0, 120.0), (1.0, 0.0)))
    changed = np.abs(pooled(fine - before, FINE)) > 0.05
    assert changed.sum() > 50
    rows, cols = np.nonzero(changed)
    # a line's outermost station is 88 m from the middle, its bank a few metres farther
    assert max(np.abs(rows - 120).max(), np.abs(cols - 120).max()) <= HALF_M + 15


@pytest.mark.parametrize("kind", sorted(MORE))
def test_grounds_of_wind_and_rivers_hold_water(kind: str) -> None:
    z = natural_ground(np.random.default_rng(3), kind, 700).z
    outer = [h for h in hollows(z) if h.parent < 0 and h.cells >= 400 and h.spill_m - h.floor_m >= 0.15]
    assert len(outer) >= 2
    assert np.isfinite(z).all() and 1.0 < np.ptp(z) < 20.0


def test_flight_lines_disagree_by_centimetres_in_bands() -> None:
    z = stripes(np.random.default_rng(4), 400, 0.02)
    assert 0.005 < z.std() < 0.06
    # most of it lies in the bands: means over 20 m still differ
    assert z.reshape(20, 20, 20, 20).mean((1, 3)).std() > 0.5 * z.std()


def test_styles_of_ditches_reach_beyond_the_usual() -> None:
    drawn = [section_of(np.random.default_rng(k), Kind("crevasse", old=0.0, styles=True), False) for k in range(60)]
    usual = [section_of(np.random.default_rng(k), Kind("crevasse", old=0.0), False) for k in range(60)]
    assert min(s.bed_width_m for s in drawn) < 0.5 <= min(s.bed_width_m for s in usual)
    assert max(s.side for s in drawn) > 3.9
    assert max(s.side for s in usual) < 2.1
