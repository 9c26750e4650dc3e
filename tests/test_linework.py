"""Lines on ground of plain arithmetic: found, in place, with the right numbers; and nothing where there is nothing."""

from __future__ import annotations

import linework_scenes as scene
import numpy as np
import pytest

from wetscout.linework import attributes, find_lines, streams
from wetscout.records import bed_ends
from wetscout.settings.linework import LineworkSettings

SETTINGS = LineworkSettings()


def found(z, cell_m, water=None, run_tiles=None):
    return find_lines(scene.terrain_of(z, cell_m, water), SETTINGS, run_tiles)


def longest(lines):
    return max(lines, key=lambda d: d.row.size)


def length_m(line, cell_m):
    return float(np.hypot(np.diff(line.row), np.diff(line.col)).sum() * cell_m)


@pytest.mark.parametrize(("cell_m", "angle"), [(1.0, 0.0), (1.0, 30.0), (1.524, 100.0), (2.0, 45.0), (3.0, 135.0)])
def test_a_ditch_is_found_whole_and_in_place(cell_m, angle):
    z, _, _ = scene.ditch_through_ridge(cell_m, angle)
    lines = found(z, cell_m).ditches
    sure = [d for d in lines if d.sure]
    assert len(sure) == 1
    away = scene.distance_to(sure, scene.line_points(angle, 240.0, 300.0, cell_m), cell_m)
    assert away.max() <= max(1.0, cell_m)
    assert sure[0].kind == "ditch"


def test_bed_bank_depth_width_and_climb_against_the_scene():
    """Closed forms: bed 19.3 - 0.001 t, banks at the ground, width 2 (0.6 + 1.5 depth), climb up the ridge."""
    cell_m, angle = 1.0, 30.0
    z, _, _ = scene.ditch_through_ridge(cell_m, angle)
    d = longest(found(z, cell_m).ditches)
    mid = 0.5 * (z.shape[0] - 1)
    t, _ = scene.along_across(d.row - mid, d.col - mid, angle)
    inner = np.abs(t) < 110
    bed = 19.3 - 0.001 * t
    ridge = 20.0 + 1.2 * np.exp(-((t / 60.0) ** 2))
    assert np.median(np.abs(d.bed_m - bed)[inner]) < 0.06
    assert np.percentile(np.abs(d.bank_low_m - ridge)[inner], 90) < 0.15
    assert np.median((d.bank_high_m - d.bank_low_m)[inner]) < 0.12
    width = 2 * (0.6 + 1.5 * (ridge - bed))
    assert np.median(np.abs(d.top_width_m - width)[inner]) < 1.5
    # downhill is towards greater t: from the foot of the ridge to its top, 1.2 m less what the foot has already
    assert t[-1] > t[0]
    assert d.bank_climb_m == pytest.approx(1.2, abs=0.2)
    assert d.straightness > 0.98
    assert d.depth_m == pytest.approx(np.median(ridge - bed), abs=0.15)
    assert d.spoil == "none"


def test_spoil_is_seen_on_the_side_where_it_lies():
    cell_m = 1.0
    y, x = scene.frame(260.0, cell_m)
    base = np.minimum(10.0, scene.trapezoid(x, 9.1, 0.6, 1.5)) - 0.001 * y
    one = base + 0.35 * np.exp(-(((x - 6.5) / 1.6) ** 2))
    both = one + 0.35 * np.exp(-(((x + 6.5) / 1.6) ** 2))
    words = [longest(found(z + scene.noise(z.shape, 0.02, 3), cell_m).ditches).spoil for z in (base, one, both)]
    assert words == ["none", "one side", "both sides"]


def test_ditch_under_noise_only_is_not_invented():
    cell_m = 1.0
    y, x = scene.frame(300.0, cell_m)
    z = 10.0 + scene.rolling(y, x, 0.4, 150.0) + scene.noise(y.shape, 0.05, 11)
    lw = found(z, cell_m)
    assert not [d for d in lw.ditches if d.sure]
    assert not lw.embankments and not lw.crossings


