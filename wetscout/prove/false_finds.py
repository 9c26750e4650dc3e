"""What must not be offered: specimens of one kind on small pieces of country, made, screened and counted."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from wetscout.errors import InputError
from wetscout.prove import specimens_fields, specimens_lines, specimens_water
from wetscout.prove.canvas import HILLS, PLAIN, Canvas
from wetscout.prove.dig import noise
from wetscout.prove.fields import block_mean
from wetscout.prove.found import Found, overlap
from wetscout.prove.kinds import Options
from wetscout.prove.landscape import Maps
from wetscout.prove.run import ScreenFunction
from wetscout.records import F32, Patch

_SLOPE, _LEVEL = specimens_fields.SLOPE, specimens_fields.LEVEL

# name: maker, country, side of the square [m]
_KINDS: dict[str, tuple[Callable[[Canvas], None], Options, float]] = {
    "terraces with riser catch basins": (specimens_fields.terraces, _SLOPE, 520.0),
    "grassed waterways": (specimens_lines.grassed_waterways, _SLOPE, 560.0),
    "pond dams": (specimens_water.pond_dams, _SLOPE, 560.0),
    "borrow pits": (specimens_water.borrow_pits, PLAIN, 560.0),
    "railways": (specimens_lines.railways, HILLS, 420.0),
    "irrigation canals": (specimens_lines.canals, _LEVEL, 420.0),
    "ditches already plugged": (specimens_water.plugged_ditches, PLAIN, 560.0),
    "restored wetlands": (specimens_water.restored_wetlands, PLAIN, 560.0),
    "land levelled for irrigation": (specimens_fields.levelled_land, _LEVEL, 560.0),
    "natural streams and their heads": (specimens_lines.stream_heads, _SLOPE, 560.0),
    "sinuous valleys": (specimens_lines.sinuous_valleys, PLAIN, 480.0),
    "road cuts": (specimens_lines.road_cuts, HILLS, 420.0),
    "furrows": (specimens_fields.furrowed_fields, _LEVEL, 480.0),
    "dug ponds": (specimens_water.dug_ponds, PLAIN, 560.0),
    "lagoons": (specimens_water.lagoons, PLAIN, 440.0),
    "quarries": (specimens_water.quarries, PLAIN, 620.0),
    "building cut-outs": (specimens_fields.buildings, PLAIN, 480.0),
}

FALSE_FINDS: tuple[str, ...] = tuple(_KINDS)


@dataclass(frozen=True)
class SpecimenLand:
    """A piece of country with specimens of one kind: the DEM, the maps, and the ground each specimen stands on."""

    kind: str
    seed: int
    cell_m: float
    z: F32
    maps: Maps
    specimens: tuple[Patch, ...]


@dataclass(frozen=True)
class Offered:
    """A site on a specimen: which country, place [cells], pool [m2], how it was said to be drained."""

    seed: int
    row: float
    col: float
    pool_m2: float
    drained_by: str
    confidence: str


@dataclass(frozen=True)
class KindCount:
    """How many specimens of one kind were offered; sites on open ground beside them are counted apart.

    `as_open` and `as_covered` count specimens with a site of that sort.
    """

    kind: str
    specimens: int
    offered: int
    as_open: int
    as_covered: int
    elsewhere: int
    sites: tuple[Offered, ...]


def make_specimens(kind: str, seed: int, cell_m: float = 1.0) -> SpecimenLand:
    """Make a piece of country with one to sixteen specimens of a kind.

    Parameters
    ----------
    kind : str
        One of `FALSE_FINDS`.
    seed : int
    cell_m : float
        [m].

    Returns
    -------
    SpecimenLand

    Raises
    ------
    InputError
        When there is no such kind.
    """
    if kind not in _KINDS:
        raise InputError(f"no kind of false find is called {kind!r}; there are: {', '.join(FALSE_FINDS)}")
    maker, options, side = _KINDS[kind]
    block = max(1, round(cell_m))
    fine = cell_m / block
    n = int(side / cell_m) * block
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode())])
    canvas = Canvas.of(rng, (n, n), fine, options)
    maker(canvas)
    z = canvas.z + noise(rng, (n, n), fine, float(rng.uniform(*options.noise_m)), options)
    return SpecimenLand(kind, seed, cell_m, block_mean(z, block), canvas.maps(block), canvas.patches(block))


def count_offered(land: SpecimenLand, found: Sequence[Found]) -> KindCount:
    """Count the specimens on which a site was offered.

    Parameters
    ----------
    land : SpecimenLand
    found : sequence of Found
        A site is on a specimen when its pool shares a cell with it.

    Returns
    -------
    KindCount
    """
    on = [[i for i, s in enumerate(land.specimens) if overlap(f.pool, s)] for f in found]
    opened = {i for f, hit in zip(found, on, strict=True) for i in hit if not f.covered}
    covered = {i for f, hit in zip(found, on, strict=True) for i in hit if f.covered}
    sites = []
    for f, hit in zip(found, on, strict=True):
        if hit:
            r, c = np.nonzero(f.pool.mask)
            place = float(f.pool.row0 + r.mean()), float(f.pool.col0 + c.mean())
            sites.append(Offered(land.seed, *place, r.size * land.cell_m**2, f.drained_by, f.confidence))
    return KindCount(
        land.kind,
        len(land.specimens),
        len(opened | covered),
        len(opened),
        len(covered),
        sum(not h for h in on),
        tuple(sites),
    )


def prove_false_finds(
    screen_function: ScreenFunction,
    kinds: Sequence[str],
    wanted: int,
    cell_m: float = 1.0,
    first_seed: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> list[KindCount]:
    """Screen specimens of each kind until there are enough of them.

    Parameters
    ----------
    screen_function : callable (z, cell_m, maps) -> sequence of Found
    kinds : sequence of str
        Out of `FALSE_FINDS`.
    wanted : int
        Specimens of each kind, at least.
    cell_m : float
        [m].
    first_seed : int
    progress : callable (done, of) or None
        Told after each piece of country, in specimens.

    Returns
    -------
    list of KindCount
        One a kind.
    """
    out = []
    for number, kind in enumerate(kinds):
        total = KindCount(kind, 0, 0, 0, 0, 0, ())
        seed = first_seed
        while total.specimens < wanted:
            land = make_specimens(kind, seed, cell_m)
            total = _sum(total, count_offered(land, screen_function(land.z.copy(), cell_m, land.maps)))
            seed += 1
            if progress is not None:
                progress(number * wanted + min(total.specimens, wanted), len(kinds) * wanted)
        out.append(total)
    return out


def _sum(a: KindCount, b: KindCount) -> KindCount:
    return KindCount(
        a.kind,
        a.specimens + b.specimens,
        a.offered + b.offered,
        a.as_open + b.as_open,
        a.as_covered + b.as_covered,
        a.elsewhere + b.elsewhere,
        a.sites + b.sites,
    )


def false_find_lines(counts: Sequence[KindCount]) -> list[str]:
    """Print the counts as a table.

    Parameters
    ----------
    counts : sequence of KindCount

    Returns
    -------
    list of str
    """
    out = [f"{'kind':<34}{'specimens':>10}{'offered':>9}{'share':>8}{'open':>6}{'covered':>9}{'elsewhere':>11}"]
    for c in counts:
        share = 100.0 * c.offered / max(c.specimens, 1)
        out.append(
            f"{c.kind:<34}{c.specimens:>10}{c.offered:>9}{share:>6.1f} %"
            f"{c.as_open:>6}{c.as_covered:>9}{c.elsewhere:>11}"
        )
    bad = [(c.kind, s) for c in counts for s in c.sites]
    out += [f"sites on specimens ({len(bad)}):"] if bad else []
    out += [
        f"  {kind}, seed {s.seed}: row {s.row:.0f} col {s.col:.0f}, {s.pool_m2:.0f} m2, {s.drained_by}, {s.confidence}"
        for kind, s in bad[:60]
    ]
    return out
