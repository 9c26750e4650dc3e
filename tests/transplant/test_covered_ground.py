"""Covered drains laid into real texture (issue 3, Must hold 4): what is found of them, told of soils and crops or not.

The ground is public lidar (see `realground/data.py`), the maps are invented (see `maps.py`), the truth is the basin as
it closes, filled by scikit-image.
"""

from __future__ import annotations

import numpy as np
import pytest

from .cases import IOWA, Case
from .covered import DEEPEST_M, LEAST_DEPTH_M, CoveredTransplant, Truth, transplant_covered
from .ground import fill
from .maps import CROPS, invent
from .score import Found
from .score_covered import MOUTH_WITHIN_M, Offer, Score, line_of, offers_of, score
from .test_cutter import bowls

CASES = (
    *(Case(name, to_m, seed) for name in IOWA for to_m in (0.0, 1.0) for seed in (1, 2, 3)),
    *(Case("in_fulton_5ft", 0.0, seed) for seed in (1, 2, 3)),
    Case("nl_oostrum_2m_core", 0.0, 1),
)


@pytest.fixture(scope="module")
def made() -> CoveredTransplant:
    return transplant_covered(bowls(), 1.0, seed=4, share=1.0)


def test_a_covered_drain_leaves_the_basin_closed(made: CoveredTransplant) -> None:
    """Bowls 1 m deep: the rim comes down by 0.1-0.4 m, the rest still closes; ridges take a little."""
    laid = [t for t in made.truths if t.mouth is not None]
    assert len(laid) == 2
    depth = fill(made.z) - made.z
    for t in laid:
        assert t.scored and t.depth_m >= LEAST_DEPTH_M
        assert t.depth_m == pytest.approx(1.0 - t.graded_m, abs=0.2)
        assert np.ptp((made.z + depth)[t.pool]) < 1e-9
        assert 20.0 <= t.mouth_out_m <= 300.0


def test_the_mouth_lies_in_the_head_of_an_open_ditch(made: CoveredTransplant) -> None:
    changed = made.z - made.untouched
    for t in made.truths:
        assert t.mouth is not None
        row, col = (round(v) for v in t.mouth)
        near = changed[row - 4 : row + 5, col - 4 : col + 5]
        assert -DEEPEST_M <= near.min() <= -0.6
        # above it nothing deeper than a graded rim or a trough
        assert changed[t.before].min() >= -0.4 - 0.15
    assert np.count_nonzero(changed < -0.5) > 60


def test_the_same_seed_lays_the_same_pipes() -> None:
    one, two, other = (transplant_covered(bowls(2.0), 2.0, seed=s, noise_m=0.02) for s in (5, 5, 6))
    assert np.array_equal(one.z, two.z) and not np.array_equal(one.z, other.z)


def test_maps_cover_the_ground_and_err(made: CoveredTransplant) -> None:
    wet = []
    for seed in range(40):
        soils, cover = invent(made, seed)
        assert cover.shape == made.z.shape
        assert soils.geometry.area.sum() == pytest.approx(made.z.size)
        row, col = (int(v.mean()) for v in np.nonzero(made.truths[0].before))
        wet.append((soils.hydclprs.max() > 50, cover[row, col] == CROPS))
    hydric, crops = np.mean(wet, axis=0)
    # two basins: one at least is shown hydric in 1 - 0.3^2 of the maps; crops 7 of 8 (40 draws, 3 sigma)
    assert 0.77 <= hydric <= 1.0 and 0.7 <= crops <= 1.0


def offer(pool: np.ndarray, mouths: tuple[tuple[float, float], ...] = ()) -> Offer:
    return Offer(Found(0, 0, pool, 1.0), "low", mouths)


def test_offers_are_scored(made: CoveredTransplant) -> None:
    a, b = made.truths
    assert a.mouth is not None
    away = np.zeros_like(a.pool)
    away[400:450, 20:80] = True
    got = score(made, [offer(a.pool, ((a.mouth[0] + 3.0, a.mouth[1] + 4.0),)), offer(away)])
    assert (got.drained, got.found, got.mouth_m, got.false_whole, got.elsewhere) == (2, 1, (5.0,), 0, 1)
    assert got.missed == (b,)
    assert "found 1 of 2" in line_of("x", [got]) and "precision 0.50" in line_of("x", [got])
    whole = transplant_covered(bowls(), 1.0, seed=4, share=0.0)
    assert score(whole, [offer(whole.truths[0].pool)]).false_whole == 1


def _screened(case: Case, told: bool) -> tuple[Score, list[Truth]]:
    from wetscout.ingest import from_array
    from wetscout.pipeline import screen_array
    from wetscout.settings import Settings
    from wetscout.steps.evidence import gather

    z, cell_m, only = case.ground()
    made = transplant_covered(z, cell_m, case.seed, noise_m=0.025 if case.to_m else 0.0, only=only)
    evidence = None
    if told:
        evidence = gather(from_array(made.z, cell_m).grid, *invent(made, case.seed), Settings())
    return score(made, offers_of(screen_array(made.z, cell_m, evidence=evidence))), list(made.truths)


@pytest.mark.slow
def test_covered_drains_in_real_texture() -> None:
    """Half of them at least, three of five offers right, mouths of half; terrain alone never says more than low."""
    told, bare = [], []
    for case in CASES:
        told.append(_screened(case, True)[0])
        bare.append(_screened(case, False)[0])
        print(line_of(f"{case.title}, told", told[-1:]))
        print(line_of(f"{case.title}, terrain alone", bare[-1:]))
    print(line_of("all, told", told))
    print(line_of("all, terrain alone", bare))
    drained, found = sum(s.drained for s in told), sum(s.found for s in told)
    false = sum(s.false_whole + s.elsewhere for s in told)
    mouths = [m for s in told for m in s.mouth_m]
    assert drained >= 20
    assert found >= 0.5 * drained
    assert found >= 0.6 * (found + false)
    assert sum(m <= MOUTH_WITHIN_M for m in mouths) >= 0.5 * found
    assert sum(s.above_low for s in bare) == 0
