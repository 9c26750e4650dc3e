"""Ranking: the order, the two rules no score buys off, and the words.

Expected numbers are worked by hand from the settings' own weights; what counts as easy is common practice, no source.
"""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wetscout.ranking import rank
from wetscout.ranking.phrases import say_area, say_level, say_number
from wetscout.ranking.score import criteria, score
from wetscout.records import Patch, Plug, Site
from wetscout.settings.ranking import RankingSettings

POOL = Patch(0, 0, np.ones((2, 2), dtype=np.bool_))
EASY = {
    "confidence": "high",
    "drained_by": "ditch",
    "drain_position": "starts here",
    "upstream_ditch_m": 0.0,
    "cuts_n": 1,
    "gain_m2": 12000.0,
    "catchment_ratio": 8.0,
    "spill_m": 101.337,
    "depth_max_m": 0.62,
    "lost_m": 0.58,
    "edge": 0,
    "water_at_survey_m2": 0.0,
}


def make_site(name: str, ditch: int | None = 1, fill_m3: float | None = 40.4, **values: object) -> Site:
    plug = Plug(
        f"{name}-1", name, ditch, 1, np.zeros(2), np.zeros(2),
        {"fill_m3": fill_m3, "across_m": 8.2, "along_m": 12.1, "height_m": 0.93},
    )  # fmt: skip
    return Site(name, POOL, None, (), (plug,), (), {**EASY, **values})


def test_score_by_hand():
    """Gain sqrt(12000/20000), earth sqrt(min(1, 12000/40.4/200)) = 1, the rest full: 100 - 45 + 45 * 0.7746."""
    assert score(make_site("a"), RankingSettings()) == pytest.approx(55.0 + 45.0 * np.sqrt(0.6), abs=0.05)


@pytest.mark.parametrize(
    ("worse", "criterion"),
    [
        ({"gain_m2": 2000.0}, "gain"),
        ({"confidence": "low"}, "confidence"),
        ({"drain_position": "passes through"}, "starts_here"),
        ({"cuts_n": 3}, "few_cuts"),
        ({"catchment_ratio": 0.5}, "catchment"),
        ({"catchment_ratio": 300.0}, "catchment"),
        ({"fill_m3": 4000.0}, "earth"),
    ],
)
def test_each_criterion_counts(worse: dict[str, object], criterion: str):
    good, bad = make_site("a"), make_site("b", **worse)
    options = RankingSettings()
    assert criteria(bad, options)[criterion] < criteria(good, options)[criterion]
    assert score(bad, options) < score(good, options)


def test_weight_zero_drops_a_criterion():
    options = RankingSettings(weight_confidence=0.0)
    assert score(make_site("a"), options) == score(make_site("b", confidence="low"), options)


def test_unknown_is_neither_merit_nor_fault():
    marks = criteria(make_site("a", catchment_ratio=None, drain_position=None, gain_m2=None), RankingSettings())
    assert marks["catchment"] == marks["starts_here"] == marks["gain"] == 0.5
    assert criteria(make_site("a", catchment_ratio=float("nan")), RankingSettings())["catchment"] == 0.5


def test_edge_lowers_the_score():
    options = RankingSettings()
    assert score(make_site("a", edge=1), options) == pytest.approx(0.85 * score(make_site("a"), options), abs=0.1)


def test_passing_ditch_stays_out_of_the_easy_third():
    passing = [make_site(f"p{i}", ditch=i, drain_position="passes through", gain_m2=1e6) for i in range(6)]
    starting = [make_site(f"s{i}", ditch=10 + i, gain_m2=600.0, confidence="low", cuts_n=5) for i in range(3)]
    ranked = rank(tuple(passing + starting), RankingSettings())
    assert {site.site_id for site in ranked[:3]} == {"s0", "s1", "s2"}
    assert max(site.values["score"] for site in ranked[3:]) <= 66.0


def test_weak_finds_keep_passing_ditches_out_but_not_from_the_very_front():
    """Two weak sites that start here, seven clear passing ones: both weak ones stand in the third, at its end."""
    passing = [make_site(f"p{i}", ditch=i, drain_position="passes through", gain_m2=1e6) for i in range(7)]
    weak = [
        make_site("faint", ditch=20, gain_m2=600.0, confidence="low"),
        make_site("woods", ditch=21, gain_m2=9000.0, _signs={"rough_ground": 1.0}),
    ]
    ranked = [site.site_id for site in rank(tuple(passing + weak), RankingSettings())]
    assert ranked[:3] == ["p0", "woods", "faint"]
    clear = rank((*passing, *weak, make_site("clear", ditch=30, gain_m2=900.0)), RankingSettings())
    assert [site.site_id for site in clear[:4]] == ["clear", "p0", "woods", "faint"]


def test_many_cuts_for_little_water_do_not_lead():
    """Three cuts for 0.28 ha keep their place in the third but do not stand before a swale of hectares."""
    passing = [make_site(f"p{i}", ditch=i, drain_position="passes through", gain_m2=1e5) for i in range(6)]
    for gain, cuts, order in (
        (2800.0, 3, ["p0", "p1", "x"]),
        (3200.0, 3, ["x", "p0", "p1"]),
        (400.0, 1, ["x", "p0", "p1"]),
    ):
        ranked = rank((*passing, make_site("x", ditch=20, gain_m2=gain, cuts_n=cuts)), RankingSettings())
        assert [site.site_id for site in ranked][:3] == order
        said = "little water for so many cuts" in next(s for s in ranked if s.site_id == "x").values["reasons"]
        assert said == (order[0] != "x")