def test_a_natural_valley_is_no_ditch():
    cell_m = 1.0
    y, x = scene.frame(300.0, cell_m)
    bend = 25.0 * np.sin(y / 45.0)
    z = 10.0 - 0.004 * y - 1.6 * np.exp(-(((x - bend) / 18.0) ** 2)) + scene.noise(y.shape, 0.03, 12)
    sure = [d for d in found(z, cell_m).ditches if d.sure and d.kind == "ditch"]
    assert not sure


def test_no_line_follows_the_rim_of_a_hole_or_wide_water():
    cell_m = 1.0
    y, x = scene.frame(260.0, cell_m)
    z = 10.0 + scene.noise(y.shape, 0.03, 13)
    lake = np.hypot(y, x - 20) < 45
    z[lake] = 9.2
    hole = (np.abs(y + 80) < 18) & (np.abs(x + 70) < 30)
    z[hole] = np.nan
    lw = found(z, cell_m, water=lake)
    assert not [d for d in lw.ditches if d.sure]
    assert not lw.embankments


def test_a_ditch_flown_wet_is_still_a_ditch():
    cell_m = 1.0
    y, x = scene.frame(260.0, cell_m)
    z = np.maximum(np.minimum(10.0, scene.trapezoid(x, 8.9, 1.0, 1.5)), 9.3) + scene.noise(y.shape, 0.02, 14)
    water = np.abs(x) < 1.6
    z[water] = 9.3
    d = longest(found(z, cell_m, water=water).ditches)
    assert d.sure and length_m(d, cell_m) > 230


def test_ditch_stays_in_pieces_where_there_is_no_ground():
    cell_m = 1.0
    z, _, _ = scene.ditch_through_ridge(cell_m, 0.0)
    z[:, 140:170] = np.nan
    for d in found(z, cell_m).ditches:
        assert np.isfinite(z[np.rint(d.row).astype(int), np.rint(d.col).astype(int)]).mean() > 0.9


@pytest.mark.parametrize("gap_m", [8.0, 12.0])
def test_fill_across_a_ditch_is_a_crossing(gap_m):
    """A road fill, crest 0.6 m over the field, across a straight ditch."""
    cell_m = 1.0
    y, x = scene.frame(300.0, cell_m)
    ground = 10.0 - 0.001 * x
    z = np.minimum(ground, scene.trapezoid(y, 9.0 - 0.001 * x, 0.6, 1.5))
    fill = 10.6 - np.maximum(np.abs(x - 12.0) - 0.5 * gap_m, 0.0) / 3.0
    z = np.maximum(z, fill) + scene.noise(y.shape, 0.03, 15)
    lw = found(z, cell_m)
    mid = 149.5
    hits = []
    for c in lw.crossings:
        a, b = c.col - mid
        if a < 12.0 < b and np.abs(c.row - mid).max() < 4:
            hits.append(c)
            assert c.level_m[0] >= c.level_m[1]
            assert np.all(np.abs(c.level_m - 9.0) < 0.25)
            assert not c.given
    assert hits
    roads = [e for e in lw.embankments if e.kind == "road"]
    assert roads and length_m(longest(roads), cell_m) > 250
    assert longest(roads).height_m == pytest.approx(0.6, abs=0.12)
    assert longest(roads).width_m == pytest.approx(gap_m + 2 * 3 * 0.6, abs=3.5)


def test_a_lateral_that_ends_under_fill_beside_a_collector():
    """The lateral stops 14 m short of the collector, a lane 0.5 m high between them."""
    cell_m = 1.0
    y, x = scene.frame(300.0, cell_m)
    z = np.full(y.shape, 10.0)
    lateral = np.where(x < 0, scene.trapezoid(y, 9.2 - 0.001 * x, 0.5, 1.5), 20.0)
    collector = scene.trapezoid(x - 20.0, 8.8 + 0.001 * y, 0.8, 1.5)
    z = np.minimum(np.minimum(z, lateral), collector)
    lane = 10.5 - np.maximum(np.abs(x - 8.0) - 2.0, 0.0) / 2.0
    z = np.where(np.abs(x - 8.0) < 6.0, np.maximum(z, lane), z) + scene.noise(y.shape, 0.03, 16)
    mid = 149.5
    ends = [(c.row - mid, c.col - mid) for c in found(z, cell_m).crossings]
    assert any(abs(r[0]) < 4 and -16 < k[0] < 4 and abs(k[1] - 20) < 4 for r, k in ends), ends


