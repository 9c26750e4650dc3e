"""Names of sites: made from the place, kept over re-runs."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from outputs_screens import UTM, basin, disc, grid, screen, site

from wetscout.errors import InputError
from wetscout.grid import Grid
from wetscout.outputs.ids import assign_ids, place_name
from wetscout.outputs.layers import to_layers
from wetscout.outputs.result import open_screen
from wetscout.outputs.write import write_layers
from wetscout.records import Plug, Screen


def names(made: Screen) -> list[str]:
    return [item.site_id for item in made.sites]


def rerun(old: Screen, new: Screen) -> tuple[Screen, dict[str, int]]:
    layers = to_layers(old)
    return assign_ids(new, layers["sites"], layers["plugs"])


def test_name_is_floor_in_metres_and_two_letters() -> None:
    made, counts = assign_ids(screen(sites=(site("t1", 20, 20),)))
    assert re.fullmatch(r"500020_4599979_[a-z]{2}", names(made)[0])
    assert counts == {"kept": 0, "new": 1, "lost": 0}
    assert made.run["ids"] == counts
    plug = made.sites[0].plugs[0]
    assert (plug.plug_id, plug.site_id) == (f"{names(made)[0]}-1", names(made)[0])
    assert names(made)[0] == place_name(grid(), (20, 20), (20, 27))


def test_name_does_not_depend_on_where_the_raster_begins() -> None:
    """The same ground from a raster that starts 7 rows and 9 columns earlier."""
    one, _ = assign_ids(screen(grid(), (site("x", 20, 20),)))
    two, _ = assign_ids(screen(grid(x0=500000.0 - 9, y0=4600000.0 + 7), (site("y", 27, 29),)))
    assert names(one) == names(two)


def test_name_is_in_metres_on_a_grid_in_feet() -> None:
    foot = 1200.0 / 3937.0
    place = Grid(60, 80, 1640416.0, 15091863.0, 5.0, 5.0, 5.0 * foot, UTM)
    made, _ = assign_ids(screen(place, (site("x", 20, 20),)))
    x = (1640416.0 + 20.5 * 5.0) * foot
    assert names(made)[0].startswith(f"{int(x)}_")


def test_negative_coordinates_make_a_name() -> None:
    made, _ = assign_ids(screen(grid(x0=-50.0, y0=10.0), (site("x", 20, 20),)))
    assert re.fullmatch(r"-30_-11_[a-z]{2}", names(made)[0])


def test_collision_takes_the_next_letters_in_spill_order() -> None:
    """Three sites over one floor whose spill cell is the same: only the spill level tells them apart."""
    low, mid, high = (
        site(key, 20, 20, radius=size, spill_m=level, _spill_row=20, _spill_col=30)
        for key, size, level in (("q", 4, 99.8), ("r", 6, 100.2), ("s", 8, 100.9))
    )
    made, _ = assign_ids(screen(sites=(high, low, mid)))
    by_level = {item.values["spill_m"]: item.site_id[-2:] for item in made.sites}
    alphabet = "abcdefghjkmnpqrstuvwxyz"
    order = [alphabet.index(pair[0]) * 23 + alphabet.index(pair[1]) for _, pair in sorted(by_level.items())]
    assert [(order[0] + step) % 529 for step in range(3)] == order
    again, _ = assign_ids(screen(sites=(mid, high, low)))
    assert sorted(names(again)) == sorted(names(made))


def test_more_pools_over_one_floor_than_pairs_of_letters_take_a_third_letter() -> None:
    """A drained polder nests more than 529 pools, all with the deepest cell of its main canal for their floor."""
    pools = tuple(basin(f"b{k}", 20, 20, spill_m=100.0 + k) for k in range(540))
    made, _ = assign_ids(replace(screen(), basins=pools, not_offered=()))
    ends = [item.basin_id.rsplit("_", 1)[1] for item in made.basins]
    assert len(set(ends)) == 540
    assert [len(end) for end in ends] == [2] * 529 + [3] * 11


def test_basins_and_parents_are_renamed_together() -> None:
    made = replace(
        screen(sites=(site("s", 20, 20, parent_id="n2"),)),
        basins=(basin("n1", 20, 20, parent_id="n2"), basin("n2", 25, 25)),
        not_offered=(basin("n1", 20, 20, reason="too shallow"),),
    )
    named, _ = assign_ids(made)
    inner, outer = (item.basin_id for item in named.basins)
    assert named.basins[0].values["parent_id"] == outer
    assert named.sites[0].values["parent_id"] == outer
    assert named.not_offered[0].basin_id == inner
    assert inner != outer
    assert made.basins[0].values["parent_id"] == "n2"


def test_same_run_again_keeps_every_id() -> None:
    first, _ = assign_ids(screen())
    again, counts = rerun(first, screen())
    assert names(again) == names(first)
    assert counts == {"kept": 2, "new": 0, "lost": 0}


def test_id_passes_by_pool_overlap_though_the_floor_moved() -> None:
    old, _ = assign_ids(screen(sites=(site("t", 20, 20, radius=6),)))
    shifted = site("u", 21, 21, radius=6)
    new, counts = rerun(old, screen(sites=(shifted,)))
    assert names(new) == names(old)
    assert new.sites[0].plugs[0].plug_id == f"{names(old)[0]}-1"
    assert counts == {"kept": 1, "new": 0, "lost": 0}


def test_id_passes_by_plug_when_the_pool_changed_too_much() -> None:
    old, _ = assign_ids(screen(sites=(site("t", 20, 20, radius=6),)))
    grown = site("u", 20, 14, radius=12)
    new, counts = rerun(old, screen(sites=(grown,)))
    assert counts["kept"] == 1
    assert names(new) == names(old)


@pytest.mark.parametrize(("gap", "kept"), [(14.0, 1), (15.0, 1), (16.0, 0)])
def test_plug_passes_an_id_up_to_fifteen_metres(gap: float, kept: int) -> None:
    old, _ = assign_ids(screen(sites=(site("t", 20, 20),)))
    away = replace(site("u", 20, 60, radius=3), pool=disc(45, 60, 3))
    plug = away.plugs[0]
    moved = Plug(plug.plug_id, plug.site_id, 1, 1, np.array([17.0, 23.0]), np.array([27.0 + gap] * 2), plug.values)
    _, counts = rerun(old, screen(sites=(replace(away, plugs=(moved,)),)))
    assert counts == {"kept": kept, "new": 1 - kept, "lost": 1 - kept}


def test_best_pair_wins_and_each_id_goes_once() -> None:
    """One old pool split in two: the half that covers more of it keeps the name."""
    old, _ = assign_ids(screen(sites=(site("t", 20, 20, radius=6),)))
    near, off = site("v", 20, 21, radius=6), site("w", 20, 23, radius=6)
    new, counts = rerun(old, screen(sites=(off, near)))
    assert new.sites[1].site_id == names(old)[0]
    assert new.sites[0].site_id != names(old)[0]
    assert counts == {"kept": 1, "new": 1, "lost": 0}


def test_a_gone_site_is_counted_and_its_id_not_used_elsewhere() -> None:
    old, _ = assign_ids(screen())
    new, counts = rerun(old, screen(sites=(site("z", 45, 65),)))
    assert counts == {"kept": 0, "new": 1, "lost": 2}
    assert not set(names(new)) & set(names(old))


def test_passing_through_a_file_in_another_crs(tmp_path: Path) -> None:
    first, _ = assign_ids(screen())
    path = tmp_path / "old.gpkg"
    write_layers(path, to_layers(first))
    old = open_screen(path)
    other = old.sites.to_crs(26916)
    assert isinstance(other, gpd.GeoDataFrame)
    again, counts = assign_ids(screen(), other, old.plugs.to_crs(26916))
    assert names(again) == names(first)
    assert counts["kept"] == 2


def test_empty_runs() -> None:
    old, _ = assign_ids(screen())
    _, counts = rerun(old, screen(sites=()))
    assert counts == {"kept": 0, "new": 0, "lost": 2}
    _, counts = rerun(screen(sites=()), screen())
    assert counts == {"kept": 0, "new": 2, "lost": 0}


def test_two_sites_of_one_name_are_refused() -> None:
    with pytest.raises(InputError, match="2 sites carry 1 ids"):
        assign_ids(screen(sites=(site("a", 20, 20), site("a", 40, 40))))
