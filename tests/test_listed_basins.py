"""Layer `basins`: nests without films of water, and each basin named with the one around it."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import ndimage

from wetscout.basins import tree_of
from wetscout.settings.sites import SiteSettings
from wetscout.steps.listed import basins_of, id_of, listed_nodes

S = SiteSettings()


def nests(seed: int):
    """Rough ground with many pools in each other, and which of them are looked at."""
    rng = np.random.default_rng(seed)
    wide, fine = (ndimage.gaussian_filter(rng.normal(size=(260, 260)), k) * k for k in (14.0, 2.0))
    z = (10.0 + wide + 0.2 * fine).astype(np.float32)
    tree = tree_of(z, min_depth_m=0.0)
    spill, floor = (tree.table[name].to_numpy() for name in ("spill_m", "floor_m"))
    looked = (spill - floor >= 0.05) & (tree.table["area_m2"].to_numpy() >= 40.0)
    m = SimpleNamespace(
        looked=looked, spill=spill, today=floor, floor=floor, cut=looked & (floor < 10), whole=looked & (floor >= 10),
        floor_at=tree.table[["floor_row", "floor_col"]].to_numpy(),
    )  # fmt: skip
    return tree, m


def ancestors(tree, i):
    parent = tree.table["parent"].to_numpy()
    out = []
    while parent[i] >= 0:
        i = int(parent[i])
        out.append(i)
    return out


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_listed_are_the_outermost_what_stands_clearly_lower_side_pools_and_what_is_named(seed: int) -> None:
    tree, m = nests(seed)
    area = tree.table["area_m2"].to_numpy()
    named = set(np.flatnonzero(m.looked)[::7].tolist()) | {int(np.flatnonzero(~m.looked)[0])}
    listed, around = listed_nodes(tree, m, named, S)
    assert m.looked.sum() > listed.sum() > 20
    for i in range(len(area)):
        up = next((k for k in ancestors(tree, i) if listed[k]), -1)
        assert around[i] == up
        film = up >= 0 and m.spill[up] - m.spill[i] < S.listed_step_m and 2.0 * area[i] >= area[up]
        assert listed[i] == (m.looked[i] and (i in named or not film))


def test_each_basin_names_the_smallest_listed_one_around_it() -> None:
    tree, m = nests(5)
    listed, around = listed_nodes(tree, m, set(), S)
    down = int(np.flatnonzero(listed)[3])
    basins, not_offered = basins_of(tree, m, listed, around, [(down, "too dry"), (-5, "no basin")])
    assert [(b.basin_id, b.reason) for b in not_offered] == [(id_of(down), "too dry")]
    by_id = {b.basin_id: b for b in basins}
    inner = [b for b in basins if b.values["parent_id"] is not None]
    assert len(inner) > 10 and len(inner) < len(basins)

    def cells(b):
        row, col = np.nonzero(b.pool.mask)
        return {*zip((row + b.pool.row0).tolist(), (col + b.pool.col0).tolist(), strict=True)}

    for b in inner:
        around = by_id[b.values["parent_id"]]
        assert cells(b) < cells(around) and b.values["spill_m"] <= around.values["spill_m"]
        between = [k for k in by_id.values() if cells(b) < cells(k) < cells(around)]
        assert not between