def test_furrows_are_not_listed():
    cell_m = 1.0
    y, x = scene.frame(300.0, cell_m)
    beds = (np.abs(x) < 80) & (np.abs(y) < 90)
    z = 10.0 - np.where(beds, 0.15 * (1 + np.cos(2 * np.pi * x / 9.0)), 0.0) + scene.noise(y.shape, 0.02, 17)
    total = sum(length_m(d, cell_m) for d in found(z, cell_m).ditches if d.sure)
    assert total < 200.0


def test_strip_between_two_cuts_is_no_embankment():
    cell_m = 1.0
    y, x = scene.frame(260.0, cell_m)
    z = np.minimum(10.0, np.minimum(scene.trapezoid(x - 7, 9.0, 0.6, 1.5), scene.trapezoid(x + 7, 9.0, 0.6, 1.5)))
    z = z + scene.noise(y.shape, 0.02, 18)
    assert not found(z, cell_m).embankments


def test_ditch_along_a_road_is_called_roadside():
    cell_m = 1.0
    y, x = scene.frame(300.0, cell_m)
    z = np.minimum(10.0, scene.trapezoid(x - 11, 9.3, 0.6, 1.5))
    z = np.maximum(z, 10.9 - np.maximum(np.abs(x) - 4.0, 0.0) / 2.5) + scene.noise(y.shape, 0.02, 19)
    lw = found(z, cell_m)
    assert longest(lw.ditches).kind == "roadside"
    assert {e.kind for e in lw.embankments} == {"road"}


@pytest.mark.parametrize("ditches", [2, 1])
def test_fill_on_a_slope_with_a_ditch_on_both_sides_is_a_road(ditches):
    """Ground that falls by 4 % across the line, a crown 0.6 m over it, 7 m wide: the upper side stands higher."""
    cell_m = 1.0
    y, x = scene.frame(300.0, cell_m)
    z = np.maximum(10.0 - 0.04 * x, 10.6 - np.maximum(np.abs(x) - 3.5, 0.0) / 1.8)
    for at in (-9.0, 9.0)[:ditches]:
        z = np.minimum(z, scene.trapezoid(x - at, 10.0 - 0.04 * at - 0.7, 0.5, 1.5))
    z = z + scene.noise(y.shape, 0.02, 21)
    assert [e.kind for e in found(z, cell_m).embankments] == ["road"] * (ditches == 2)


def test_tiles_give_the_same_lines_as_the_whole():
    cell_m = 2.0
    z, _, _ = scene.ditch_through_ridge(cell_m, 30.0, size_m=360.0)

    def tiles(size):
        def run(work, halo_cells):
            assert halo_cells > 0
            rows, cols = z.shape
            windows = [
                (r, min(rows, r + size), c, min(cols, c + size))
                for r in range(0, rows, size)
                for c in range(0, cols, size)
            ]
            return [work(w) for w in reversed(windows)]

        return run

    whole = found(z, cell_m)
    assert whole.ditches
    for size in (31, 64, 100):
        part = found(z, cell_m, run_tiles=tiles(size))
        assert len(part.ditches) == len(whole.ditches)
        for a, b in zip(whole.ditches, part.ditches, strict=True):
            for name in ("row", "col", "bed_m", "bank_low_m"):
                np.testing.assert_array_equal(getattr(a, name), getattr(b, name))
            assert a.kind == b.kind


