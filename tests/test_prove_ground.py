"""The truth of the invented landscapes, checked against closed forms and against scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage
from skimage.morphology import reconstruction

from wetscout.prove.fields import block_mean, sample, smooth_field, smooth_walk
from wetscout.prove.flood import fill_level, labels_of
from wetscout.prove.kinds import KINDS, options_of
from wetscout.prove.routes import grade, straighten
from wetscout.prove.sweep import Path, near, nearest, resample
from wetscout.prove.terrain import make_ground
from wetscout.prove.truth import natural_pools


def filled_by_reconstruction(z: np.ndarray) -> np.ndarray:
    """Depression filling as morphological reconstruction by erosion (scikit-image; Soille 2004, Morphological Image
    Analysis, ch. 6)."""
    seed = np.full_like(z, z.max())
    seed[[0, -1], :], seed[:, [0, -1]] = z[[0, -1], :], z[:, [0, -1]]
    return reconstruction(seed, z, method="erosion", footprint=np.ones((3, 3))).astype(z.dtype)


@pytest.mark.parametrize("kind", ["smooth", "white", "steps", "flat"])
def test_fill_is_that_of_scikit_image(kind: str) -> None:
    rng = np.random.default_rng(4)
    z = {
        "smooth": smooth_field(rng, (180, 230), 1.0, 30.0),
        "white": rng.standard_normal((120, 90)).astype(np.float32),
        "steps": np.round(3 * smooth_field(rng, (150, 150), 1.0, 14.0)).astype(np.float32),
        "flat": np.zeros((20, 30), dtype=np.float32),
    }[kind]
    assert np.array_equal(fill_level(z), filled_by_reconstruction(z))


def test_paraboloid_in_a_plain() -> None:
    """Bowl z = a r2 below a level plain: area pi R2, volume pi R2 h / 2 (closed form)."""
    radius, depth, n = 60.0, 0.9, 201
    y, x = np.mgrid[0:n, 0:n] - n // 2
    z = np.minimum(0.0, depth * ((x**2 + y**2) / radius**2 - 1)).astype(np.float32)
    (pool,) = natural_pools(z + np.float32(10), 1.0)
    assert pool.node.spill_m == pytest.approx(10.0, abs=1e-5)
    assert pool.node.floor_m == pytest.approx(9.1, abs=1e-5)
    assert pool.area_m2 == pytest.approx(np.pi * radius**2, rel=0.005)
    assert pool.volume_m3 == pytest.approx(np.pi * radius**2 * depth / 2, rel=0.005)


def test_two_bowls_in_a_third() -> None:
    """Sills at known levels: the two inner ones spill into each other at 9.5, the outer one at 10."""
    n = 161
    y, x = np.mgrid[0:n, 0:n] - n // 2
    z = np.full((n, n), 10.0, dtype=np.float32)
    z[np.hypot(x, y) < 60] = 9.5
    for centre, floor in ((-30, 9.0), (30, 8.8)):
        r = np.hypot(x - centre, y)
        z = np.where(r < 25, np.minimum(z, floor + (9.5 - floor) * r / 25), z).astype(np.float32)
    left, right, outer = natural_pools(z, 1.0)
    assert {round(left.node.spill_m, 3), round(right.node.spill_m, 3)} == {9.5}
    assert outer.node.spill_m == pytest.approx(10.0)
    assert left.parent == right.parent == 2 and outer.parent == -1
    # the outer one has the floor of the deeper inner one: one family
    assert outer.node.floor_pit in (left.node.floor_pit, right.node.floor_pit)
    assert outer.node.floor_m == pytest.approx(8.8, abs=1e-5)


def test_labels_lead_downhill() -> None:
    z = smooth_field(np.random.default_rng(0), (90, 110), 1.0, 25.0)
    labels, floor = labels_of(z)
    for label in range(1, floor.size):
        assert z[labels == label].min() == pytest.approx(floor[label])
    assert (labels[0] == 0).all() and (labels[:, -1] == 0).all()


def test_fields_have_unit_variance_and_the_length_asked() -> None:
    field = smooth_field(np.random.default_rng(1), (900, 900), 1.0, 20.0)
    assert field.std() == pytest.approx(1.0, rel=0.05)
    # neighbours alike, places two lengths apart unlike
    assert np.corrcoef(field[:, :-1].ravel(), field[:, 1:].ravel())[0, 1] > 0.97
    assert abs(np.corrcoef(field[:, :-40].ravel(), field[:, 40:].ravel())[0, 1]) < 0.05
    assert smooth_walk(np.random.default_rng(2), 20000, 1.0, 15.0).std() == pytest.approx(1.0, rel=0.05)


def test_sample_reads_planes_exactly() -> None:
    y, x = np.mgrid[0:20, 0:30]
    plane = (0.5 * x - 0.25 * y).astype(np.float64)
    got = sample(plane, np.array([3.5, 10.0]) * 2, np.array([4.25, 0.0]) * 2, 2.0)
    assert np.allclose(got, [0.5 * 3.5 - 0.25 * 4.25, 5.0])
    assert np.allclose(block_mean(plane, 2)[0, 0], plane[:2, :2].mean())


def test_distance_to_a_line() -> None:
    path = Path(np.array([10.0, 40.0]), np.array([10.0, 50.0]))
    distance, value = nearest((60, 60), 1.0, path, 12.1, np.array([1.0, 2.0]))
    slow = np.full((60, 60), np.inf)
    for r in range(60):
        for c in range(60):
            t = np.clip(((c - 10) * 30 + (r - 10) * 40) / 2500, 0, 1)
            slow[r, c] = np.hypot(c - 10 - 30 * t, r - 10 - 40 * t)
    close = slow <= 12.05
    assert np.allclose(distance[close], slow[close], atol=1e-4)
    assert np.isinf(distance[slow > 12.15]).all()
    assert np.array_equal(near((60, 60), 1.0, path, 12.1), np.isfinite(distance))
    assert value[30, 25] == pytest.approx(1.5, abs=1e-6)
    assert resample(path, 5.0).x.size == 11


def test_a_graded_bed_falls_and_stays_in_the_ground() -> None:
    rng = np.random.default_rng(5)
    along = np.arange(0, 900.0, 4)
    level = 20 + smooth_walk(rng, along.size, 4.0, 200.0)
    bed = grade(level, along, float(level[0]) - 0.3, 0.0005, 0.4)
    assert (np.diff(bed) <= -0.0005 * 4 + 1e-9).all()
    assert (bed <= level - 0.3 + 1e-9).all()


def test_straightening_stays_within_its_tolerance() -> None:
    t = np.linspace(0, 300, 200)
    path = Path(t, 12 * np.sin(t / 30))
    simple = straighten(path, 3.0)
    assert simple.x.size < 40
    assert np.abs(np.interp(path.x, simple.x, simple.y) - path.y).max() <= 3.0 / np.cos(np.arctan(0.4)) + 1e-9


@pytest.mark.parametrize("kind", ["rolling till plain", "stream valley", "natural levee"])
def test_natural_ground(kind: str) -> None:
    ground, streams = make_ground(np.random.default_rng(8), (700, 700), 1.0, options_of(kind))
    assert np.isfinite(ground).all() and np.ptp(ground) < 15
    # nothing dug: no step between neighbours outside the stream's own banks
    steep = np.maximum(np.abs(np.diff(ground, axis=0))[:, :-1], np.abs(np.diff(ground, axis=1))[:-1])
    for stream in streams:
        steep[near(ground.shape, 1.0, stream.path, 18.0)[:-1, :-1]] = 0
        assert (np.diff(stream.bed) <= 0).all()
    assert steep.max() < 0.3
    if kind == "natural levee":
        # crest over the land 80 m behind it, on most of its length
        off = ndimage.distance_transform_edt(~near(ground.shape, 1.0, streams[0].path, 1.0))
        assert np.median(ground[(off > 22) & (off < 30)]) > np.median(ground[(off > 75) & (off < 90)]) + 0.3


def test_every_kind_has_options() -> None:
    for kind in KINDS:
        o = options_of(kind)
        assert 0 <= o.drained <= 1 and o.basin_ha[0] >= 0.04 and o.basin_ha[1] <= 3.0
        assert sum(o.spoil_sides) == pytest.approx(1.0)
