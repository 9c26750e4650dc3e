"""Cuts that do not show at the rim: depths by hand on level ground."""

from __future__ import annotations

import numpy as np
import pytest

from wetscout.records import FILL, Patch, Plug, Site, Surfaces
from wetscout.restore import cut_shows
from wetscout.settings.restore import RestoreSettings

S = RestoreSettings()
FAR = np.array([0.0, 1.0])


def told(cut_m, by="ditch", at=((50, 50),), fill=None, cell_m=1.0, line=(FAR, FAR)):
    """A cut along row 50, so deep below level ground; plugs at places; road fill along a column."""
    natural = np.full((100, 100), 100.0, np.float32)
    smooth = natural.copy()
    smooth[50] -= np.float32(cut_m)
    corridor = np.zeros((100, 100), np.uint8)
    if fill is not None:
        corridor[:, fill] = FILL
    plugs = tuple(Plug("a", "a", 1, k, *line, {"_row": r, "_col": c}) for k, (r, c) in enumerate(at))
    patch = Patch(0, 0, np.ones((2, 2), dtype=bool))
    site = Site("a", patch, None, (), plugs, (), {"drained_by": by})
    return cut_shows(site, Surfaces(smooth, smooth, natural, natural, corridor), cell_m, S)


@pytest.mark.parametrize("left_m", [-0.15, 0.0, 0.05, 0.1, 0.15, 0.22])
def test_what_backfill_leaves_over_a_pipe_is_no_open_cut(left_m):
    """Issue: a ridge or trough of 0-0.15 m; the deepest of fifty noisy cells reads up to 0.22 m."""
    assert not told(left_m)
    assert not told(left_m, by="ditch under road")


def test_a_ditch_shows():
    assert told(0.25)
    assert told(0.35, by="ditch under road")


def test_a_pipe_guessed_under_a_road_needs_a_ditch_at_its_end():
    assert not told(0.25, by="ditch under road")


@pytest.mark.parametrize(("row", "shows"), [(48, True), (52, True), (46, False), (54, False)])
def test_it_shows_within_two_metres_of_its_plug(row, shows):
    assert told(0.5, at=((row, 50),)) is shows


@pytest.mark.parametrize(("col", "hidden"), [(52, True), (54, True), (56, False)])
def test_road_fill_beside_the_plug_hides_it(col, hidden):
    assert told(0.0, by="ditch under road", fill=col) is hidden


@pytest.mark.parametrize(("row", "shows"), [(30.0, False), (60.0, True)])
def test_it_may_show_along_a_plug_that_was_shifted_from_the_rim(row, shows):
    """The rim at row 20, the plug from row 20 to another one: across the cut along row 50, or short of it."""
    assert told(0.5, at=((20, 20),), line=(np.array([20.0, row]), np.array([20.0, 30.0]))) is shows


def test_one_open_cut_of_several_is_enough_and_without_plugs_nothing_is_said():
    assert told(0.5, at=((20, 20), (50, 50)))
    assert not told(0.5, at=((20, 20), (80, 80)))
    assert told(0.0, at=())


def test_at_the_border_and_in_wide_cells():
    assert told(0.5, at=((50, 0),)) and told(0.5, at=((50, 99),))
    assert told(0.0, cell_m=2.0)
