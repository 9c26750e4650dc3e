"""Which hollows are offered as drained by a covered pipe, and on what grounds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import ndimage

from wetscout.buried.faint import Trace, trace
from wetscout.buried.heads import Head, abrupt_heads
from wetscout.buried.hollows import Hollow, speaks_against, speaks_for
from wetscout.buried.rim import dip_beside
from wetscout.buried.routes import Router, Way
from wetscout.kernels.open_ways import near_window
from wetscout.records import F32, F64, Linework, Surfaces, Terrain
from wetscout.records_covered import Covered, FaintLine, Zone
from wetscout.settings.buried import BuriedSettings

# at most so many heads are tried for one hollow, the nearest first
_HEADS = 4
# a line within this distance of another hollow's pool or way may carry its water too
_MAIN_M = 12.0
# mouths nearer to each other than this are one place to look
_SAME_MOUTH_M = 20.0


@dataclass(frozen=True)
class Looked:
    """A hollow with what was found about it.

    Attributes
    ----------
    hollow : Hollow
    covered : Covered
    drained_by : str
        `buried drain suspected` or `ditch into covered pipe`.
    confidence : str
        `high`, `medium`, `low`; empty: not offered.
    """

    hollow: Hollow
    covered: Covered
    drained_by: str
    confidence: str


@dataclass(frozen=True)
class Option:
    """A mouth that a hollow may have.

    Attributes
    ----------
    way : Way
    seen : Trace or None
        Best faint line along it.
    head : Head or None
        Abrupt head at its end; None for the bank of the first ditch low enough.
    strength, score : float
        Of the faint line, 0-1; of the whole.
    outside_m, off_deg : float
        From the shore to the mouth [m]; angle between the head and the nearest direction to the pool [deg].
    """

    way: Way
    seen: Trace | None
    head: Head | None
    strength: float
    score: float
    outside_m: float
    off_deg: float


class Searcher:
    """Looks at hollows one by one.

    Parameters
    ----------
    terrain : Terrain
    surfaces : Surfaces
    lines : Linework
    shown : float32 (rows, cols)
        How deep cuts show in the ground, as `cut_depth` tells [m].
    s : BuriedSettings
    """

    def __init__(self, terrain: Terrain, surfaces: Surfaces, lines: Linework, shown: F32, s: BuriedSettings) -> None:
        self.terrain = terrain
        self.surfaces = surfaces
        self.lines = lines
        self.s = s
        self.cell_m = terrain.grid.cell_m
        self.heads = abrupt_heads(lines.ditches, surfaces, shown, self.cell_m, s)
        self.head_at = np.array([(head.row, head.col) for head in self.heads]).reshape(-1, 2)
        self.router = Router(surfaces.smooth, lines.ditches, self.cell_m, s)
        # where listed ditches end: an inlet of what may run on beneath the ground
        self.ends = np.array([(d.row[-1], d.col[-1]) for d in lines.ditches if d.sure]).reshape(-1, 2)

    def run(
        self,
        hollows: Sequence[Hollow],
        each: Callable[..., list[Any]] | None = None,
        begun: Callable[[Hollow], bool] = lambda _: False,
        behind: Callable[[Hollow, Head], bool] = lambda *_: False,
    ) -> tuple[Looked, ...]:
        """Look at all hollows and keep those that something speaks for.

        Parameters
        ----------
        hollows : sequence of Hollow
        each : callable, optional
            Calls a function on each of many things, answers in their order; one by one by default.
        begun : callable, optional
            Whether an open ditch begins beside a hollow; without an abrupt head that is what is left of its drain.
        behind : callable, optional
            Whether a head lies behind a plug at a hollow.

        Returns
        -------
        tuple of Looked
            In the order of the hollows.
        """

        def at_heads(hollow: Hollow) -> list[Option]:
            return self._at_heads(hollow, behind)

        ways = [at_heads(h) for h in hollows] if each is None else each(at_heads, hollows)
        chosen = self._share_heads(list(zip(hollows, ways, strict=True)))
        looked = []
        for hollow in hollows:
            best = chosen.get(hollow.node)
            if best is None and not speaks_for(hollow.zone, self.s):
                # without a head, terrain alone says nothing that chance does not
                continue
            if best is None and (begun(hollow) or any(behind(hollow, head) for _, _, head in self._heads(hollow))):
                continue
            route = self.router.way(hollow)
            options = [] if best is None else [best]
            if route is not None and not self._same_mouth(route, best):
                options.append(self._option(route, None, (route.mouth.distance_m, 0.0)))
            looked.append(self._judge(hollow, options))
        kept = [one for one in looked if one.confidence]
        return tuple(self._with_main(one, kept) for one in kept)

    def _same_mouth(self, route: Way, best: Option | None) -> bool:
        """Whether the way of least trench depth ends at the head that was chosen anyway."""
        if best is None:
            return False
        one, other = route.mouth, best.way.mouth
        return float(np.hypot(one.row - other.row, one.col - other.col)) * self.cell_m <= _SAME_MOUTH_M

    def _at_heads(self, hollow: Hollow, behind: Callable[[Hollow, Head], bool]) -> list[Option]:
        """Ways to the abrupt heads outside that point at the hollow and are low enough for a pipe."""
        options = []
        for outside_m, off_deg, head in self._heads(hollow):
            # asked in the order of what it costs
            if not self.router.falls_to(hollow, head) or behind(hollow, head):
                continue
            way = self.router.way(hollow, head)
            if way is None or not way.mouth.feasible:
                continue
            option = self._option(way, head, (outside_m, off_deg))
            # a head far away points at many things: there a line must lead to it
            if outside_m <= self.s.head_close_m or option.strength >= self.s.line_sign:
                options.append(option)
        return options

    def _option(self, way: Way, head: Head | None, place: tuple[float, float]) -> Option:
        seen = trace(self.terrain.z, (way.row, way.col), self.cell_m, self.s)
        strength = _strength(seen, self.s)
        outside_m, off_deg = place
        # nearness halves at `head_half_m`: of two hollows that a head points at, the nearer one is likelier
        score = 0.5 * strength + 1.0 / (1.0 + outside_m / self.s.head_half_m) - off_deg / 90.0
        return Option(way, seen, head, strength, score, outside_m, off_deg)

    def _share_heads(self, hollows: Sequence[tuple[Hollow, list[Option]]]) -> dict[int, Option]:
        """Each head goes to one hollow and each hollow to one head, the best pairs first."""
        pairs = [
            (-o.score - (self.s.head_told if speaks_for(h.zone, self.s) else 0.0), h.node, k, o)
            for h, options in hollows
            for k, o in enumerate(options)
        ]
        chosen: dict[int, Option] = {}
        taken: set[int] = set()
        for _, node, _, option in sorted(pairs, key=lambda p: p[:3]):
            assert option.head is not None
            if node not in chosen and option.head.ditch_id not in taken:
                chosen[node] = option
                taken.add(option.head.ditch_id)
        return chosen

    def _heads(self, hollow: Hollow) -> list[tuple[float, float, Head]]:
        """Abrupt heads that point at the hollow, nearest first: distance from its shore [m], angle off [deg]."""
        s, cell = self.s, self.cell_m
        # many hollows, many heads: those whose place lies within reach of the pool's window
        corner = int(hollow.pool.row0), int(hollow.pool.col0)
        near = near_window(self.head_at, *corner, *hollow.pool.shape, s.head_far_m / cell, True)
        heads = [self.heads[k] for k in near.tolist()]
        if not heads:
            return []
        edge = hollow.pool.mask & ~ndimage.binary_erosion(hollow.pool.mask)
        rows, cols = np.nonzero(edge)
        rows, cols = rows + hollow.pool.row0, cols + hollow.pool.col0
        least = np.cos(np.radians(s.head_cone_deg))
        found = []
        for head in heads:
            d_row, d_col = rows - head.row, cols - head.col
            away = np.hypot(d_row, d_col)
            nearest = float(away.min()) * cell
            if not s.head_near_m <= nearest <= s.head_far_m or _holds(hollow, head.row, head.col):
                continue
            ahead = (d_row * head.up_row + d_col * head.up_col) / np.maximum(away, 1e-9)
            if ahead.max() >= least:
                off = float(np.degrees(np.arccos(np.clip(ahead.max(), -1.0, 1.0))))
                found.append((nearest, off, head))
        found.sort(key=lambda f: (f[0], f[2].ditch_id))
        return found[:_HEADS]

    def _judge(self, hollow: Hollow, options: Sequence[Option]) -> Looked:
        s = self.s
        lines: list[FaintLine] = []
        head, strength, dip = False, 0.0, None
        if options:
            best = options[0]
            head, strength, seen = best.head is not None, best.strength, best.seen
            clear = seen is not None and strength >= s.line_sign
            path = (seen.row, seen.col) if seen is not None and clear else (best.way.row, best.way.col)
            dip = dip_beside(self.surfaces.natural, hollow, path, self.cell_m, s)
            if seen is not None and clear:
                lines.append(_faint_line(seen, strength, self.cell_m))
            length = best.way.mouth.distance_m
            lines.append(FaintLine(best.way.row, best.way.col, "route", 0.0, float("nan"), length))
        covered = Covered(
            zone=hollow.zone,
            mouths=tuple(o.way.mouth for o in options),
            lines=tuple(lines),
            head=head,
            faint=strength,
            rim_dip_m=None if dip is None else dip[0],
            rim_beside_m=None if dip is None else dip[1],
        )
        outside = options[0].outside_m if options else np.inf
        tight = bool(options) and options[0].off_deg <= s.head_tight_deg
        signs = Signs(
            bool(options),
            head,
            outside <= s.head_close_m,
            outside <= s.head_dry_m,
            options[0].outside_m > s.plug_near_m if options else False,
            tight,
            strength,
            dip is not None and dip[0] >= s.dip_m,
        )
        by = "ditch into covered pipe" if head else "buried drain suspected"
        return Looked(hollow, covered, by, _confidence(hollow, signs, s))

    def _with_main(self, one: Looked, others: Sequence[Looked]) -> Looked:
        """Note what may come from upstream: another hollow whose way passes here, or a ditch that ends here."""
        words = []
        reach = _MAIN_M / self.cell_m
        grown = ndimage.binary_dilation(np.pad(one.hollow.pool.mask, 20), iterations=max(1, round(reach)))
        row0, col0 = one.hollow.pool.row0 - 20, one.hollow.pool.col0 - 20
        for other in others:
            if other is one or other.hollow.floor_m <= one.hollow.floor_m or not other.covered.lines:
                continue
            line = other.covered.lines[0]
            if _crosses(grown, (row0, col0), line.row, line.col):
                words.append("the way from another suspected hollow upstream leads through here")
                break
        if _crosses(grown, (row0, col0), self.ends[:, 0], self.ends[:, 1]):
            words.append("an open ditch from upstream ends here")
        return one if not words else replace(one, covered=replace(one.covered, main_from="; ".join(words)))


@dataclass(frozen=True)
class Signs:
    """What terrain says.

    Attributes
    ----------
    way, head : bool
        A mouth low enough lies within reach; it is the abrupt head of a ditch.
    near, close, clear, tight : bool
        The head is near, or very near, but not so near that a plug may lie between, and points here.
    strength : float
        Of the faint line.
    graded : bool
        The rim lies lower on that line than beside it.
    """

    way: bool
    head: bool
    near: bool
    close: bool
    clear: bool
    tight: bool
    strength: float
    graded: bool


def _confidence(hollow: Hollow, signs: Signs, s: BuriedSettings) -> str:
    """Terrain alone never says more than low; soil and crop say medium, with terrain beside them high.

    A shallow hollow is often a dimple of the field: without a head that points at it, it needs some depth. Of a pocket
    in a basin with an open drain a close head that points at it says little, and nor does a rim that dips: a line must
    lead from one to the other.
    """
    if hollow.within and not (signs.close and signs.tight and signs.strength >= s.line_sign):
        return ""
    if speaks_for(hollow.zone, s):
        if signs.head:
            return "high" if signs.near and (signs.strength >= s.line_sign or signs.graded) else "medium"
        if hollow.spill_m - hollow.floor_m < s.lone_depth_m:
            return ""
        return "medium" if signs.way else "low"
    depth = hollow.spill_m - hollow.floor_m
    return "low" if signs.head and signs.near and signs.tight and _worth_a_look(hollow.zone, signs, depth, s) else ""


def _worth_a_look(zone: Zone, signs: Signs, depth_m: float, s: BuriedSettings) -> bool:
    """Whether a near head that points here is enough where soil and crop do not both speak for it."""
    if speaks_against(zone, s):
        # cover maps keep calling a drained wetland one; a clear line from here to the head says otherwise, unless it is
        # so short that it may be the plug of a restored one
        wet = zone.wet_soil is None or zone.wet_soil >= s.wet_soil_least
        clear = wet and signs.close and signs.clear and signs.strength >= s.line_sign
        return clear and not speaks_against(replace(zone, wetland=None), s)
    if zone.wet_soil is None:
        return signs.strength >= s.line_sign
    if zone.wet_soil >= s.wet_soil_least:
        return True
    # soil maps leave small wet spots out: under crops a head close by and a trace of a line are enough to look; dimples
    # have no clear line to one
    farmed = zone.farmed is not None and zone.farmed >= s.farmed_least
    if farmed and depth_m >= s.dry_depth_m and signs.strength >= s.line_sign:
        # no head farther off than `head_close_m` is near
        return True
    least = s.line_hint if farmed and depth_m >= s.dry_depth_m else s.line_sign
    return signs.close and signs.strength >= least and (farmed or depth_m >= s.dry_depth_m)


def _strength(seen: Trace | None, s: BuriedSettings) -> float:
    """0-1: how far a faint line stands out, if it is faint and steady."""
    if seen is None or abs(seen.height_m) > 1.2 * s.clip_m:
        return 0.0
    return float(np.clip(seen.beyond / s.line_full, 0.0, 1.0) * np.clip((seen.steady - 0.4) / 0.3, 0.0, 1.0))


def _faint_line(seen: Trace, strength: float, cell_m: float) -> FaintLine:
    length = float(np.hypot(np.diff(seen.row), np.diff(seen.col)).sum()) * cell_m
    form = "ridge" if seen.height_m > 0 else "trough"
    return FaintLine(seen.row, seen.col, form, strength, seen.height_m, length)


def _holds(hollow: Hollow, row: float, col: float) -> bool:
    return _on(hollow.pool.mask, (hollow.pool.row0, hollow.pool.col0), row, col)


def _on(mask: np.ndarray, origin: tuple[int, int], row: float, col: float) -> bool:
    r, c = round(row) - origin[0], round(col) - origin[1]
    return bool(0 <= r < mask.shape[0] and 0 <= c < mask.shape[1] and mask[r, c])


def _crosses(mask: np.ndarray, origin: tuple[int, int], row: F64, col: F64) -> bool:
    r, c = np.rint(row).astype(int) - origin[0], np.rint(col).astype(int) - origin[1]
    ok = (r >= 0) & (c >= 0) & (r < mask.shape[0]) & (c < mask.shape[1])
    return bool(mask[r[ok], c[ok]].any())
