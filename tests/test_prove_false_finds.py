"""Specimens of what must not be offered: they are what they say, and offers on them are counted."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from skimage.morphology import reconstruction

from wetscout.cli import app, prove
from wetscout.errors import InputError
from wetscout.prove import FALSE_FINDS, Found, false_find_lines, make_specimens, prove_false_finds
from wetscout.prove.canvas import Canvas
from wetscout.prove.false_finds import SpecimenLand, count_offered
from wetscout.prove.kinds import options_of
from wetscout.records import Patch

ASKED = (
    "terraces", "waterways", "pond dams", "borrow pits", "railways", "canals", "already plugged", "restored wetlands",
    "levelled", "streams and their heads", "sinuous", "road cuts", "furrows", "dug ponds", "lagoons", "quarries",
    "building",
)  # fmt: skip


def filled(z: np.ndarray) -> np.ndarray:
    """Depression filling by scikit-image (reconstruction by erosion; Soille 2004, ch. 6)."""
    seed = np.full_like(z, z.max())
    seed[[0, -1], :], seed[:, [0, -1]] = z[[0, -1], :], z[:, [0, -1]]
    return reconstruction(seed, z, method="erosion", footprint=np.ones((3, 3)))


@pytest.fixture(scope="module")
def lands() -> dict[str, SpecimenLand]:
    return {kind: make_specimens(kind, 3, 2.0) for kind in FALSE_FINDS}


def cells(s: Patch) -> tuple[slice, slice]:
    return slice(s.row0, s.row0 + s.mask.shape[0]), slice(s.col0, s.col0 + s.mask.shape[1])


def test_every_kind_asked_for_is_there() -> None:
    assert len(FALSE_FINDS) == len(ASKED)
    assert all(sum(word in kind for kind in FALSE_FINDS) == 1 for word in ASKED)


@pytest.mark.parametrize("kind", FALSE_FINDS)
def test_specimens_show_in_the_ground(kind: str, lands: dict[str, SpecimenLand]) -> None:
    land = lands[kind]
    assert land.specimens and np.isfinite(land.z).all()
    assert land.maps.landcover.shape == land.z.shape and land.maps.soils
    marked = np.zeros(land.z.shape, dtype=bool)
    for s in land.specimens:
        marked[cells(s)] |= s.mask
    # rough where it stands, smooth beside it; the noise has a spread of at most 6 cm
    slope = np.hypot(*np.gradient(land.z.astype(float), land.cell_m))
    if (~marked).mean() > 0.1:
        assert np.quantile(slope[marked], 0.98) > np.quantile(slope[~marked], 0.98) - 0.01
    assert slope[marked].max() > 0.08


@pytest.mark.parametrize("kind", ["ditches already plugged", "restored wetlands", "pond dams", "dug ponds", "quarries"])
def test_closed_things_close(kind: str, lands: dict[str, SpecimenLand]) -> None:
    land = lands[kind]
    depth = filled(land.z) - land.z
    wet = land.z * 0
    for s in land.specimens:
        wet[cells(s)] = np.maximum(wet[cells(s)], np.where(s.mask, depth[cells(s)], 0))
    # at least half of the specimens hold 0.2 m, or were surveyed full: flat to the centimetre
    flat = [np.ptp(np.sort(land.z[cells(s)][s.mask])[: max(4, int(s.mask.sum() * 0.03))]) for s in land.specimens]
    holds = [depth[cells(s)][s.mask].max() > 0.2 or f < 0.25 for s, f in zip(land.specimens, flat, strict=True)]
    assert np.mean(holds) >= 0.5


def test_the_country_has_no_basin_of_its_own() -> None:
    canvas = Canvas.of(np.random.default_rng(1), (200, 200), 2.0, replace(options_of("steep till"), basins_per_km2=0.0))
    assert np.allclose(filled(canvas.ground), canvas.ground)


def test_the_same_seed_makes_the_same_specimens() -> None:
    one, two = (make_specimens("lagoons", 5, 2.0) for _ in range(2))
    assert np.array_equal(one.z, two.z) and np.array_equal(one.maps.landcover, two.maps.landcover)
    assert not np.array_equal(one.z, make_specimens("lagoons", 6, 2.0).z)
    with pytest.raises(InputError, match="no kind of false find"):
        make_specimens("moons", 1)


def square(row: int, col: int, side: int) -> Patch:
    return Patch(row, col, np.ones((side, side), dtype=bool))


def site(pool: Patch, words: str = "ditch") -> Found:
    return Found(pool, 1.0, 1.0, (), words, "low")


def test_offers_are_counted_once_a_specimen(lands: dict[str, SpecimenLand]) -> None:
    land = replace(lands["lagoons"], specimens=(square(0, 0, 10), square(50, 50, 10), square(100, 0, 10)))
    offers = [site(square(5, 5, 4)), site(square(2, 2, 3)), site(square(55, 55, 8), "buried drain suspected")]
    offers += [site(square(80, 80, 5)), site(square(5, 5, 100))]
    c = count_offered(land, offers)
    assert (c.specimens, c.offered, c.as_open, c.as_covered, c.elsewhere) == (3, 3, 3, 1, 1)
    assert len(c.sites) == 4
    text = "\n".join(false_find_lines([c]))
    assert "100.0 %" in text and "sites on specimens (4)" in text
    assert count_offered(land, []).offered == 0


def test_enough_specimens_are_screened() -> None:
    seen: list[int] = []

    def screen(z: np.ndarray, cell_m: float, maps: object) -> list[Found]:
        assert cell_m == 3.0 and maps is not None
        seen.append(z.size)
        return [site(square(0, 0, 2000))] if len(seen) == 1 else []

    told: list[tuple[int, int]] = []
    counts = prove_false_finds(screen, ["dug ponds", "railways"], 10, 3.0, 4, lambda done, of: told.append((done, of)))
    assert [c.kind for c in counts] == ["dug ponds", "railways"] and all(c.specimens >= 10 for c in counts)
    assert counts[0].offered == 3 and counts[1].offered == 0
    assert len(seen) == 4 + 10 and told[-1] == (20, 20)


def test_the_command_prints_a_table(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(prove, "found_by_screen", lambda z, cell_m, maps: ())
    assert app.run(["prove", "--false-finds", "3", "--kinds", "dug ponds, lagoons", "--cell", "4", "-q"]) == 0
    table = capsys.readouterr().out.splitlines()
    assert [line.split("  ")[0] for line in table[1:3]] == ["dug ponds", "lagoons"] and "0.0 %" in table[1]
    assert app.run(["prove", "--false-finds", "3", "--kinds", "lagoons", "--cell", "4", "--json", "-q"]) == 0
    (count,) = json.loads(capsys.readouterr().out)["false_finds"]
    assert count["specimens"] >= 3 and count["offered"] == 0 and count["sites"] == []


def test_the_command_names_the_kinds_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert app.run(["prove", "--false-finds", "3", "--kinds", "flat lake plain"]) == 2
    assert "pond dams" in capsys.readouterr().err
