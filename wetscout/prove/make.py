"""From a kind and a seed to a landscape with its answers."""

from __future__ import annotations

import zlib
from dataclasses import replace

import numpy as np

from wetscout.errors import InputError
from wetscout.prove import dig
from wetscout.prove.afterwards import Before, covered_truths, paint_uses, with_originals, with_uses
from wetscout.prove.buried import backfill
from wetscout.prove.cover import make_cover, uses_of
from wetscout.prove.downstream import with_chain
from wetscout.prove.earthwork import do_work
from wetscout.prove.fields import block_mean, sample
from wetscout.prove.found import inside
from wetscout.prove.kinds import Options, options_of
from wetscout.prove.landscape import Landscape, Maps, TrueCovered, TrueCulvert, TrueLine, TruePond
from wetscout.prove.network import Network
from wetscout.prove.plan import dig_network, plan_works
from wetscout.prove.roads import Road, make_roads, raise_roads, roadside_cuts
from wetscout.prove.routes import STEP_M, Cut
from wetscout.prove.soilmap import make_soils
from wetscout.prove.sweep import Path, near, resample
from wetscout.prove.terrain import make_ground
from wetscout.prove.truth import Works, natural_pools, near_mask, true_basins
from wetscout.records import F32, F64


class _Site:
    """The landscape while it is being made, on the fine grid."""

    def __init__(self, kind: str, seed: int, shape: tuple[int, int], cell_m: float, options: Options) -> None:
        self.options, self.cell, self.shape = options, cell_m, shape
        # one stream of numbers a matter, so that a change in one leaves the others alone
        key = zlib.crc32(kind.encode())
        self.rng = {name: np.random.default_rng([seed, key, i]) for i, name in enumerate(_MATTERS)}
        self.original, self.streams = make_ground(self.rng["ground"], shape, cell_m, options)
        self.pools = natural_pools(self.original, cell_m)
        network = Network(self.rng["network"], self.original, cell_m, self.streams, options)
        self.dug = dig_network(self.rng, network, self.original, self.pools, cell_m, options)
        self.ground = self._worked()
        self.roads: list[Road] = make_roads(self.rng["roads"], self.ground, cell_m, options, self.dug.cuts)
        self.cuts: list[Cut] = self.dug.cuts + self._roadside()
        self.ponds: list[TruePond] = []
        self.culverts: list[TrueCulvert] = []
        self.fill: F32 = np.zeros(shape, dtype=np.float32)

    def _worked(self) -> F32:
        """The ground after rims were graded, floors raised, fields levelled and trenches closed."""
        works = plan_works(self.rng["earthwork"], self.dug, self.pools, self.options)
        if not self.dug.pipes and all(w.idle for w in works):
            return self.original
        ground = do_work(self.rng["earthwork"], self.original, self.cell, works)
        backfill(self.rng["covered"], ground, self.cell, self.dug.pipes)
        return ground

    def _roadside(self) -> list[Cut]:
        busy = near_mask(self.pools, self.shape, self.cell, 25.0)
        for stream in self.streams:
            busy |= near(self.shape, self.cell, Path(stream.path.x[::3], stream.path.y[::3]), 60.0)
        for cut in self.dug.cuts:
            busy |= near(self.shape, self.cell, Path(cut.path.x[::2], cut.path.y[::2]), 18.0)
        return roadside_cuts(self.rng["roads"], self.ground, self.cell, self.roads, self.options.roadside, busy)

    def uses(self) -> list[str]:
        """What each basin of the original ground is used for."""
        drained = set(self.dug.drains) | {p.pool for p in self.dug.pipes}
        for number, pool in enumerate(self.pools):
            for cut in self.cuts:
                if cut.kind in ("roadside", "dead ditch") or number in drained:
                    continue
                if inside(pool.patch, cut.path.y / self.cell, cut.path.x / self.cell).any():
                    drained.add(number)
        return uses_of(self.rng["use"], self.pools, drained, self.options.wetlands)

    def maps(self, uses: list[str]) -> Maps:
        """Soil map and land cover, the latter on the fine grid."""
        soils = make_soils(self.rng["soils"], self.original, self.cell, self.pools, uses)
        return Maps(soils, make_cover(self.rng["cover"], self.shape, self.cell, (self.pools, uses), self.roads))

    def surfaces(self) -> tuple[F32, F32]:
        """Today's ground without noise: as a DEM shows it, and with the culverts open."""
        z = self.ground.copy()
        dig.lay_spoil(self.rng["spoil"], z, self.ground, self.cell, self.cuts)
        dig.carve_all(z, self.ground, self.cell, self.cuts)
        self._dig_ponds(z)
        self.fill = raise_roads(z, self.cell, self.roads)
        opened = z.copy()
        for number, cut in enumerate(self.cuts):
            if cut.kind != "roadside":
                self._lead_under(opened, number, cut)
        for stream in self.streams:
            bridge = bool(self.rng["roads"].random() < 0.5)
            for a, b in dig.culverts_of(self.fill, self.cell, stream.path):
                path, bed = dig.cut_out(stream.path, stream.bed, a, b)
                dig.carve(opened, self.ground, self.cell, path, bed - 0.02, (stream.width_m, 1.0))
                if bridge:
                    dig.carve(z, self.ground, self.cell, path, bed - 0.02, (stream.width_m, 1.0))
        return z, opened

    def _lead_under(self, opened: F32, number: int, cut: Cut) -> None:
        for a, b in dig.culverts_of(self.fill, self.cell, cut.path):
            path, bed = dig.cut_out(cut.path, cut.bed, a, b)
            dig.carve(opened, self.ground, self.cell, path, bed - 0.02, (max(1.0, 1.5 * self.cell), 0.6))
            ends = [0, -1]
            self.culverts.append(TrueCulvert(path.y[ends] / self.cell, path.x[ends] / self.cell, number, b - a))

    def _dig_ponds(self, z: F32) -> None:
        rng, o = self.rng["ponds"], self.options
        want = int(rng.integers(o.ponds[0], o.ponds[1] + 1))
        busy = near_mask(self.pools, self.shape, self.cell, 45.0)
        for road in self.roads:
            busy |= near(self.shape, self.cell, Path(road.path.x[::3], road.path.y[::3]), 45.0)
        beds = [(c, i) for c in self.cuts if c.kind != "roadside" for i in range(8, c.path.x.size - 4, 6)]
        for _ in range(60):
            if len(self.ponds) >= want:
                break
            joined = bool(beds) and rng.random() < o.ponds_joined
            if joined:
                cut, i = beds[int(rng.integers(len(beds)))]
                x, y = float(cut.path.x[i]), float(cut.path.y[i])
            else:
                x, y = rng.uniform(40, self.shape[1] * self.cell - 40), rng.uniform(40, self.shape[0] * self.cell - 40)
            r, c = int(y / self.cell), int(x / self.cell)
            if not (0 <= r < self.shape[0] and 0 <= c < self.shape[1]) or busy[r, c]:
                continue
            if not joined and any(np.hypot(k.path.x - x, k.path.y - y).min() < 45 for k in self.cuts):
                continue
            level = (
                float(z[r, c]) if not joined else float(sample(self.ground, np.array([x]), np.array([y]), self.cell)[0])
            )
            area, bottom = dig.dig_pond(rng, z, self.cell, x, y)
            self.ponds.append(TruePond(y, x, area, level - bottom, joined))