def test_raising_the_ground_by_a_constant_changes_no_line():
    cell_m = 2.0
    z, _, _ = scene.ditch_through_ridge(cell_m, 30.0)
    a, b = longest(found(z, cell_m).ditches), longest(found(z + 64.0, cell_m).ditches)
    assert a.row.size == pytest.approx(b.row.size, abs=3)
    assert b.depth_m == pytest.approx(a.depth_m, abs=0.02)
    assert np.median(b.bed_m) == pytest.approx(np.median(a.bed_m) + 64.0, abs=0.02)


@pytest.mark.parametrize("z", [np.full((50, 50), np.nan), np.zeros((50, 50)), np.zeros((2, 9)), np.ones((1, 1))])
def test_ground_without_anything_gives_nothing(z):
    lw = found(z, 1.0)
    assert lw.ditches == () and lw.embankments == () and lw.crossings == ()


def test_an_old_wide_ditch_is_found_in_its_middle():
    """Sides 4.4:1, 2 m deep: 18.8 m wide at the top, so the bands at 4-8 m lie on its slopes."""
    cell_m = 1.0
    y, x = scene.frame(300.0, cell_m)
    z = np.minimum(10.0, scene.trapezoid(x, 8.0, 0.6, 4.4)) + scene.noise(y.shape, 0.03, 21)
    sure = [d for d in found(z, cell_m).ditches if d.sure]
    assert sum(length_m(d, cell_m) for d in sure) > 270
    away = scene.distance_to(sure, scene.line_points(90.0, 260.0, 300.0, cell_m), cell_m)
    assert away.max() < 1.5
    assert np.median(longest(sure).top_width_m) == pytest.approx(18.8, abs=2.5)
    assert longest(sure).depth_m == pytest.approx(2.0, abs=0.15)


def test_lines_reach_the_edge_of_the_ground():
    cell_m = 1.0
    z, _, _ = scene.ditch_through_ridge(cell_m, 20.0)
    d = longest(found(z, cell_m).ditches)
    last = z.shape[0] - 1
    assert min(d.col.min(), last - d.col.max()) <= 2.0 and max(d.col.min(), last - d.col.max()) <= 2.0


def test_a_stream_of_even_depth_in_its_valley_is_called_natural():
    """A sharp winding channel 1.2 m deep in a valley 1 m deep, against a straight drain that is deepest at the rim."""
    cell_m = 1.0
    y, x = scene.frame(420.0, cell_m)
    bend = 14.0 * np.sin(y / 28.0)
    valley = 10.0 - 0.003 * y - 1.0 * np.exp(-(((x - bend) / 28.0) ** 2))
    z = np.minimum(valley, scene.trapezoid(x - bend, 7.8 - 0.003 * y, 1.0, 1.6)) + scene.noise(y.shape, 0.03, 22)
    d = longest(found(z, cell_m).ditches)
    assert length_m(d, cell_m) > 350
    assert d.kind == "natural stream"


def test_a_winding_stream_between_levees_is_natural_and_the_ditch_into_it_is_not():
    """A channel of even depth with levees 0.5 m high; a straight drain crosses the levee deepest at its crest."""
    cell_m = 1.0
    y, x = scene.frame(500.0, cell_m)
    bend = 28.0 * np.sin(y / 24.0)
    away = np.abs(x - bend)
    plain = 10.0 - 0.001 * y + 0.5 * np.exp(-(((away - 8.0) / 16.0) ** 2))
    z = np.minimum(plain, scene.trapezoid(x - bend, 8.4 - 0.001 * y, 1.0, 1.6))
    drain = scene.trapezoid(y, 9.2 - 0.002 * x, 0.5, 1.5)
    z = np.where((x > bend) & (x < bend + 120.0), np.minimum(z, drain), z) + scene.noise(y.shape, 0.03, 23)
    ditches = found(z, cell_m).ditches
    stream = longest(ditches)
    assert stream.kind == "natural stream"
    side = [d for d in ditches if d.sure and np.ptp(d.row) < 30 and np.ptp(d.col) > 60]
    assert len(side) == 1
    assert side[0].kind == "ditch"


