"""The scoring of mapped channels, on ground made for it."""

from __future__ import annotations

import numpy as np
import pytest

from .channels import channel_recall
from .data import dem, mapped_channels


def _trench() -> tuple[np.ndarray, tuple[np.ndarray, np.ndarray]]:
    z = np.full((100, 200), 10.0)
    z[50, :] -= 0.8
    z[80, :] -= 0.1
    return z, (np.array([50.0, 50.0]), np.array([10.0, 190.0]))


def test_recall_counts_length_within_six_metres() -> None:
    z, line = _trench()
    half = (np.array([52.9, 52.9]), np.array([10.0, 100.0]))  # 2.9 cells of 2 m = 5.8 m beside it, half as long
    got = channel_recall([half], [line], z, 2.0)
    assert abs(got.share - 0.5) <= 0.03
    assert abs(got.ratio - 0.5) <= 0.01
    off = (half[0] + 0.2, half[1])
    assert channel_recall([off], [line], z, 2.0).share == 0.0


def test_shallow_channels_are_not_asked_for() -> None:
    z, line = _trench()
    shallow = (np.array([80.0, 80.0]), line[1])
    got = channel_recall([line], [line, shallow], z, 2.0)
    assert got.share == 1.0
    assert np.isclose(np.sort(got.incision_m)[[0, -1]], [0.1, 0.8]).all()


def test_nothing_found_is_nothing_recalled() -> None:
    z, line = _trench()
    got = channel_recall([], [line], z, 2.0)
    assert got.share == 0.0 and got.ratio == 0.0 and len(got.misses()) == len(got.row)


@pytest.mark.slow  # fetches a public package of 90 MB the first time
def test_mapped_channels_lie_in_cuts_of_the_dutch_core() -> None:
    """AHN (Dutch national lidar) and water-board lines: nine in ten samples are incised 0.3 m or more."""
    z, cell = dem("nl_oostrum_2m_core")
    assert z.shape == (1250, 1250) and np.isfinite(z).all()
    lines = mapped_channels()
    got = channel_recall(lines, lines, z, cell)
    assert got.share == 1.0
    assert 0.8 <= float((got.incision_m >= 0.3).mean()) <= 0.95
