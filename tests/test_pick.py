"""Which of nested cut basins is offered, and how much of a rim is real ground."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from test_turned_down import basin

from wetscout.records import CUT, FILL
from wetscout.settings.sites import SiteSettings
from wetscout.sites.judge import Measures
from wetscout.sites.pick import VALLEY, Picker
from wetscout.sites.rim import unheld_shore
from wetscout.sites.turned_down import PLUGGED


def picker_of(parent, spill, area, volume, against, *, witness=None, closes=None, cut=None, left=None, opened=()):
    """A picker for a made-up tree with floors at 0; `against` maps nodes to reasons, `opened` drain unfilled."""
    n = len(parent)
    spill = np.array(spill, dtype=float)
    table = pd.DataFrame({"parent": parent, "spill_m": spill, "area_m2": area, "volume_m3": volume})
    yes = np.ones(n, dtype=bool)
    m = Measures(
        spill=spill,
        floor=np.zeros(n),
        today=np.zeros(n),
        witness=spill if witness is None else np.array(witness, dtype=float),
        lost=spill,
        cut=yes if cut is None else np.array(cut),
        whole=~yes,
        looked=yes,
        floor_at=np.zeros((n, 2), dtype=np.int64),
        left=np.zeros(n) if left is None else np.array(left),
        pit=np.full(n, -np.inf),
    )

    def judge(i):
        return replace(basin(), node=i, closes=closes is None or closes[i]), against.get(i)

    return Picker(SimpleNamespace(table=table), m, judge, SiteSettings(), lambda c: c.node in opened)


def picked(*tree, **what):
    """Run such a picker: nodes that are offered, and reasons of what is not."""
    kept, down = picker_of(*tree, **what).run()
    return [c.node for c in kept], dict(down)


def test_the_highest_cut_basin_is_offered():
    assert picked([2, 2, -1], [0.5, 0.6, 1.0], [900, 900, 3000], [200, 200, 1500], {}) == ([2], {})


def test_what_lies_inside_a_basin_that_fails_is_looked_at():
    kept, down = picked([2, 2, -1], [0.5, 0.6, 1.0], [900, 900, 3000], [200, 200, 1500], {2: "a strip", 0: "a pit"})
    assert kept == [1]
    assert down == {2: "a strip", 0: "a pit"}


def test_a_plug_at_the_rim_holds_what_lies_inside_unless_water_gets_out_over_the_ground():
    nest = [2, 2, -1], [0.5, 0.6, 1.0], [900, 900, 3000], [200, 200, 1500], {2: PLUGGED}
    assert picked(*nest) == ([], {2: PLUGGED})
    assert picked(*nest, opened=(1,)) == ([1], {2: PLUGGED})


def test_where_nothing_inside_stands_the_outer_reason_is_told():
    kept, down = picked([1, -1], [0.5, 1.0], [900, 3000], [200, 1500], {0: "a pit", 1: "a strip"})
    assert kept == [] and down == {1: "a strip"}


def test_a_thin_sheet_is_left_for_its_pool_and_taken_when_the_pool_fails():
    # 1000 m2 at 0.50 m; 0.04 m higher 9000 m2 more, 0.02 m deep on average
    tree = ([1, -1], [0.50, 0.54], [1000, 10000], [250, 250 + 0.04 * 1000 + 0.02 * 9000])
    assert picked(*tree, {})[0] == [0]
    assert picked(*tree, {0: "a pit"}) == ([1], {})


def test_a_drained_pool_inside_one_that_stands_is_not_passed_over():
    # three pools meet at the brim; one of them still stands, but a smaller one inside it is cut
    parent, spill = [1, 5, 4, 4, 5, -1], [0.40, 0.59, 0.58, 0.58, 0.59, 0.60]
    tree = (parent, spill, [600, 2000, 900, 900, 2100, 4200], [120, 700, 300, 300, 650, 1450])
    assert picked(*tree, {}, cut=[True, False, True, True, True, True])[0] == [0, 2, 3]


def test_a_second_hollow_is_no_sheet():
    # the same step, but what it adds is 0.2 m deep
    assert picked([1, -1], [0.50, 0.54], [1000, 10000], [250, 250 + 40 + 0.2 * 9000], {})[0] == [1]


def test_drained_pools_that_meet_well_below_the_spill_are_one_basin():
    """A sheet of 0.03 m over two pools of 2400 and 1400 m2 is 1.8 times the larger one, but 1.2 times both."""
    tree = ([2, 2, -1], [0.54, 0.54, 0.60], [2400, 1400, 4500], [500, 250, 750 + 0.06 * 3800 + 0.025 * 700])
    assert picked(*tree, {})[0] == [2]
    # one of them whole: what is left is the sheet over the other
    assert picked(*tree, {}, cut=[True, False, True])[0] == [0]


def test_a_step_that_is_much_of_the_depth_is_no_sheet():
    # 0.04 m of a basin 0.16 m deep
    assert picked([1, -1], [0.12, 0.16], [1000, 10000], [60, 60 + 40 + 0.02 * 9000], {})[0] == [1]


def test_a_basin_that_still_holds_its_water_is_left_for_the_pool_that_lost_its_own():
    tree = ([1, -1], [0.50, 0.54], [1000, 10000], [250, 600])
    assert picked(*tree, {}, left=[0.0, 0.5])[0] == [0]
    assert picked(*tree, {0: "a pit"}, left=[0.0, 0.5])[0] == [1]
    assert picked(*tree, {}, left=[0.0, 0.3])[0] == [1]
    # it lost 300 m3, of which the pool inside held 150
    assert picked(*tree, {}, left=[0.4, 0.5])[0] == [1]


def test_below_a_valley_and_below_too_many_openings_it_looks_on():
    tree = ([1, -1], [0.5, 1.0], [900, 3000], [200, 1500])
    assert picked(*tree, {}, witness=[0.5, 0.3]) == ([0], {1: VALLEY})
    assert picked(*tree, {}, cut=[True, False])[0] == [0]


def test_what_plugs_do_not_close_is_left_for_lower_pools_that_lost_much_of_its_water():
    lower = ([1, -1], [0.5, 1.0], [2000, 3000])
    assert picked(*lower, [700, 1500], {}, closes=[True, False])[0] == [0]
    # 200 of 1500 m3: the lower one is a corner of the basin, which is offered with its openings
    assert picked(*lower, [200, 1500], {}, closes=[True, False])[0] == [1]
    assert picked(*lower, [200, 1500], {1: "a pit"}, closes=[True, False])[0] == [0]
    # a wide flat with many openings is many places
    assert picked([1, -1], [0.5, 1.0], [2000, 60000], [200, 30000], {}, closes=[True, False])[0] == [0]


def test_where_a_pool_is_refused_later_the_one_around_it_is_asked():
    # a thin sheet over its pool, as above
    tree = ([1, -1], [0.50, 0.54], [1000, 10000], [250, 250 + 0.04 * 1000 + 0.02 * 9000])
    picker = picker_of(*tree, {})
    assert [c.node for c in picker.run()[0]] == [0]
    picker.refuse({0: "too much earth"})
    kept, down = picker.run()
    assert [c.node for c in kept] == [1] and down == []
    picker.refuse({1: "too much earth"})
    assert picker.run() == ([], [(1, "too much earth")])


def test_a_side_pool_little_lower_than_an_outer_basin_that_fails_is_looked_at():
    # a hollow of 0.1 ha that spills 2 cm below a valley of 2 ha beside it
    tree = ([2, 2, -1], [1.98, 1.98, 2.0], [1200, 19000, 20500], [900, 20000, 21200])
    assert picked(*tree, {1: "a channel", 2: "no way out"})[0] == [0]


@pytest.mark.parametrize("step", [1, 2])
def test_shore_along_a_strip_on_a_slope_is_held_by_nothing(step):
    # a plane falls 1 % east; a road strip 12 m wide runs across the fall, natural ground there carried 0.3 m too high
    size = 200 // step
    col = np.arange(size) * step
    ground = np.tile((10 - 0.01 * col).astype(np.float32), (size, 1))
    corridor = np.zeros((size, size), dtype=np.uint8)
    strip = (col >= 100) & (col < 112)
    corridor[:, strip] = CUT | FILL
    ground[:, strip] += np.float32(0.3)
    pool = (ground < 9.2) & (col[None, :] < 100)
    pool[: 40 // step] = pool[160 // step :] = False
    # closed form: 120 m of shore lie along the strip, ground behind it 0.3 m under the pool
    assert unheld_shore(ground, corridor, pool, (9.2, 0.05), 25 // step) * step == pytest.approx(120, abs=4 * step)


def test_a_ditch_through_a_rim_leaves_its_own_width():
    row, col = np.mgrid[-60:61, -60:121].astype(float)
    radius = np.hypot(row, col)
    ground = np.where(radius < 50, 9 + radius / 50, 10 - (radius - 50) / 50).astype(np.float32)
    corridor = np.where((np.abs(row) <= 4) & (col > 0), CUT, 0).astype(np.uint8)
    pool = (ground < 9.98) & (radius < 50)
    far = unheld_shore(ground, corridor, pool, (9.98, 0.05), 25)
    # both banks of the 9 m wide corridor as far as 25 m reach back over the rim
    assert 9 <= far <= 9 + 2 * 25
    corridor[:] = 0
    assert unheld_shore(ground, corridor, pool, (9.98, 0.05), 25) == 0


def test_each_basin_of_a_deep_nest_is_judged_once():
    # 40 levels, none of which closes or is offered: asked anew from every level it would take 2^40 judgements
    n = 40
    tree = ([*range(1, n), -1], list(np.linspace(1.0, 9.0, n)), [900 + 100 * k for k in range(n)], [1000.0] * n)
    asked = []
    against = dict.fromkeys(range(n), "a pit")

    class Counted(dict):
        def get(self, i):
            asked.append(i)
            return super().get(i)

    kept, _ = picked(*tree, Counted(against), closes=[False] * n)
    assert kept == [] and len(asked) == len(set(asked)) <= n


def test_a_hollow_that_joins_within_what_levels_are_known_is_not_of_the_pool():
    # 1 cm more spreads the pool over half its area, 5 cm deep on average: two hollows with a common brim
    kept, _ = picked([1, -1], [0.69, 0.70], [2000, 3000], [600, 670], {})
    assert kept == [0]
    # by 2 cm it is one pool
    assert picked([1, -1], [0.68, 0.70], [2000, 3000], [600, 700], {})[0] == [1]
