"""A stream traced in pieces: what goes on from its end and looks like it is one too, a ditch that joins is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wetscout.linework.attributes import Profile
from wetscout.linework.courses import go_on
from wetscout.linework.kinds import Signs
from wetscout.linework.streams import winds
from wetscout.settings.linework import LineworkSettings

SETTINGS = LineworkSettings()
STREAM = Signs(
    saturation=0.72, depth=0.85, climb=0.1, width=8.0, length=150.0, straight=0.85, one_sided=0.1, road_beside=False,
    valley_m=0.2, uneven=0.3, bow=4.0, rise=0.2,
)  # fmt: skip


def way(*corners: tuple[float, float]) -> np.ndarray:
    return np.array(corners, dtype=np.float64)


WAYS = [way((0, 0), (0, 150)), way((4, 156), (0, 300)), way((0, 306), (0, 450))]


def test_pieces_that_go_on_and_look_alike_are_named_after_the_stream() -> None:
    """One after the other, in either order; the third is reached through the second."""
    named = go_on(WAYS, [STREAM] * 3, ["natural stream", "ditch", "unclear"], 1.0, SETTINGS)
    assert named == ["natural stream"] * 3
    named = go_on(WAYS[::-1], [STREAM] * 3, ["ditch", "ditch", "natural stream"], 1.0, SETTINGS)
    assert named == ["natural stream"] * 3
    assert go_on(WAYS, [STREAM] * 3, ["ditch"] * 3, 1.0, SETTINGS) == ["ditch"] * 3
    assert go_on([], [], [], 1.0, SETTINGS) == []


@pytest.mark.parametrize(
    "other",
    [
        {"depth": 0.5},
        {"width": 4.0},
        {"saturation": 0.95},
        {"rise": 0.0},
        {"bow": 0.2},
        {"length": 40.0, "straight": 0.99},
    ],
)
def test_what_differs_keeps_its_name_and_so_does_what_lies_beyond(other: dict[str, float]) -> None:
    """Shallower, narrower, sharper, on no valley floor, or straight: a ditch that joins."""
    signs = [STREAM, replace(STREAM, **other), STREAM]
    named = go_on(WAYS, signs, ["natural stream", "ditch", "ditch"], 1.0, SETTINGS)
    assert named == ["natural stream", "ditch", "ditch"]


def test_ends_far_apart_and_other_kinds_are_left_alone() -> None:
    apart = [WAYS[0], WAYS[1] + [12, 0], WAYS[2]]
    assert go_on(apart, [STREAM] * 3, ["natural stream", "ditch", "ditch"], 1.0, SETTINGS)[1:] == ["ditch", "ditch"]
    assert go_on(WAYS, [STREAM] * 3, ["natural stream", "roadside", "ditch"], 1.0, SETTINGS)[1:] == [
        "roadside",
        "ditch",
    ]


def profile(points: np.ndarray, vary_m: float = 0.1) -> Profile:
    n = len(points)
    bed = 10.0 - 0.002 * np.arange(n)
    bank, half, dry = bed + 0.6 + vary_m * np.sin(np.arange(n) / 15.0), np.full(n, 2.0), np.zeros((n, 2))
    return Profile(points, bed, bank, bank, half, half, 0.0, 0.0, dry)


def test_a_short_course_of_tight_loops_is_a_stream_and_one_corner_or_a_gentle_bow_is_not() -> None:
    """Loops 40 m long and 15 m to either side, as even as a stream."""
    t = np.arange(0.0, 60.0, 0.25)
    loops = np.column_stack([15.0 * np.sin(2.0 * np.pi * t / 40.0), t])
    gentle = np.column_stack([4.0 * np.sin(2.0 * np.pi * t / 60.0), t])
    leg = np.arange(60.0)
    corner = np.concatenate([np.column_stack([leg, 0 * leg]), np.column_stack([0 * leg + 59, leg + 1])])

    def even(points: np.ndarray) -> np.ndarray:
        far = np.append(0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T)))
        at = np.arange(0.0, far[-1])
        return np.column_stack([np.interp(at, far, points[:, 0]), np.interp(at, far, points[:, 1])])

    told = [winds(profile(p), np.zeros(len(p), bool), 1.0, SETTINGS) for p in (even(loops), even(gentle), corner)]
    assert told == [True, False, False]
    # nor one as deep again at one place as at another: an outlet deepened round a knoll
    assert not winds(profile(even(loops), 0.5), np.zeros(len(even(loops)), bool), 1.0, SETTINGS)