def _profile(way, depth_m):
    n = len(way)
    bed = 10.0 - 0.001 * np.arange(n)
    bank = bed + depth_m
    wide = np.full(n, 4.0)
    return attributes.Profile(np.asarray(way, float), bed, bank, bank, wide, wide, 0.0, 0.0, np.zeros((n, 2)))


def test_a_stream_and_a_ditch_traced_as_one_line_are_cut_apart_where_a_third_meets_them():
    t = np.arange(400.0)
    winding = np.column_stack([200 + 25 * np.sin(t / 20), t])
    ditch = np.column_stack([200 + 25 * np.sin(399 / 20) + np.arange(1, 81.0), 399 + np.arange(1, 81.0)])
    depth = np.concatenate([np.full(400, 1.5), np.linspace(0.2, 1.0, 80)])
    whole = _profile(np.vstack([winding, ditch]), depth)
    other = _profile(np.column_stack([winding[-1, 0] - np.arange(60.0), np.full(60, 400.0)]), np.full(60, 1.4))
    free = [np.zeros(480, dtype=bool), np.zeros(60, dtype=bool)]
    pieces = streams.cut_apart([whole, other], free, 1.0, LineworkSettings())
    assert [stream for _, stream in pieces[0]] == [True, False]
    assert abs(pieces[0][0][0].bed.size - 400) <= 6 and sum(p.bed.size for p, _ in pieces[0]) == 480
    assert pieces[1] == [(other, False)]
    # nothing meets it: the line stays whole, and its depth varies too little over most of it to tell
    alone = streams.cut_apart([whole], free[:1], 1.0, LineworkSettings())
    assert len(alone[0]) == 1
    # a straight line of even depth is no winding stream
    straight = _profile(np.column_stack([np.full(300, 5.0), np.arange(300.0)]), np.full(300, 1.5))
    assert streams.cut_apart([straight], [np.zeros(300, dtype=bool)], 1.0, LineworkSettings())[0][0][1] is False


def test_two_ditches_that_meet_share_a_point():
    cell_m = 1.0
    y, x = scene.frame(260.0, cell_m)
    lateral = np.where(x < 0, scene.trapezoid(y, 9.3 - 0.001 * x, 0.5, 1.5), 20.0)
    z = np.minimum(np.minimum(10.0, scene.trapezoid(x, 9.0 + 0.001 * y, 0.8, 1.5)), lateral)
    z = z + scene.noise(y.shape, 0.03, 23)
    lines = [d for d in found(z, cell_m).ditches if length_m(d, cell_m) > 50]
    assert len(lines) == 2
    a, b = sorted(lines, key=lambda d: d.row.size)
    other = np.column_stack((b.row, b.col))
    ends = np.array([[a.row[0], a.col[0]], [a.row[-1], a.col[-1]]])
    assert min(np.hypot(*(other - e).T).min() for e in ends) < 0.8


def test_a_weak_line_is_kept_but_not_listed():
    """The last 60 m of a drain, cut 0.3 m only 0.5 m wide: too faint to list, still wanted by the surfaces."""
    cell_m = 1.0
    y, x = scene.frame(300.0, cell_m)
    bed = np.where(x > -40, 9.2, 9.2 + 0.008 * (-40 - x))
    z = np.minimum(10.0, scene.trapezoid(y, np.minimum(bed, 9.78), 0.4, 1.5)) + scene.noise(y.shape, 0.03, 24)
    away = scene.distance_to(found(z, cell_m).ditches, scene.line_points(0.0, 270.0, 300.0, cell_m), cell_m)
    assert (away <= 2.0).mean() > 0.97


