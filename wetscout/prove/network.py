"""The drains of a landscape: collectors that leave the raster, drains from basin floors, crooked deepened outlets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from wetscout.prove.fields import sample
from wetscout.prove.kinds import Options
from wetscout.prove.routes import STEP_M, CoarseMap, Cut, deepen, grade, mark, round_corners, straighten, wiggle
from wetscout.prove.sweep import Path, resample
from wetscout.prove.terrain import Stream
from wetscout.records import BOOL, F32, F64

_TAKEN_M = 3.0
_DEEPEST_M = 3.4
_DRAIN_DEEPEST_M = 2.9


@dataclass(frozen=True)
class Hollow:
    """A basin of the ground to be drained, in metres: floor place and level, spill, size."""

    x: float
    y: float
    floor_m: float
    spill_m: float
    area_m2: float


@dataclass(frozen=True)
class _Plan:
    """A drain to be tried: from where [m], to which bed [m], joining (ditch, station) or None, and how."""

    hollow: Hollow
    start_m: float
    bed_m: float
    joins: tuple[int, int] | None
    crooked: bool
    partial: bool


class Network:
    """Grows ditch by ditch."""

    def __init__(
        self, rng: np.random.Generator, ground: F32, cell_m: float, streams: tuple[Stream, ...], options: Options
    ) -> None:
        self.rng, self.ground, self.cell, self.options = rng, ground, cell_m, options
        self.streams = streams
        self.size = (ground.shape[0] * cell_m, ground.shape[1] * cell_m)
        shape = (int(self.size[0] / _TAKEN_M) + 1, int(self.size[1] / _TAKEN_M) + 1)
        self.taken: BOOL = np.zeros(shape, dtype=np.bool_)
        self.wet: BOOL = np.zeros(shape, dtype=np.bool_)
        for stream in streams:
            mark(self.wet, _TAKEN_M, stream.path)
        self.cuts: list[Cut] = []
        self.coarse = CoarseMap(ground, cell_m, 20.0)
        self.fine = CoarseMap(ground, cell_m, 8.0)
        self.height = self.coarse.z - ndimage.gaussian_filter(self.coarse.z, 12.0)
        self.shun: F64 = np.ones(self.coarse.z.shape)

    def keep_off(self, mask: BOOL) -> None:
        """Have collectors shun marked ground (rows, cols of the fine grid).

        Parameters
        ----------
        mask : bool (rows, cols)
            Ground to shun.
        """
        step = self.coarse.step
        marked = ndimage.maximum_filter(mask, round(step / self.cell))
        r, c = (((np.arange(n) + 0.5) * step / self.cell).astype(int) for n in self.coarse.z.shape)
        self.shun = np.where(marked[np.ix_(r, c)], 500.0, 1.0)

    def level(self, path: Path) -> F64:
        """Natural ground along a line [m].

        Parameters
        ----------
        path : Path
            The line.

        Returns
        -------
        float64 (n,)
            [m], one for each station.
        """
        return sample(self.ground, path.x, path.y, self.cell)

    def _section(self, collector: bool) -> tuple[float, float, bool, tuple[float, float]]:
        """Bed width, side slope, old or not, spoil left and right."""
        o, rng = self.options, self.rng
        old = bool(rng.random() < o.old)
        width = rng.uniform(*(o.collector_bed_m if collector else o.bed_m))
        side = rng.uniform(*(o.old_side if old else o.side))
        sides = int(rng.choice(3, p=o.spoil_sides))
        heights = rng.uniform(*o.spoil_m, 2) * (0.5 if old else 1.0)
        left = bool(rng.random() < 0.5)
        spoil = (
            float(heights[0]) * (sides == 2 or (sides == 1 and left)),
            float(heights[1]) * (sides == 2 or (sides == 1 and not left)),
        )
        return float(width), float(side), old, spoil

    def _add(self, kind: str, path: Path, bed: F64, joins: tuple[int, int] | None) -> None:
        width, side, old, spoil = self._section(kind == "collector")
        cut = Cut(kind, path, bed, width, side, old, spoil, joins)
        if joins is not None:
            self.cuts[joins[0]].feeders.append(len(self.cuts))
        self.cuts.append(cut)
        mark(self.taken, _TAKEN_M, path)

    def _hits(self, path: Path, but: float) -> bool:
        """Whether a line touches a ditch or stream before its last `but` metres."""
        fine = resample(path, _TAKEN_M)
        n = max(1, fine.x.size - int(but / _TAKEN_M))
        r = np.clip(np.rint(fine.y[:n] / _TAKEN_M).astype(int), 0, self.taken.shape[0] - 1)
        c = np.clip(np.rint(fine.x[:n] / _TAKEN_M).astype(int), 0, self.taken.shape[1] - 1)
        return bool(self.taken[r, c].any() or self.wet[r, c].any())

    def add_collectors(self) -> None:
        """Dig the collectors, each from inside or from one side to where it can leave the raster."""
        o = self.options
        for _ in range(int(self.rng.integers(o.collectors[0], o.collectors[1] + 1))):
            for _attempt in range(8):
                if self._collector():
                    break

    def _collector(self) -> bool:
        rng, coarse = self.rng, self.coarse
        length = 0.55 * min(self.size)
        x, y = rng.uniform(0.05, 0.95) * self.size[1], rng.uniform(0.05, 0.95) * self.size[0]
        start = coarse.node(x, y)
        border = coarse.border()
        r, c = np.divmod(border, coarse.cols)
        far = np.hypot((c + 0.5) * coarse.step - x, (r + 0.5) * coarse.step - y)
        z = coarse.z.ravel()
        ends = border[(far > length) & (z[border] < z[start] + 0.3)]
        if ends.size == 0:
            return False
        ends = rng.choice(ends, size=max(1, ends.size // 8), replace=False)
        rough = np.exp(0.35 * rng.standard_normal(coarse.z.shape))
        cost = (1 + self.options.collector_low * np.exp(np.clip(self.height / 0.5, -3, 3))) * rough * self.shun
        route = coarse.route(start, ends, cost)
        if route is None:
            return False
        corners = straighten(route, rng.uniform(15.0, 60.0))
        end = (corners.x[-1], corners.y[-1])
        corners = Path(
            np.append(corners.x, _beyond(end[0], self.size[1], end[1], self.size[0])[0]),
            np.append(corners.y, _beyond(end[0], self.size[1], end[1], self.size[0])[1]),
        )
        path = resample(round_corners(corners, 2) if rng.random() < 0.7 else corners, STEP_M)
        level = self.level(path)
        deep = rng.uniform(*self.options.collector_depth_m)
        bed = grade(level, path.along, float(level[0] - 0.6 * deep), rng.uniform(0.0002, 0.0006), 0.75 * deep)
        joins = None
        if self._hits(path, 0.0):
            joined = self._stop_at_ditch(path, bed)
            if joined is None:
                return False
            path, bed, joins = joined
            level = self.level(path)
        if path.along[-1] < 0.3 * length or float((level - bed).max()) > _DEEPEST_M:
            return False
        if joins is not None:
            deepen(self.cuts, joins[0], joins[1], float(bed[-1]), 0.0002)
        self._add("collector", path, bed, joins)
        return True

    def _stop_at_ditch(self, path: Path, bed: F64) -> tuple[Path, F64, tuple[int, int] | None] | None:
        """Cut a line off where it first meets a ditch (to join it) or a stream (to end in it)."""
        best: tuple[int, int, int] | None = None
        for number, cut in enumerate(self.cuts):
            away = np.hypot(path.x[:, None] - cut.path.x[None, :], path.y[:, None] - cut.path.y[None, :])
            near = away.min(axis=1) < 5.0
            if near.any():
                i = int(np.argmax(near))
                if best is None or i < best[0]:
                    best = (i, number, int(np.argmin(away[i])))
        for stream in self.streams:
            away = np.hypot(path.x[:, None] - stream.path.x[None, :], path.y[:, None] - stream.path.y[None, :])
            near = away.min(axis=1) < 6.0
            if near.any():
                i = int(np.argmax(near))
                if best is None or i < best[0]:
                    best = (i, -1, int(np.argmin(away[i])))
        if best is None or best[0] < 20:
            return None
        i, number, station = best
        if number < 0:
            low = min(
                float(s.bed[np.argmin(np.hypot(s.path.x - path.x[i], s.path.y - path.y[i]))]) for s in self.streams
            )
            if bed[i] < low:
                return None
            return Path(path.x[: i + 1], path.y[: i + 1]), bed[: i + 1].copy(), None
        cut = self.cuts[number]
        if cut.bed[station] - bed[i] > 0.5:
            return None
        x, y = np.append(path.x[:i], cut.path.x[station]), np.append(path.y[:i], cut.path.y[station])
        return Path(x, y), np.append(bed[:i], min(bed[i], bed[i - 1])), (number, station)

    def drain(self, hollow: Hollow, partial: bool) -> bool:
        """Dig a drain from the floor of a basin to something lower.

        Parameters
        ----------
        hollow : Hollow
        partial : bool
            Cut only part of the depth away.

        Returns
        -------
        bool
            Whether a way was found.
        """
        rng = self.rng
        depth = hollow.spill_m - hollow.floor_m
        start = hollow.floor_m - rng.uniform(0.12, 0.4)
        if partial:
            start = hollow.floor_m + depth * rng.uniform(0.35, 0.6)
        crooked = bool(rng.random() < self.options.crooked)
        chain = bool(rng.random() < self.options.chain)
        return self._lead(hollow, start, self._targets(hollow, start, chain), (crooked, partial))

    def drain_at(self, hollow: Hollow, start_m: float, least_m: float) -> bool:
        """Dig a straight drain of a given bed at its start, at least so long.

        Parameters
        ----------
        hollow : Hollow
        start_m, least_m : float
            Bed at the start, least length [m].

        Returns
        -------
        bool
            Whether a way was found; the drain is the last of `cuts`.
        """
        targets = [
            t for t in self._targets(hollow, start_m, False) if np.hypot(t[0] - hollow.x, t[1] - hollow.y) >= least_m
        ]
        return self._lead(hollow, start_m, targets, (False, False))

    def drain_into(self, hollow: Hollow, number: int) -> bool:
        """Dig a drain that ends where a given ditch begins.

        Parameters
        ----------
        hollow : Hollow
        number : int
            Which of `cuts`.

        Returns
        -------
        bool
            Whether that was possible.
        """
        cut = self.cuts[number]
        start = hollow.floor_m - float(self.rng.uniform(0.12, 0.4))
        target = (float(cut.path.x[0]), float(cut.path.y[0]), float(cut.bed[0]), (number, 0))
        return any(self._lead(hollow, start, [target], (False, False)) for _ in range(3))

    def _lead(
        self,
        hollow: Hollow,
        start: float,
        targets: list[tuple[float, float, float, tuple[int, int] | None]],
        how: tuple[bool, bool],
    ) -> bool:
        """Dig to the first of the targets that can be reached; `how` is (crooked, partial)."""
        for x, y, bed_m, joins in targets:
            path = self._crooked(hollow, x, y) if how[0] else self._straight(hollow, x, y)
            plan = _Plan(hollow, start, bed_m, joins, *how)
            if path is not None and self._try(path, plan):
                return True
        return False

    def _targets(
        self, hollow: Hollow, start: float, chain: bool
    ) -> list[tuple[float, float, float, tuple[int, int] | None]]:
        """Places within reach where water at `start` could go, most welcome first."""
        rng = self.rng
        out: list[tuple[float, float, float, float, tuple[int, int] | None]] = []
        for number, cut in enumerate(self.cuts):
            away = np.hypot(cut.path.x - hollow.x, cut.path.y - hollow.y)
            inside = (cut.path.x > 0) & (cut.path.x < self.size[1]) & (cut.path.y > 0) & (cut.path.y < self.size[0])
            good = np.flatnonzero(inside & (away > 25) & (away < 750) & (cut.bed < start + 0.35 - 0.0003 * away))
            near = rng.choice(good, size=min(good.size, 8), replace=False) if good.size else good
            if good.size:
                near = np.append(near, good[np.argmin(away[good])])
            bonus = 0.35 if chain and cut.kind != "collector" else 1.0
            for j in near:
                price = away[j] * bonus * float(np.exp(0.25 * rng.standard_normal()))
                out.append((price, float(cut.path.x[j]), float(cut.path.y[j]), float(cut.bed[j]), (number, int(j))))
        for stream in self.streams:
            away = np.hypot(stream.path.x - hollow.x, stream.path.y - hollow.y)
            for j in np.flatnonzero((away < 600) & (stream.bed < start - 0.0003 * away))[::4]:
                price = away[j] * float(np.exp(0.25 * rng.standard_normal()))
                out.append((price, float(stream.path.x[j]), float(stream.path.y[j]), float(stream.bed[j]), None))
        for x, y in _border_points(hollow, self.size):
            far = float(np.hypot(x - hollow.x, y - hollow.y))
            if far < 500:
                out.append((1.6 * far + 60, *_beyond(x, self.size[1], y, self.size[0]), -np.inf, None))
        out.sort(key=lambda t: t[0])
        return [(x, y, b, j) for _, x, y, b, j in out[:14]]

    def _straight(self, hollow: Hollow, x: float, y: float) -> Path | None:
        """One to three legs."""
        rng = self.rng
        far = float(np.hypot(x - hollow.x, y - hollow.y))
        legs = int(rng.choice([1, 2, 3], p=[0.4, 0.4, 0.2]))
        at = np.sort(rng.uniform(0.2, 0.8, legs - 1))
        off = rng.normal(0, 0.14, legs - 1) * far
        nx, ny = -(y - hollow.y) / max(far, 1), (x - hollow.x) / max(far, 1)
        px = np.concatenate([[hollow.x], hollow.x + at * (x - hollow.x) + off * nx, [x]])
        py = np.concatenate([[hollow.y], hollow.y + at * (y - hollow.y) + off * ny, [y]])
        corners = Path(px, py)
        return resample(round_corners(corners, 2) if rng.random() < 0.5 else corners, STEP_M)

    def _crooked(self, hollow: Hollow, x: float, y: float) -> Path | None:
        """Along the lowest ground, as an old natural outlet that was dug deeper."""
        fine = self.fine
        above = np.clip(fine.z - hollow.floor_m, 0, None)
        cost = (1 + 6 * above**2) * np.exp(0.3 * self.rng.standard_normal(fine.z.shape))
        route = fine.route(fine.node(hollow.x, hollow.y), np.array([fine.node(x, y)]), cost)
        if route is None or route.x.size < 4:
            return None
        px, py = route.x.copy(), route.y.copy()
        px[[0, -1]], py[[0, -1]] = [hollow.x, x], [hollow.y, y]
        smooth = round_corners(straighten(Path(px, py), 5.0), 3)
        return wiggle(self.rng, smooth, self.rng.uniform(1.5, 4.0), self.rng.uniform(25.0, 50.0))

    def _try(self, path: Path, plan: _Plan) -> bool:
        """Grade a line and dig it when it is a ditch somebody would have dug."""
        rng, hollow, start, bed_m, joins = self.rng, plan.hollow, plan.start_m, plan.bed_m, plan.joins
        if path.along[-1] < 30 or self._hits(path, 9.0):
            return False
        level = self.level(path)
        least = rng.uniform(0.3, 0.6)
        if joins is None and np.isfinite(bed_m):
            # a stream's own channel is no ground to cut into
            level = np.maximum(level, bed_m + least + 0.0012 * (path.along[-1] - path.along))
        bed = grade(level, path.along, start, rng.uniform(0.0002, 0.0012), least)
        if plan.partial:
            bed = np.maximum(bed, np.minimum(start, level + 1.0))
            bed = grade(bed, path.along, start, 0.0002, 0.0)
        if float((level - bed).max()) > _DRAIN_DEEPEST_M or float(bed[-1]) < bed_m - 0.6:
            return False
        if np.isfinite(bed_m):
            # the last metres drop to the bed joined
            drop = np.clip(1 - (path.along[-1] - path.along) / 16.0, 0, 1)
            bed = np.minimum(bed, bed + drop * (min(bed_m, float(bed[-1])) - bed))
            if joins is None and bed[-1] < bed_m:
                return False
        if joins is not None:
            other = self.cuts[joins[0]]
            if float(bed[-1]) < bed_m and self._too_deep(other, joins[1], float(bed[-1])):
                return False
            deepen(self.cuts, joins[0], joins[1], float(bed[-1]), 0.0002)
        self._add("deepened outlet" if plan.crooked else "drain", path, bed, joins)
        rim = min(int(np.argmax(level > hollow.spill_m - 0.03)) + 1, path.x.size - 1)
        if hollow.area_m2 >= 1000:
            self.cuts[-1].rim = (float(path.x[rim]), float(path.y[rim]))
        return True

    def _too_deep(self, cut: Cut, station: int, bed_m: float) -> bool:
        level = self.level(cut.path)[station:]
        limit = _DEEPEST_M if cut.kind == "collector" else _DRAIN_DEEPEST_M
        return float((level - np.minimum(cut.bed[station:], bed_m)).max()) > limit


def _beyond(x: float, width: float, y: float, height: float) -> tuple[float, float]:
    """The place 30 m outside the raster straight out from a point near its border."""
    gaps = {(-30.0, y): x, (width + 30.0, y): width - x, (x, -30.0): y, (x, height + 30.0): height - y}
    return min(gaps, key=lambda k: gaps[k])


def _border_points(hollow: Hollow, size: tuple[float, float]) -> list[tuple[float, float]]:
    """Feet of the perpendiculars from a basin to the four sides."""
    height, width = size
    return [(1.0, hollow.y), (width - 1, hollow.y), (hollow.x, 1.0), (hollow.x, height - 1)]