def test_woods_and_yards_come_after_clear_sites_and_say_so():
    woods, field = make_site("a", _signs={"rough_ground": 1.0}), make_site("b", ditch=2, gain_m2=600.0)
    ranked = rank((woods, field), RankingSettings())
    assert [site.site_id for site in ranked] == ["b", "a"]
    assert "look at imagery first" in ranked[1].values["cautions"]
    assert "rough ground full of faint lines" in ranked[1].values["reasons"]
    assert "imagery" not in ranked[0].values["cautions"]


def test_sites_at_the_cap_are_told_apart_by_their_merit():
    many = make_site("a", ditch=1, drain_position="passes through", gain_m2=1e6, cuts_n=4)
    one = make_site("b", ditch=2, drain_position="passes through", gain_m2=1e6, cuts_n=1)
    ranked = rank((many, one), RankingSettings())
    assert [site.site_id for site in ranked] == ["b", "a"]
    assert {site.values["score"] for site in ranked} == {66.0}


def test_first_ten_hold_a_ditch_once_and_the_rest_fold_under_it():
    collector = [make_site(f"c{i:02}", ditch=1, gain_m2=19000.0 - i) for i in range(8)]
    others = [make_site(f"o{i:02}", ditch=10 + i, gain_m2=3000.0) for i in range(9)]
    ranked = rank(tuple(collector + others), RankingSettings())
    assert [site.site_id for site in ranked[:10]].count("c00") == 1
    assert {site.site_id for site in ranked[1:10]} == {site.site_id for site in others}
    assert all("same ditch as site c00" in site.values["reasons"] for site in ranked[10:])
    assert "same ditch" not in ranked[0].values["reasons"]


def test_internal_list_of_cut_ditches_comes_before_the_plugs():
    first, second = make_site("a", ditch=1, _cut_ditch_ids=(7,)), make_site("b", ditch=2, _cut_ditch_ids=(7, 8))
    twins = (first, second, make_site("c", 3))
    ranked = rank(twins, RankingSettings())
    assert [site.site_id for site in ranked] == ["a", "c", "b"]


PASSING = st.sampled_from(["starts here", "passes through", None])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 8), PASSING, st.integers(50, 60000)), max_size=30), st.randoms())
def test_rules_hold_for_any_set_of_sites(rows: list[tuple[int, str | None, int]], random):
    sites = [
        make_site(f"x{i:02}", ditch=ditch, drain_position=position, gain_m2=float(gain))
        for i, (ditch, position, gain) in enumerate(rows)
    ]
    ranked = rank(tuple(sites), RankingSettings())
    assert [site.values["rank"] for site in ranked] == list(range(1, len(sites) + 1))
    passing = [site.values["drain_position"] == "passes through" for site in ranked]
    third = -(-len(sites) // 3)
    free = passing.count(False)
    assert not any(passing[: min(third, free)])
    ditches = [site.plugs[0].ditch_id for site in ranked]
    for place, ditch in itertools.islice(enumerate(ditches), 10):
        if ditch in ditches[:place]:
            allowed = [k for k in range(place, len(sites)) if place >= third or not passing[k]]
            assert all(ditches[k] in ditches[:place] for k in allowed)
    random.shuffle(sites)
    assert rank(tuple(sites), RankingSettings()) == ranked


def test_words_an_owner_can_follow():
    values = rank((make_site("a"),), RankingSettings())[0].values
    assert values["reasons"].startswith("ditch starts here, nobody upstream; about 40 m3 of earth for 1.2 ha")
    assert "up to 101.35 m" in values["work"]
    assert "0.95 m high over the bed" in values["work"]
    assert "utility locate service" in values["cautions"]
    assert "local codes and licensed practice" in values["cautions"]


def test_cautions_for_each_danger():
    site = make_site(
        "a", drain_position="passes through", upstream_ditch_m=734.0, edge=1, water_at_survey_m2=5120.0,
        drained_by="ditch under road", catchment_ratio=90.0, confidence="low",
    )  # fmt: skip
    values = rank((site,), RankingSettings())[0].values
    for phrase in ("other people's water", "bounds", "0.51 ha lay under water", "road authority", "large catchment"):
        assert phrase in values["cautions"]
    assert "ditch passes through, about 730 m of ditch enters from above" in values["reasons"]
    unseen = make_site("b", drain_position="passes through", upstream_ditch_m=0.0)
    assert "ditch passes through, from where is not seen" in rank((unseen,), RankingSettings())[0].values["reasons"]


def test_never_promises_safety():
    for site in rank((make_site("a"), make_site("b", edge=1, confidence=None)), RankingSettings()):
        assert not re.search(r"\bsafe\b", " ".join(site.values[k] for k in ("reasons", "cautions", "work")))


@pytest.mark.parametrize(
    ("value", "said"), [(0.0, "0"), (12345.0, "12000"), (41.4, "41"), (1.25, "1.2"), (0.0449, "0.045"), (9.96, "10")]
)
def test_two_figures(value: float, said: str):
    assert say_number(value) == said


def test_area_and_level():
    assert say_area(12345.0) == "1.2 ha"
    assert say_area(456.0) == "460 m2"
    assert say_level(101.337) == "101.35 m"
    assert say_level(-0.02) == "0.00 m"