# new matters go to the end: the number of a matter is part of its seed
_MATTERS = (
    "ground", "roads", "network", "spoil", "ponds", "noise", "choice", "chains", "covered", "earthwork", "use", "soils",
    "cover",
)  # fmt: skip


def make_landscape(
    kind: str, seed: int, cell_m: float = 1.0, size_m: float = 2000.0, options: Options | None = None
) -> Landscape:
    """Invent a landscape with exact answers.

    Parameters
    ----------
    kind : str
        One of `KINDS`; with `options` any name.
    seed : int
        Same kind, seed, cell and size: same landscape.
    cell_m : float
        Cell size of the DEM [m]; the ground is made on cells of about 1 m and then averaged.
    size_m : float
        Side of the square [m].
    options : Options or None
        Instead of the kind's own.

    Returns
    -------
    Landscape

    Raises
    ------
    InputError
        For an unknown kind, a cell outside 0.5-10 m or a square of less than 300 m.
    """
    if not 0.5 <= cell_m <= 10.0 or size_m < 300.0:
        raise InputError(f"cells of {cell_m} m on {size_m} m: wanted are cells of 0.5-10 m on at least 300 m")
    block = max(1, round(cell_m))
    fine = cell_m / block
    n = int(size_m / cell_m) * block
    site = _Site(kind, seed, (n, n), fine, options or options_of(kind))
    shown, opened = site.surfaces()
    rng, o = site.rng["noise"], site.options
    sigma = float(rng.uniform(*o.noise_m))
    z = shown + dig.furrows(rng, (n, n), fine, o.furrows) + dig.noise(rng, (n, n), fine, sigma, o)
    to_cells = (cell_m, block)
    low = opened if block == 1 else opened.reshape(n // block, block, n // block, block).min(axis=(1, 3))
    bare = Landscape(
        z=block_mean(z, block),
        ground=block_mean(site.ground, block),
        opened=np.ascontiguousarray(low, dtype=np.float32),
        cell_m=cell_m,
        kind=kind,
        seed=seed,
        basins=(),
        ditches=tuple(_ditch(i, c, to_cells) for i, c in enumerate(site.cuts)),
        culverts=tuple(
            TrueCulvert(_scaled(c.row, block), _scaled(c.col, block), c.line_id, c.length_m) for c in site.culverts
        ),
        roads=tuple(_line(i, "road", r.path, r.crown, (r.width_m, r.side), to_cells) for i, r in enumerate(site.roads)),
        streams=tuple(
            _line(i, "stream", s.path, s.bed, (s.width_m, 1.8), to_cells) for i, s in enumerate(site.streams)
        ),
        ponds=tuple(TruePond(p.row / cell_m, p.col / cell_m, p.area_m2, p.depth_m, p.joined) for p in site.ponds),
        noise_m=sigma,
        original=None if site.ground is site.original else block_mean(site.original, block),
    )
    return _with_answers(bare, site, block)


def _with_answers(bare: Landscape, site: _Site, block: int) -> Landscape:
    """Flood the ground, follow ditches and pipes, draw the maps."""
    works = Works(bare.ditches, block_mean(site.fill, block))
    basins = true_basins(bare.ground, bare.opened, bare.cell_m, works)
    uses = site.uses()
    maps = site.maps(uses)
    half = block // 2
    maps = replace(maps, landcover=np.ascontiguousarray(maps.landcover[half::block, half::block]))
    use_map = paint_uses(site.pools, uses, site.shape)[half::block, half::block]
    basins = with_uses(with_chain(basins, bare.ground, bare.opened, bare.cell_m), use_map)
    covered: tuple[TrueCovered, ...] = ()
    if bare.original is not None:
        before = Before.of(bare.original, bare.cell_m)
        basins = with_originals(basins, before)
        lines = [(p, *_stations(p.path, (bare.cell_m, block))) for p in site.dug.pipes]
        covered, basins = covered_truths(basins, lines, before, maps)
    return replace(bare, basins=basins, covered=covered, soils=maps.soils, landcover=maps.landcover)


def _scaled(fine_cells: F64, block: int) -> F64:
    """Positions on the fine grid as positions on the grid of averaged blocks."""
    return (fine_cells - (block - 1) / 2) / block


def _stations(path: Path, to_cells: tuple[float, int]) -> tuple[F64, F64]:
    """Row and column [cells] of stations about a metre apart."""
    cell_m, block = to_cells
    fine = resample(path, 1.0)
    return _scaled(fine.y / cell_m * block, block), _scaled(fine.x / cell_m * block, block)


def _line(
    number: int, kind: str, path: Path, level: F64, section: tuple[float, float], to_cells: tuple[float, int]
) -> TrueLine:
    """A line with stations about a metre apart, in cells."""
    at = np.interp(resample(path, 1.0).along, path.along, level)
    return TrueLine(number, kind, *_stations(path, to_cells), at, section[0], section[1])


def _ditch(number: int, cut: Cut, to_cells: tuple[float, int]) -> TrueLine:
    """A ditch, with what it joins."""
    line = _line(number, cut.kind, cut.path, cut.bed, (cut.width_m, cut.side), to_cells)
    if cut.joins is None:
        return replace(line, passing=bool(cut.feeders))
    # stations of the ditch joined are 4 m apart where it is dug and 1 m apart as a line
    return replace(line, passing=bool(cut.feeders), joins=cut.joins[0], joins_at=round(cut.joins[1] * STEP_M))
