"""Covered drains: hollows that close today and are dry through a pipe, held against the list of suspected ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from rasterio.transform import Affine

from .make import Other
from .maps import CROP, HAY
from .score import COVERED, IOU, SMALL_M2, iou, overlap
from .truth import Truth

LEFT_M = 0.15  # closed depth that is left; issue 3, Must hold 1
MOUTH_M = 20.0  # issue 3, Must hold 1
AGREE = 0.5  # of a hollow on wet soil and on farmed land: it looks as a covered one does


@dataclass(frozen=True)
class Piped:
    """A pipe and the site that found its hollow."""

    truths: tuple[Truth, ...]
    found: bool
    confidence: str
    mouth_m: float
    spill_error_m: float


@dataclass(frozen=True)
class CoveredFigures:
    """Pipes found, and the sites of the list by what they lie on."""

    kind: str
    seed: int
    maps: bool
    pipes: tuple[Piped, ...]
    false: tuple[str, ...]
    alike: int
    high: int


def looks_alike(other: Other, t: Truth) -> bool:
    """Whether the maps say of an undrained hollow what they say of a drained one."""
    if other.maps is None:
        return False
    step = round(other.cell_m)
    rows, cols = (np.nonzero(t.mask)[k] + (t.row0, t.col0)[k] for k in (0, 1))
    r, c = (np.clip(v * step, 0, len(other.maps.soil) - 1) for v in (rows, cols))
    farmed = np.isin(other.maps.cover[r, c], [CROP, HAY]).mean()
    return bool((other.maps.soil[r, c] == 2).mean() >= AGREE and farmed >= AGREE)


def evidence_of(other: Other, grid: Any, settings: Any) -> Any:
    """The maps as the screen takes them."""
    from wetscout.steps.evidence import gather

    if other.maps is None:
        return None
    step = round(other.cell_m)
    codes = np.ascontiguousarray(other.maps.cover[::step, ::step])
    on_map = Affine(grid.dx, 0.0, grid.x0, 0.0, -grid.dy, grid.y0)
    return gather(grid, other.maps.soils(other.cell_m, on_map), codes, settings)


def _piped(other: Other, k: int, levels: tuple[Truth, ...], sites: Sequence[Any]) -> Piped:
    pairs = [(iou(s.pool, t), n, t) for n, s in enumerate(sites) for t in levels]
    best, n, t = max(pairs, key=lambda p: p[0], default=(0.0, None, None))
    if n is None or t is None or best < IOU:
        return Piped(levels, False, "", float("nan"), float("nan"))
    v = sites[n].values
    mouths = getattr(v.get("_covered"), "mouths", ())
    true = (np.asarray(other.pipes[k].mouth) - (other.cell_m - 1) / 2) / other.cell_m
    far = float(np.hypot(mouths[0].row - true[0], mouths[0].col - true[1])) * other.cell_m if mouths else float("inf")
    return Piped(levels, True, str(v["confidence"]), far, float(v["spill_m"]) - t.spill_m)


def score_covered(other: Other, screen: Any, maps: bool) -> CoveredFigures:
    """Compare the list of suspected covered drains with the pipes.

    Parameters
    ----------
    other : Other
    screen : wetscout.records.Screen
    maps : bool
        Whether the screen was given soils and land cover.

    Returns
    -------
    CoveredFigures
    """
    sites = [s for s in screen.sites if s.values.get("drained_by") in COVERED]
    by: dict[int, list[Truth]] = {}
    for t in other.truths:
        if t.state == "covered" and t.depth_m >= LEFT_M and t.area_m2 >= SMALL_M2:
            by.setdefault(t.pipe, []).append(t)
    judged = {k: tuple(v) for k, v in by.items() if not any(t.edge for t in v)}
    pipes = tuple(_piped(other, k, v, sites) for k, v in judged.items())
    false, alike, high = [], 0, 0
    for s in sites:
        high += s.values["confidence"] != "low"
        on = [(iou(s.pool, t), t) for t in other.truths if overlap(s.pool, t)]
        best, t = max(on, key=lambda p: p[0], default=(0.0, None))
        if any(x.state in ("covered", "drained", "partly") or x.edge for _, x in on):
            continue
        if t is not None and best >= IOU and looks_alike(other, t):
            alike += 1
            continue
        what = "no hollow" if t is None else f"{t.state} {t.area_m2:.0f} m2, {t.depth_m:.2f} m, iou {best:.2f}"
        false.append(f"{s.values['confidence']} {s.values['drained_by']} at {s.pool.row0},{s.pool.col0}: {what}")
    return CoveredFigures(other.kind, other.seed, maps, pipes, tuple(false), alike, high)


def covered_lines(f: CoveredFigures) -> list[str]:
    """One landscape in words."""
    found = [p for p in f.pipes if p.found]
    near = sum(p.mouth_m <= MOUTH_M for p in found)
    how = "with maps" if f.maps else "terrain alone"
    out = [
        f"{f.kind} {f.seed} covered, {how}: found {len(found)}/{len(f.pipes)}, false {len(f.false)}, alike {f.alike}, "
        f"mouth within {MOUTH_M:.0f} m {near}/{len(found)}, above low {f.high}"
    ]
    for p in f.pipes:
        t = p.truths[-1]
        if not p.found:
            out.append(f"   MISS  {t.area_m2:.0f} m2, {t.depth_m:.2f} m, floor {t.floor_at[0]:.0f},{t.floor_at[1]:.0f}")
    return out + [f"   FALSE {x}" for x in f.false]


def covered_summary(all_of: Sequence[CoveredFigures]) -> list[str]:
    """All landscapes with covered drains together."""
    out = []
    for maps in (True, False):
        some = [f for f in all_of if f.maps == maps]
        pipes = [p for f in some for p in f.pipes]
        found = [p for p in pipes if p.found]
        false = sum(len(f.false) for f in some)
        near = sum(p.mouth_m <= MOUTH_M for p in found)
        if pipes:
            out.append(
                f"covered, {'with maps    ' if maps else 'terrain alone'}: found {len(found)}/{len(pipes)}, "
                f"precision {len(found)}/{len(found) + false}, mouth {near}/{len(found)}, "
                f"above low confidence {sum(f.high for f in some)}"
            )
    return out
