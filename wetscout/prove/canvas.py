"""A small piece of country on which specimens of what must not be offered are set, each with its place."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from wetscout.prove.cover import CROPS
from wetscout.prove.cover import STEP_M as COVER_M
from wetscout.prove.dig import carve
from wetscout.prove.fields import sample
from wetscout.prove.flood import fill_level
from wetscout.prove.kinds import Options
from wetscout.prove.landscape import Maps
from wetscout.prove.soilmap import STEP_M as SOIL_M
from wetscout.prove.soilmap import draw_soils, map_shape
from wetscout.prove.sweep import Path, resample
from wetscout.prove.terrain import make_ground
from wetscout.records import BOOL, F32, F64, I32, Patch

# Country without basins: what is set on it is all there is to be found.
PLAIN = Options(basins_per_km2=0.0, fall=(0.003, 0.007), relief_m=(0.8, 0.25, 0.06), swales=(0, 1))
# Heights that a line must cut through and lows it must be carried over.
HILLS = replace(PLAIN, fall=(0.004, 0.012), relief_m=(2.2, 1.2, 0.15), relief_length_m=(420.0, 200.0, 110.0))


@dataclass
class Canvas:
    """The country while specimens are set on it.

    Attributes
    ----------
    rng : Generator
    ground : float32 (rows, cols)
        Before [m].
    z : float32 (rows, cols)
        Changed in place [m].
    cell : float
        [m].
    specimens : list of bool (rows, cols)
        Ground of each.
    cover : list of (bool (rows, cols), code)
    wet : list of bool (rows, cols)
        Ground with hydric soils.
    base_cover : int
        Code of all other ground.
    """

    rng: np.random.Generator
    ground: F32
    z: F32
    cell: float
    specimens: list[BOOL] = field(default_factory=list)
    cover: list[tuple[BOOL, int]] = field(default_factory=list)
    wet: list[BOOL] = field(default_factory=list)
    base_cover: int = CROPS

    @staticmethod
    def of(rng: np.random.Generator, shape: tuple[int, int], cell_m: float, options: Options) -> Canvas:
        """Make the country.

        Parameters
        ----------
        rng : Generator
        shape : (rows, cols)
        cell_m : float
            [m].
        options : Options

        Returns
        -------
        Canvas
        """
        ground, _ = make_ground(rng, shape, cell_m, options)
        # swells leave hollows of their own; filled, no natural basin is left that a line could really drain
        ground = fill_level(ground)
        return Canvas(rng, ground, ground.copy(), cell_m)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.z.shape[0], self.z.shape[1]

    @property
    def side(self) -> float:
        """Length of a side [m]."""
        return float(self.z.shape[0] * self.cell)

    def spots(self, n: int) -> list[tuple[float, float]]:
        """n x n places, x and y [m], each near the middle of its own square.

        Parameters
        ----------
        n : int

        Returns
        -------
        list of (x, y)
        """
        step = self.side / n
        shift = self.rng.uniform(-0.1, 0.1, (n, n, 2)) * step
        return [
            (float((j + 0.5) * step + shift[i, j, 0]), float((i + 0.5) * step + shift[i, j, 1]))
            for i in range(n)
            for j in range(n)
        ]

    def lanes(self, n: int) -> list[tuple[float, float, float]]:
        """n places side by side across the fall, upslope of the middle, each with free ground down to the border.

        Parameters
        ----------
        n : int

        Returns
        -------
        list of (x, y, turn)
            Place [m] and direction of the fall [rad].
        """
        fall = self.down(self.side / 2, self.side / 2, self.side / 2)
        out = []
        for k in range(n):
            off = ((k + 0.5) / n - 0.5) * self.side * 0.95 + self.rng.uniform(-0.04, 0.04) * self.side
            up = -self.rng.uniform(0.08, 0.2) * self.side
            x = self.side / 2 + up * np.cos(fall) - off * np.sin(fall)
            y = self.side / 2 + up * np.sin(fall) + off * np.cos(fall)
            out.append((float(x), float(y), fall + float(self.rng.normal(0, 0.06))))
        return out

    def frame(self, x: float, y: float, turn: float) -> tuple[F64, F64]:
        """Coordinates of all cells in a turned frame [m].

        Parameters
        ----------
        x, y : float
            Its origin [m].
        turn : float
            Direction of its first axis [rad].

        Returns
        -------
        u, v : float64 (rows, cols)
        """
        px = np.arange(self.z.shape[1])[None, :] * self.cell - x
        py = np.arange(self.z.shape[0])[:, None] * self.cell - y
        return px * np.cos(turn) + py * np.sin(turn), py * np.cos(turn) - px * np.sin(turn)

    def level(self, x: float, y: float, reach_m: float = 0.0) -> float:
        """Ground at a place, the mean around it within reach [m].

        Parameters
        ----------
        x, y, reach_m : float
            [m].

        Returns
        -------
        float
        """
        if reach_m <= 0:
            return float(sample(self.z, np.array([x]), np.array([y]), self.cell)[0])
        u, v = self.frame(x, y, 0.0)
        return float(self.z[np.hypot(u, v) <= reach_m].mean())

    def down(self, x: float, y: float, reach_m: float = 60.0) -> float:
        """Direction in which the ground falls around a place [rad].

        Parameters
        ----------
        x, y, reach_m : float
            [m].

        Returns
        -------
        float
        """
        u, v = self.frame(x, y, 0.0)
        near = np.hypot(u, v) <= reach_m
        a = np.stack([np.ones(int(near.sum())), u[near], v[near]], axis=1)
        plane = np.linalg.lstsq(a, self.ground[near].astype(np.float64), rcond=None)[0]
        return float(np.arctan2(-plane[2], -plane[1]))

    def line(self, x: float, y: float, turn: float, length_m: float) -> Path:
        """Straight line with stations 4 m apart.

        Parameters
        ----------
        x, y : float
            Start [m].
        turn : float
            [rad].
        length_m : float
            [m].

        Returns
        -------
        Path
        """
        ends = Path(np.array([x, x + length_m * np.cos(turn)]), np.array([y, y + length_m * np.sin(turn)]))
        return resample(ends, 4.0)

    def ditch(self, path: Path, start_m: float, fall: float, section: tuple[float, float] = (0.8, 1.8)) -> F64:
        """Dig a ditch whose bed falls from a level, and stays 0.3 m below the ground.

        Parameters
        ----------
        path : Path
        start_m : float
            Bed at the first station [m].
        fall : float
            [m/m].
        section : (width_m, side)

        Returns
        -------
        float64 (n,)
            Bed [m].
        """
        level = sample(self.z, path.x, path.y, self.cell)
        bed: F64 = np.minimum.accumulate(np.minimum(level - 0.3, start_m - fall * path.along))
        carve(self.z, self.ground, self.cell, path, bed, section)
        return bed

    def add(self, mask: NDArray[np.bool_], cover: int | None = None, wet: bool = False) -> None:
        """Note a specimen, with what the maps show there.

        Parameters
        ----------
        mask : bool (rows, cols)
            Its ground.
        cover : int or None
            Land-cover code; None leaves the land as it is.
        wet : bool
            On hydric soils.
        """
        self.specimens.append(mask)
        if cover is not None:
            self.cover.append((mask, cover))
        if wet:
            self.wet.append(mask)

    def patches(self, block: int) -> tuple[Patch, ...]:
        """The specimens on the grid of averaged blocks.

        Parameters
        ----------
        block : int
            Cells averaged each way.

        Returns
        -------
        tuple of Patch
            Those outside the raster are left out.
        """
        out = []
        for mask in self.specimens:
            cells = mask[block // 2 :: block, block // 2 :: block]
            rows, cols = np.flatnonzero(cells.any(axis=1)), np.flatnonzero(cells.any(axis=0))
            if rows.size:
                window = cells[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
                out.append(Patch(int(rows[0]), int(cols[0]), np.ascontiguousarray(window)))
        return tuple(out)

    def maps(self, block: int) -> Maps:
        """Soil map and land cover, the latter on the grid of averaged blocks.

        Parameters
        ----------
        block : int

        Returns
        -------
        Maps
        """
        wet: I32 = np.zeros(map_shape(self.ground, self.cell), dtype=np.int32)
        for number, mask in enumerate(self.wet):
            r, c = np.nonzero(mask)
            wet[(r * self.cell / SOIL_M).astype(int), (c * self.cell / SOIL_M).astype(int)] = number + 1
        soils = draw_soils(self.rng, self.ground, self.cell, wet)
        code = np.full(self.shape, self.base_cover, dtype=np.uint8)
        for mask, value in self.cover:
            code[mask] = value
        r, c = (self._middles(n) for n in self.shape)
        seen = code[np.ix_(r, c)][block // 2 :: block, block // 2 :: block]
        return Maps(soils, np.ascontiguousarray(seen))

    def _middles(self, n: int) -> NDArray[np.int64]:
        """Middle of the 30 m block each cell lies in."""
        at = np.arange(n) * self.cell
        return np.clip(((at // COVER_M + 0.5) * COVER_M / self.cell).astype(np.int64), 0, n - 1)
