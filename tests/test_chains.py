"""Rows of sites: the way of the water, what a plug does to the site above, what 1, 2, ... n plugs bring.

Levels and areas of the stair of boxes are plain geometry; what several plugs hold is compared with filling the ground
into which they were put. The order on invented landscapes is compared with pyflwdir (Eilander, Deltares), a general
library for flow directions, run on the true ground.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import naive_surfaces as naive
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import wetscout
from wetscout.cli.prove import found_by_screen
from wetscout.grid import Grid
from wetscout.kernels.downhill import follow_down
from wetscout.outputs.along import chain_rows, highest_steps, link_rows, step_rows
from wetscout.prove import make_landscape
from wetscout.prove.score import score
from wetscout.ranking.row_words import along_the_water, in_a_row
from wetscout.records import Ditch, Linework, Patch, Plug, Site
from wetscout.records_along import BedStep
from wetscout.settings.sites import SiteSettings
from wetscout.sites import find_links, join_chains, note_steps
from wetscout.sites.chains import effect_above

S = SiteSettings()
WIDE = 60


@given(seed=st.integers(0, 10_000), rounded=st.booleans())
@settings(max_examples=40, deadline=None)
def test_water_is_followed_as_a_plain_search_follows_it(seed, rounded):
    rng = np.random.default_rng(seed)
    z = wetscout.fill(np.round(rng.uniform(0, 3, (14, 17)), 0 if rounded else 2).astype(np.float32))
    z[rng.integers(0, 14), rng.integers(0, 17)] = np.nan
    far = np.zeros(z.shape, np.uint8)
    way = follow_down(z, 7, 8, 60, far)
    assert way.tolist() == naive.way_down(z, 7, 8, 60)
    levels = z.ravel()[way]
    assert not (np.diff(levels) > 0).any()
    assert len(set(way.tolist())) == way.size
    # what was kept of level ground changes nothing for other places
    for row, col in rng.integers(0, 14, (6, 2)):
        assert follow_down(z, row, col, 60, far).tolist() == naive.way_down(z, int(row), int(col), 60)


def test_water_runs_to_the_border_over_a_wide_flat():
    z = np.full((40, 400), 2.0, dtype=np.float32)
    z[0], z[-1], z[:, 0], z[:, -1] = 3.0, 3.0, 3.0, 3.0
    z[20, -1] = 1.0
    far = np.zeros(z.shape, np.uint8)
    way = follow_down(z, 20, 5, 2000, far)
    assert (way[0], way[-1], way.size) == (20 * 400 + 5, 20 * 400 + 399, 395)
    assert follow_down(z, 20, 5, 50, far).size == 50


@pytest.mark.parametrize(
    ("spill", "effect"),
    [
        (9.0, "leaves it alone"),
        (9.3, "reaches its plug"),
        (9.7, "backs into its pool"),
        (10.2, "drowns its plug"),
        (9.96, "drowns its plug"),
    ],
)
def test_what_a_pool_does_to_the_site_above(spill, effect):
    upper = {"spill_m": 10.0, "today_m": 9.5}
    assert effect_above({"spill_m": spill}, upper, 9.1, 0.05) == effect


def stair(floors, rims, beds):
    """Boxes of 58 x 30 m down a stair, each closed by a rim of one column, with a trench one cell wide through it."""
    natural = np.full((40, WIDE * len(floors) + 3), 20.0, dtype=np.float32)
    for k, (floor, rim) in enumerate(zip(floors, rims, strict=True)):
        at = k * WIDE + 1
        natural[5:35, at : at + WIDE - 1] = floor
        natural[5:35, at + WIDE - 1] = rim
    natural[5:35, WIDE * len(floors) + 1 :] = min(beds) - 0.5
    today = natural.copy()
    for k, bed in enumerate(beds):
        today[20, k * WIDE + WIDE] = bed
    return natural, today


def sites_of(natural, today, floors, rims, beds):
    filled = wetscout.fill(today)
    out = []
    for k, (rim, bed) in enumerate(zip(rims, beds, strict=True)):
        at = k * WIDE + 1
        mask = np.ones((30, WIDE - 1), dtype=bool)
        box = (slice(5, 35), slice(at, at + WIDE - 1))
        dry = ~(filled[box] > today[box] + 1e-4)
        place = {"_row": 20.0, "_col": float(k * WIDE + WIDE), "bed_m": bed}
        plug = Plug(f"s{k}-1", f"s{k}", None, 1, np.zeros(2), np.zeros(2), place)
        values = {"spill_m": rim, "today_m": float(filled[20, at + 5]), "_node": k, "_dry": dry}
        values |= {"_floor_row": 12, "_floor_col": at + 9}
        out.append(Site(f"s{k}", Patch(5, at, mask), None, (), (plug,), (), values))
    return find_links(out[::-1], filled, (natural, today), 1.0, S)


FLOORS, RIMS, BEDS = (10.0, 9.0, 8.0), (10.5, 9.4, 9.2), (9.6, 8.9, 7.9)


def test_a_stair_of_three_is_put_in_order_and_counted_once():
    natural, today = stair(FLOORS, RIMS, BEDS)
    sites, chains = join_chains(sites_of(natural, today, FLOORS, RIMS, BEDS), natural, 1.0, S)
    assert [site.site_id for site in sites] == ["s2", "s1", "s0"]
    assert len(chains) == 1
    chain = chains[0]
    assert (chain.chain_id, chain.site_ids) == ("s2", ("s0", "s1", "s2"))
    felt = {(link.site_id, link.above_id): link.effect for link in chain.links}
    assert felt == {("s1", "s0"): "leaves it alone", ("s2", "s1"): "backs into its pool"}
    # through the rim, straight or one cell aside
    assert all(2.0 <= link.way_m <= 2.83 for link in chain.links)
    box = 30.0 * (WIDE - 1)
    assert [(step.site_id, step.plugs_n, step.gain_m2) for step in chain.steps] == [
        ("s2", 1, 2 * box),
        ("s0", 2, 3 * box),
        ("s1", 3, 3 * box),
    ]
    by_id = {site.site_id: site.values for site in sites}
    assert (by_id["s0"]["chain_order"], by_id["s0"]["chain_n"], by_id["s0"]["below_id"]) == (1, 3, "s1")
    assert (by_id["s2"]["above_effect"], by_id["s2"]["below_id"]) == ("backs into its pool", None)
    assert by_id["s0"].get("drain_position") is None
    assert (by_id["s1"]["drain_position"], by_id["s1"]["upstream_ditch_m"]) == ("passes through", chain.links[0].way_m)
    words = {site.site_id: (in_a_row(site), along_the_water(site)) for site in sites}
    assert words["s0"][0].startswith("number 1 of 3 down one way of water, the best 1 / 2 / 3 of them bring 0.35 ha")
    assert words["s2"][1] == ["its plug backs water up into the site above (s1)"]
    assert words["s1"][1] == ["a plug at the site below (s2) backs water up into this one"]


@given(
    drops=st.lists(st.integers(1, 3), min_size=1, max_size=4),
    heights=st.lists(st.integers(0, 3), min_size=5, max_size=5),
)
@settings(max_examples=30, deadline=None)
def test_gains_are_what_filling_the_plugged_ground_gives(drops, heights):
    # no two levels nearer than 0.1 m, twice what counts as the same
    floors = [float(f) for f in 10.0 - 0.4 * np.cumsum([0, *drops])]
    beds = [f - 0.1 for f in floors]
    # a pool spills over the rim below or back over the one above, whichever is lower
    rims: list[float] = []
    for floor, height in zip(floors, heights, strict=False):
        rims.append(min(floor + 0.2 + 0.4 * height, rims[-1] if rims else np.inf))
    natural, today = stair(floors, rims, beds)
    _, chains = join_chains(sites_of(natural, today, floors, rims, beds), natural, 1.0, S)
    assert len(chains) == 1
    plugged = today.copy()
    for step in chains[0].steps:
        k = int(step.site_id[1:])
        plugged[20, k * WIDE + WIDE] = rims[k]
        filled = wetscout.fill(plugged)
        pools = natural < 19.0
        pools[20, WIDE::WIDE] = False
        pools[:, WIDE::WIDE] = False
        pools[:, WIDE * len(floors) + 1 :] = False
        wet = float(np.count_nonzero(pools & (filled > plugged + 1e-4)))
        assert step.gain_m2 == wet


def test_a_site_whose_water_reaches_no_other_stands_alone():
    natural, today = stair((10.0, 9.0), (10.5, 9.4), (9.6, 8.9))
    near = SiteSettings(chain_reach_m=50.0)
    sites = sites_of(natural, today, (10.0, 9.0), (10.5, 9.4), (9.6, 8.9))
    far = find_links([sites[1], sites[0]], wetscout.fill(today)[::-1].copy(), (natural, today), 1.0, near)
    alone, chains = join_chains([sites[0]], natural, 1.0, S)
    assert chains == () and "chain_id" not in alone[0].values and in_a_row(alone[0]) == ""
    assert [site.values["_below"] for site in far if site.site_id == "s1"] == [None]


def test_water_over_undug_ground_does_not_make_a_drain_pass_through():
    # the lip between the first two boxes is low by nature, that between the second and third is dug
    natural, today = stair(FLOORS, RIMS, BEDS)
    natural[18:23, WIDE] = BEDS[0]
    values = {site.site_id: site.values for site in sites_of(natural, today, FLOORS, RIMS, BEDS)}
    assert values["s0"]["_below"] == 1 and values["s1"]["_below"] == 2
    assert values["s1"].get("drain_position") is None and values["s2"]["drain_position"] == "passes through"


def test_in_wide_cells_every_way_from_a_site_above_counts_as_dug():
    """Whether cells of 5 m show a ditch tells nothing: the caution that water comes in from above must not be lost."""
    natural, today = stair(FLOORS, RIMS, BEDS)
    natural[18:23, WIDE] = BEDS[0]
    bare = [replace(site, values=dict(site.values)) for site in sites_of(natural, today, FLOORS, RIMS, BEDS)]
    for site in bare:
        site.values.pop("drain_position", None)
    wide = find_links(bare, wetscout.fill(today), (natural, today), 5.0, S)
    values = {site.site_id: site.values for site in wide}
    assert values["s1"]["drain_position"] == values["s2"]["drain_position"] == "passes through"
    assert values["s1"]["upstream_ditch_m"] == values["s0"]["_below_m"]


def test_a_step_in_the_bed_is_told_above_and_below_it():
    natural, today = stair(FLOORS, RIMS, BEDS)
    sites = sites_of(natural, today, FLOORS, RIMS, BEDS)
    filled = wetscout.fill(today)
    # at the lip of the first box: below its plug, above the pool of the second
    step = BedStep(7, 20.0, float(WIDE), 30, 0.4, 9.6, 9.0)
    noted = {site.site_id: site for site in note_steps(sites, (step,), filled, 1.0, S)}
    heights = {name: (site.values["step_below_m"], site.values["step_above_m"]) for name, site in noted.items()}
    assert heights == {"s0": (0.4, None), "s1": (None, 0.4), "s2": (None, None)}
    assert "drops by 0.40 m in one step below the plug" in along_the_water(noted["s0"])[0]
    assert "drops by 0.40 m in one step above the pool" in along_the_water(noted["s1"])[0]
    assert along_the_water(noted["s2"]) == []
    assert [site.values.get("step_below_m") for site in note_steps(sites, (), filled, 1.0, S)] == [None] * 3


def test_layers_hold_rows_of_sites_and_steps():
    natural, today = stair(FLOORS, RIMS, BEDS)
    _, chains = join_chains(sites_of(natural, today, FLOORS, RIMS, BEDS), natural, 1.0, S)
    rows = chain_rows(chains[0])
    assert [row["sites"] for row in rows] == ["s2", "s2,s0", "s2,s0,s1"]
    assert [row["sites_n"] for row in rows] == [1, 2, 3]
    links = {row["above_id"]: row for row in link_rows(chains[0])}
    assert links["s1"]["spill_m"] == 9.2 and links["s1"]["above_today_m"] == pytest.approx(9.0, abs=0.11)
    line = np.arange(60.0)
    flat = np.zeros(60)
    ditch = Ditch(7, flat, line, flat, flat, flat, flat, "ditch", 1.0, 0.0, 1.0, "none")
    lines = Linework((ditch,), bed_steps=(BedStep(7, 0.0, 30.0, 30, 0.4, 9.6, 9.0), BedStep(7, 0.0, 9.0, 9, 0.7, 1, 0)))
    rows = step_rows(lines, Grid(10, 80, 0.0, 20.0, 2.0, 2.0, 2.0))
    assert [(row["from_head_m"], row["height_m"], row["geometry"].x) for row in rows] == [
        (60.0, 0.4, 61.0),
        (18.0, 0.7, 19.0),
    ]
    assert highest_steps(lines) == {7: 0.7}


@cache
def on_invented_ground():
    """Links right and judged, positions right and known, over nine landscapes."""
    pyflwdir = pytest.importorskip("pyflwdir")
    kinds = ("chains along one ditch", "chain on a passing ditch", "collectors through basins")
    right, judged, positions, known = 0, 0, 0, 0
    for kind, seed in ((kind, seed) for kind in kinds for seed in (3201, 3202, 3203)):
        land = make_landscape(kind, seed, 1.0, 1200.0)
        found = found_by_screen(land.z, 1.0)
        scored = score(land, found)
        positions, known = positions + scored.chains.positions_right, known + scored.chains.positions
        flow = pyflwdir.from_dem(land.opened.astype(np.float32), nodata=-9999.0)
        owner = np.full(land.z.shape, -1, dtype=np.int64)
        hits = {hit.found: land.basins[hit.node_id].pool for hit in scored.hits}
        for site, pool in hits.items():
            h, w = pool.mask.shape
            owner[pool.row0 : pool.row0 + h, pool.col0 : pool.col0 + w][pool.mask] = site
        for site, pool in hits.items():
            if found[site].below not in hits:
                continue
            h, w = pool.mask.shape
            box = (slice(pool.row0, pool.row0 + h), slice(pool.col0, pool.col0 + w))
            row, col = np.unravel_index(np.argmin(np.where(pool.mask, land.opened[box], np.inf)), (h, w))
            row, col = int(row) + pool.row0, int(col) + pool.col0
            way = owner.ravel()[flow.path(idxs=np.array([row * land.z.shape[1] + col]))[0][0]]
            # five metres in a pool, or the ditch only grazes it
            entered = [n for n in dict.fromkeys(way.tolist()) if n not in (-1, site) and np.sum(way == n) >= 5]
            judged += 1
            right += bool(entered) and entered[0] == found[site].below
    return right, judged, positions, known


@pytest.mark.slow
@pytest.mark.xfail(strict=False, reason="61 of 67: two ditches through one pool, and ditches that graze a pool")
def test_order_on_invented_ground_is_that_of_the_water():
    right, judged, _, _ = on_invented_ground()
    assert judged >= 20
    assert right >= 0.95 * judged, f"{right} of {judged}"


@pytest.mark.slow
def test_most_rows_and_nearly_all_positions_are_right_on_invented_ground():
    right, judged, positions, known = on_invented_ground()
    assert right >= 0.85 * judged, f"{right} of {judged}"
    assert positions >= 0.95 * known, f"{positions} of {known}"
