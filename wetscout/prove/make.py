"""From a kind and a seed to a landscape with its answers."""

from __future__ import annotations

import zlib
from dataclasses import replace

import numpy as np

from wetscout.errors import InputError
from wetscout.prove import dig
from wetscout.prove.fields import block_mean, sample
from wetscout.prove.kinds import Options, options_of
from wetscout.prove.landscape import Landscape, TrueCulvert, TrueLine, TruePond
from wetscout.prove.network import Hollow, Network, rough_beds
from wetscout.prove.roads import Road, make_roads, raise_roads, roadside_cuts
from wetscout.prove.routes import Cut
from wetscout.prove.sweep import Path, near, resample
from wetscout.prove.terrain import make_ground
from wetscout.prove.truth import Pool, Works, natural_pools, near_mask, true_basins
from wetscout.records import BOOL, F32, F64


class _Site:
    """The landscape while it is being made, on the fine grid."""

    def __init__(self, kind: str, seed: int, shape: tuple[int, int], cell_m: float, options: Options) -> None:
        self.options, self.cell, self.shape = options, cell_m, shape
        # one stream of numbers a matter, so that a change in one leaves the others alone
        key = zlib.crc32(kind.encode())
        self.rng = {name: np.random.default_rng([seed, key, i]) for i, name in enumerate(_MATTERS)}
        self.ground, self.streams = make_ground(self.rng["ground"], shape, cell_m, options)
        self.pools = natural_pools(self.ground, cell_m)
        self.roads: list[Road] = []
        self.cuts: list[Cut] = self._dig_network()
        self.ponds: list[TruePond] = []
        self.culverts: list[TrueCulvert] = []
        self.fill: F32 = np.zeros(shape, dtype=np.float32)

    def _dig_network(self) -> list[Cut]:
        rng, o = self.rng["network"], self.options
        network = Network(rng, self.ground, self.cell, self.streams, o)
        if o.collectors_shun_basins:
            network.keep_off(near_mask(self.pools, self.shape, self.cell, 25.0))
        network.add_collectors()
        for pool in _chosen(rng, self.pools, o, self.shape):
            hollow = _hollow(rng, self.ground, pool, self.cell)
            network.drain(hollow, bool(rng.random() < o.partial))
        rough_beds(rng, network.cuts)
        self.roads = make_roads(self.rng["roads"], self.ground, self.cell, o, network.cuts)
        busy = near_mask(self.pools, self.shape, self.cell, 25.0)
        for stream in self.streams:
            busy |= near(self.shape, self.cell, Path(stream.path.x[::3], stream.path.y[::3]), 60.0)
        for cut in network.cuts:
            busy |= near(self.shape, self.cell, Path(cut.path.x[::2], cut.path.y[::2]), 18.0)
        return network.cuts + roadside_cuts(self.rng["roads"], self.ground, self.cell, self.roads, o.roadside, busy)

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


_MATTERS = ("ground", "roads", "network", "spoil", "ponds", "noise", "choice")


def _chosen(rng: np.random.Generator, pools: list[Pool], options: Options, shape: tuple[int, int]) -> list[Pool]:
    """Basins to be drained, lowest first: a share of those worth it, most often those nobody else encloses."""
    out = []
    for number, pool in enumerate(pools):
        worth = pool.area_m2 >= 350 and pool.node.spill_m - pool.node.floor_m >= 0.15
        top = pool.parent < 0
        same_floor_above = not top and pools[pool.parent].node.floor_pit == pool.node.floor_pit
        if not worth or same_floor_above:
            continue
        del number
        share = options.drained if top else 0.8 * options.drained
        if rng.random() < share:
            out.append(pool)
    return sorted(out, key=lambda p: p.node.floor_m)


def _hollow(rng: np.random.Generator, ground: F32, pool: Pool, cell_m: float) -> Hollow:
    """Where a drain starts: on the floor, within its lowest tenth."""
    rows, cols = pool.patch.mask.shape
    window = ground[pool.patch.row0 : pool.patch.row0 + rows, pool.patch.col0 : pool.patch.col0 + cols]
    depth = pool.node.spill_m - pool.node.floor_m
    r, c = np.nonzero(pool.patch.mask & (window <= pool.node.floor_m + 0.1 * depth))
    i = int(rng.integers(r.size))
    x, y = float(pool.patch.col0 + c[i]) * cell_m, float(pool.patch.row0 + r[i]) * cell_m
    return Hollow(x, y, pool.node.floor_m, pool.node.spill_m, pool.area_m2)


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
    ground = block_mean(site.ground, block)
    to_cells = (cell_m, block)
    low = opened if block == 1 else opened.reshape(n // block, block, n // block, block).min(axis=(1, 3))
    ditches = tuple(
        replace(_line(i, c.kind, c.path, c.bed, (c.width_m, c.side), to_cells), passing=bool(c.feeders))
        for i, c in enumerate(site.cuts)
    )
    return Landscape(
        z=block_mean(z, block),
        ground=ground,
        opened=np.ascontiguousarray(low, dtype=np.float32),
        cell_m=cell_m,
        kind=kind,
        seed=seed,
        basins=true_basins(ground, low, cell_m, Works(ditches, block_mean(site.fill, block))),
        ditches=ditches,
        culverts=tuple(
            TrueCulvert(_scaled(c.row, block), _scaled(c.col, block), c.line_id, c.length_m) for c in site.culverts
        ),
        roads=tuple(_line(i, "road", r.path, r.crown, (r.width_m, r.side), to_cells) for i, r in enumerate(site.roads)),
        streams=tuple(
            _line(i, "stream", s.path, s.bed, (s.width_m, 1.8), to_cells) for i, s in enumerate(site.streams)
        ),
        ponds=tuple(TruePond(p.row / cell_m, p.col / cell_m, p.area_m2, p.depth_m, p.joined) for p in site.ponds),
        noise_m=sigma,
    )


def _scaled(fine_cells: F64, block: int) -> F64:
    """Positions on the fine grid as positions on the grid of averaged blocks."""
    return (fine_cells - (block - 1) / 2) / block


def _line(
    number: int, kind: str, path: Path, level: F64, section: tuple[float, float], to_cells: tuple[float, int]
) -> TrueLine:
    """A line with stations about a metre apart, in cells."""
    cell_m, block = to_cells
    fine = resample(path, 1.0)
    at = np.interp(fine.along, path.along, level)
    row, col = _scaled(fine.y / cell_m * block, block), _scaled(fine.x / cell_m * block, block)
    return TrueLine(number, kind, row, col, at, section[0], section[1])


def drained_mask(landscape: Landscape) -> BOOL:
    """Mark the cells of all drained natural basins.

    Parameters
    ----------
    landscape : Landscape

    Returns
    -------
    bool (rows, cols)
    """
    mask: BOOL = np.zeros(landscape.z.shape, dtype=np.bool_)
    for b in landscape.basins:
        if b.drained:
            rows, cols = b.pool.mask.shape
            mask[b.pool.row0 : b.pool.row0 + rows, b.pool.col0 : b.pool.col0 + cols] |= b.pool.mask
    return mask
