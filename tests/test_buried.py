"""Covered drains from end to end on a small field with exact answers."""

from __future__ import annotations

import covered_scenes as scenes
import numpy as np
import pytest
from skimage.morphology import reconstruction

from wetscout.outputs.layers import to_layers
from wetscout.pipeline import screen_array
from wetscout.records import Screen
from wetscout.steps.plan import Plan

FIELD = scenes.field()


@pytest.fixture(scope="module")
def told() -> Screen:
    return screen_array(FIELD.z, FIELD.cell_m, evidence=scenes.evidence(FIELD))


@pytest.fixture(scope="module")
def untold() -> Screen:
    return screen_array(FIELD.z, FIELD.cell_m)


def test_soil_crop_and_a_head_that_points_at_it_are_offered_on_a_list_of_their_own(told: Screen):
    site = scenes.at(told, FIELD.bowls["drained"], FIELD.cell_m)
    assert site is not None
    v = site.values
    assert (v["list"], v["drained_by"]) == ("covered drains", "ditch into covered pipe")
    assert v["confidence"] in ("medium", "high")
    # scikit-image (van der Walt et al. 2014, PeerJ 2:e453; reconstruction by erosion) on the field without noise
    seed = np.full_like(FIELD.clean, FIELD.clean.max())
    seed[0], seed[-1], seed[:, 0], seed[:, -1] = (FIELD.clean[k] for k in (0, -1, np.s_[:, 0], np.s_[:, -1]))
    filled = reconstruction(seed, FIELD.clean, method="erosion", footprint=np.ones((3, 3)))
    row, col = (int(v / FIELD.cell_m) for v in FIELD.bowls["drained"])
    assert v["spill_m"] == pytest.approx(filled[row, col], abs=0.03)
    assert v["pool_m2"] == pytest.approx((filled == filled[row, col]).sum() * FIELD.cell_m**2, rel=0.1)
    assert v["spill_m"] == v["today_m"]
    assert v["cuts_n"] == 0
    assert v["hydric_pct"] > 50.0
    assert v["farmed_share"] == 1.0


def test_the_mouth_is_where_the_ditch_begins(told: Screen):
    site = scenes.at(told, FIELD.bowls["drained"], FIELD.cell_m)
    assert site is not None
    mouth = site.values["_covered"].mouths[0]
    away = np.hypot(mouth.row * FIELD.cell_m - FIELD.mouth[0], mouth.col * FIELD.cell_m - FIELD.mouth[1])
    assert away <= 10.0
    assert mouth.kind == "ditch head"
    assert mouth.feasible
    # floor about 99.1, bed 98.25: the pipe comes out over the bed and 0.6 m and the fall below the floor
    assert 98.2 <= mouth.level_m <= site.values["floor_m"] - 0.6


def test_terrain_alone_is_low_at_the_most_and_a_whole_bowl_is_never_offered(untold: Screen, told: Screen):
    site = scenes.at(untold, FIELD.bowls["drained"], FIELD.cell_m)
    assert site is not None
    assert site.values["confidence"] == "low"
    assert site.values["hydric_pct"] is None
    for screen in (untold, told):
        assert scenes.at(screen, FIELD.bowls["whole"], FIELD.cell_m) is None
        row, col = (int(v / FIELD.cell_m) for v in FIELD.bowls["whole"])
        holds = [b for b in screen.basins if b.values["rim"] == "whole" and _holds(b.pool, row, col)]
        assert holds


def _holds(pool, row: int, col: int) -> bool:
    r, c = row - pool.row0, col - pool.col0
    return 0 <= r < pool.mask.shape[0] and 0 <= c < pool.mask.shape[1] and bool(pool.mask[r, c])


def test_a_mapped_wetland_is_not_called_drained():
    codes = np.full(FIELD.z.shape, 82, np.uint8)
    r, c = (int(v / FIELD.cell_m) for v in FIELD.bowls["whole"])
    codes[r - 50 : r + 50, c - 50 : c + 50] = 90
    layers = scenes.evidence(FIELD, ("drained", "whole"), codes)
    screen = screen_array(FIELD.z, FIELD.cell_m, evidence=layers)
    assert scenes.at(screen, FIELD.bowls["whole"], FIELD.cell_m) is None
    # the same bowl under crops cannot be told from a drained one: medium, no more
    cropped = screen_array(FIELD.z, FIELD.cell_m, evidence=scenes.evidence(FIELD, ("drained", "whole")))
    site = scenes.at(cropped, FIELD.bowls["whole"], FIELD.cell_m)
    assert site is not None
    assert site.values["confidence"] == "medium"
    assert site.values["drained_by"] == "buried drain suspected"


def test_ranks_go_on_after_the_open_drains_and_words_promise_nothing(told: Screen):
    covered = [s for s in told.sites if s.values["list"] == "covered drains"]
    opened = [s for s in told.sites if s.values.get("list") != "covered drains"]
    ranks = [s.values["rank"] for s in told.sites]
    assert ranks == list(range(1, len(ranks) + 1))
    assert all(o.values["rank"] < c.values["rank"] for o in opened for c in covered)
    words = " ".join(str(s.values[k]) for s in covered for k in ("work", "reasons", "cautions"))
    assert "locate service before anyone digs" in words
    assert "First find the pipe: there may be none." in words
    assert "soil map" in words
    assert "safe" not in words.lower()


def test_layers_say_where_to_look(told: Screen):
    layers = to_layers(told)
    mouths, lines = layers["pipe_mouths"], layers["suspected_lines"]
    ids = set(layers["sites"].loc[layers["sites"]["list"] == "covered drains", "site_id"])
    assert ids == set(mouths["site_id"])
    assert set(lines["site_id"]) <= ids
    assert mouths["words"].str.contains("look in").all()
    assert mouths["words"].str.contains("before anyone digs").all()
    assert (mouths.geometry.geom_type == "Point").all()
    assert set(lines["form"]) <= {"ridge", "trough", "route"}
    assert lines["strength"].between(0.0, 1.0).all()


def test_tiles_do_not_matter():
    layers = scenes.evidence(FIELD)
    one, two = (screen_array(FIELD.z, FIELD.cell_m, plan=Plan(tile, 2), evidence=layers) for tile in (2048, 150))
    assert [s.site_id for s in one.sites] == [s.site_id for s in two.sites]
    for a, b in zip(one.sites, two.sites, strict=True):
        assert a.values["reasons"] == b.values["reasons"]
        assert a.values["spill_m"] == b.values["spill_m"]


def test_wet_soil_without_a_basin_is_listed_and_not_ranked():
    layers = scenes.evidence(FIELD)
    assert layers.hydric is not None
    layers.hydric[:, :60] = 95
    screen = screen_array(FIELD.z, FIELD.cell_m, evidence=layers)
    ground = to_layers(screen)["wet_ground_no_rim"]
    assert len(ground) >= 1
    assert ground["area_m2"].max() == pytest.approx(60.0 * 420.0, rel=0.15)
    assert ground["words"].str.contains("for the visit to choose").all()
    assert "rank" not in ground.columns
    assert len(to_layers(screen_array(FIELD.z, FIELD.cell_m))["wet_ground_no_rim"]) == 0
