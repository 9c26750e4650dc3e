"""The landscapes of the first 25 kinds stay what they were, so that figures measured on them stay comparable."""

from __future__ import annotations

import pytest

from wetscout.prove import FALSE_FINDS, KINDS, make_landscape

# Mean and spread of the DEM, sum of a sparse set of its cells, mean of the opened ground [m], basins, ditches: seed 11,
# 320 m at 1 m cells, as first measured; the opened ground of six again since ditches that end beneath a road are
# opened to their ends. Rounded, because other machines' sin and exp differ in the last bit.
FIRST = {
    "rolling till plain": (55.75054, 0.34825, 4015.689, 55.74900, 3, 8),
    "flat lake plain": (32.46435, 0.30700, 2335.637, 32.46160, 0, 6),
    "old ditches": (42.05628, 0.42017, 3030.846, 42.05516, 2, 7),
    "old ditches on lake plain": (49.97530, 0.37699, 3600.262, 49.97438, 1, 8),
    "crooked outlets": (56.68951, 0.48697, 4087.969, 56.68764, 4, 7),
    "spoil banks": (57.93628, 0.28803, 4172.550, 57.93421, 2, 7),
    "roads over ditches": (46.72797, 0.77959, 3351.626, 46.72403, 1, 7),
    "roadside ditches": (62.19835, 0.51417, 4477.335, 62.19538, 3, 16),
    "roads on lake plain": (49.21695, 0.39526, 3544.975, 49.21083, 4, 8),
    "stream valley": (64.45312, 0.56289, 4645.539, 64.45255, 1, 1),
    "natural levee": (38.33855, 0.38358, 2757.780, 38.33864, 0, 1),
    "dug ponds": (37.82229, 0.50944, 2726.613, 37.82062, 2, 8),
    "shallow basins": (53.47984, 0.41306, 3848.148, 53.47862, 6, 8),
    "small basins": (60.50956, 0.56589, 4361.993, 60.50724, 5, 11),
    "collectors through basins": (53.04926, 0.46170, 3824.179, 53.04508, 1, 9),
    "chain on a passing ditch": (64.21930, 0.26190, 4626.124, 64.21762, 2, 6),
    "all drained": (36.87413, 0.36466, 2656.156, 36.87113, 1, 7),
    "few drained": (31.76448, 0.42114, 2287.398, 31.76253, 3, 8),
    "none drained": (50.50018, 0.57050, 3634.511, 50.50050, 0, 4),
    "none drained on lake plain": (57.72577, 0.22535, 4156.092, 57.72578, 4, 8),
    "ditches but none drained": (49.82247, 0.47269, 3582.949, 49.81995, 1, 6),
    "noise and furrows": (59.91561, 0.45297, 4316.136, 59.91458, 3, 5),
    "deep basins": (31.80032, 0.62596, 2287.500, 31.79983, 2, 6),
    "steep till": (64.27064, 0.90953, 4621.202, 64.27052, 0, 2),
    "everything": (43.11959, 0.72494, 3114.294, 43.11479, 1, 8),
}


@pytest.mark.parametrize("kind", FIRST)
def test_older_kinds_are_unchanged(kind: str) -> None:
    land = make_landscape(kind, 11, 1.0, 320.0)
    z = land.z.astype(float)
    seen = (z.mean(), z.std(), z[::37, ::41].sum(), land.opened.astype(float).mean())
    mean, std, sparse, opened, basins, ditches = FIRST[kind]
    assert seen == (
        pytest.approx(mean, abs=2e-5),
        pytest.approx(std, abs=2e-5),
        pytest.approx(sparse, abs=2e-3),
        pytest.approx(opened, abs=2e-5),
    )
    assert (len(land.basins), len(land.ditches)) == (basins, ditches)
    # nothing was done to rims and floors there: one truth, not two
    assert land.original is None and land.covered == ()


def test_they_are_the_first_kinds() -> None:
    assert tuple(FIRST) == KINDS[: len(FIRST)]


def test_names_can_be_listed_on_the_command_line() -> None:
    """`--kinds` takes names parted by commas."""
    assert not any("," in kind for kind in (*KINDS, *FALSE_FINDS))