@pytest.mark.parametrize("kind", ["rolling till plain", "old ditches", "roads over ditches", "flat lake plain"])
def test_invented_landscapes(kind):
    """Against the generator's own lines: where a cut is at least 0.3 m, 97 % within 2 m; half within half a metre."""
    from wetscout.prove.make import make_landscape

    land = make_landscape(kind, 11, 1.0, 1000.0)
    lines = found(land.z, 1.0).ditches
    last = land.z.shape[0] - 1
    away = []
    for t in land.ditches:
        inside = (t.row >= 0) & (t.row <= last) & (t.col >= 0) & (t.col <= last)
        r, c = t.row[inside], t.col[inside]
        cut = land.ground[np.rint(r).astype(int), np.rint(c).astype(int)] - t.level_m[inside]
        open_sky = np.ones(r.size, dtype=bool)
        for q in land.culverts:
            open_sky &= np.hypot(r - q.row.mean(), c - q.col.mean()) > 0.5 * q.length_m + 3.0
        seen = (cut >= 0.3) & open_sky
        if seen.any():
            away.append(scene.distance_to(lines, np.column_stack((r, c))[seen], 1.0))
    far = np.concatenate(away)
    assert (far <= 2.0).mean() >= 0.97
    assert np.median(far) <= 0.5


def test_a_road_over_the_only_way_out_of_a_hollow():
    """A drain begins at a road; behind the road lies the hollow it drains, with no ditch of its own."""
    cell_m = 1.0
    y, x = scene.frame(300.0, cell_m)
    hollow = 10.0 - 0.9 * np.exp(-(((x + 45.0) ** 2 + y**2) / 40.0**2))
    drain = np.where(x > 6, scene.trapezoid(y, 8.9 - 0.001 * x, 0.6, 1.5), 20.0)
    road = 10.5 - np.maximum(np.abs(x) - 3.5, 0.0) / 2.5
    z = np.maximum(np.minimum(hollow, drain), np.where(np.abs(x) < 9, road, 0.0)) + scene.noise(y.shape, 0.03, 25)
    mid = 149.5
    lw = found(z, cell_m)
    assert {e.kind for e in lw.embankments if length_m(e, cell_m) > 200} == {"road"}
    through = [c for c in lw.crossings if (c.col.min() - mid < -5) and (c.col.max() - mid > 5)]
    assert any(np.abs(c.row - mid).max() < 12 for c in through)


def test_a_line_that_runs_up_a_bank_at_its_end_is_still_drawn_downhill_and_falls():
    """The bed falls 0.4 m over 200 m, then the last 12 m climb 1.5 m up a road: direction and fall go by the ditch."""
    bed = np.concatenate([np.linspace(10.0, 9.6, 200), np.linspace(9.7, 11.1, 12)])
    first, last, share = bed_ends(bed, 1.0)
    assert first - last == pytest.approx(0.4 * (212 - 50 - 12) / 199, abs=0.03)
    assert share == pytest.approx((212 - 50) / 211)
    way, high = np.column_stack([np.zeros(212), np.arange(212.0)]), bed[::-1] + 1.0
    turned = attributes.downhill(
        attributes.Profile(way, bed[::-1], high, high, high, high, 0.0, 0.0, np.zeros((212, 2))), 1.0
    )
    assert turned.bed[0] == 10.0 and turned.points[0, 1] == 211.0


@pytest.mark.parametrize(("deep_m", "listed"), [(1.0, True), (0.35, False)])
def test_a_deep_sharp_bend_is_listed_and_a_shallow_one_is_not(deep_m, listed):
    """Three quarters of a circle of 14 m, as the loops of a brook: what is shallow and crooked may be chance."""
    y, x = scene.frame(240.0, 1.0)
    away = np.where((x > 0) & (y > 0), 99.0, np.abs(np.hypot(y, x) - 14.0))
    ground = 20.0 + 0.004 * x + scene.rolling(y, x, 0.05, 180.0) + scene.noise(x.shape, 0.03, 3)
    z = np.minimum(ground, scene.trapezoid(away, 20.0 - deep_m, 0.8, 1.5))
    near = [d for d in found(z, 1.0).ditches if length_m(d, 1.0) > 30.0]
    assert any(d.sure for d in near) is listed
