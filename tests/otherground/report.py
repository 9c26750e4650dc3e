"""Figures in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .score import DEEP_M, LARGE_M2, PLUG_M, SHALLOW_M, SMALL_M2, TOP_M2, Figures, Hit

BIG = 1e9


def part(hits: Sequence[Hit]) -> str:
    """Found of all, and how many at the same level."""
    found = sum(h.site is not None for h in hits)
    level = sum(h.same_level for h in hits)
    return f"{found}/{len(hits)}" + (f" ({level} at the level)" if level < found else "")


def headline(all_of: Sequence[Figures]) -> list[Hit]:
    """Families that the main figure counts."""
    return [h for f in all_of for h in f.of(LARGE_M2, TOP_M2, DEEP_M, BIG)]


def lines_of(f: Figures) -> list[str]:
    """One landscape: its counts, then each miss and false site."""
    head = f"{f.kind} {f.seed} at {f.cell_m:g} m: found {part(f.of(LARGE_M2, TOP_M2, DEEP_M, BIG))}, "
    head += f"small {part(f.of(SMALL_M2, LARGE_M2, DEEP_M, BIG))}, "
    head += f"shallow {part(f.of(SMALL_M2, TOP_M2, SHALLOW_M, DEEP_M))}, "
    head += f"large {part(f.of(TOP_M2, BIG, DEEP_M, BIG))}, sites {f.sites}, false {len(f.false)}"
    out = [head]
    for h in f.families:
        t = h.truth
        what = f"{t.area_m2:.0f} m2, {t.depth_m:.2f} m, floor at {t.floor_at[0]:.0f},{t.floor_at[1]:.0f}"
        if h.site is None:
            weight = "MISS " if t.area_m2 >= LARGE_M2 and t.depth_m >= DEEP_M else "miss "
            out.append(f"   {weight} {what}: {h.reason}")
        elif abs(h.spill_error_m) > 0.15:
            out.append(f"   LEVEL {what}: off by {h.spill_error_m:+.2f} m, iou {h.iou:.2f}")
        elif h.plugs_m and min(h.plugs_m) > PLUG_M:
            out.append(f"   PLUG  {what}: nearest {min(h.plugs_m):.0f} m from a crossing")
        if h.stands_m + h.spill_error_m < -0.05:
            low = h.stands_m + h.spill_error_m
            out.append(
                f"   LEAK  {what}: behind the plugs water stands {-low:.2f} m below the true spill, cuts {h.cuts}"
            )
    out += [f"   FALSE {x.pool_m2:.0f} m2 at {x.at[0]},{x.at[1]}: {x.lies_on}" for x in f.false]
    return out


def precision(all_of: Sequence[Figures]) -> tuple[int, int]:
    """Sites that are hits, and those with the false ones."""
    good = sum(sum(h.site is not None for h in f.families) + f.small_hits for f in all_of)
    return good, good + sum(len(f.false) for f in all_of)


def specimens(all_of: Sequence[Figures]) -> list[str]:
    """How many specimens of each kind were offered."""
    every = [s for f in all_of for s in f.specimens]
    if not every:
        return []
    kinds = sorted({kind for kind, _ in every})
    count = {k: (sum(o for kind, o in every if kind == k), sum(kind == k for kind, _ in every)) for k in kinds}
    told = ", ".join(f"{k} {a}/{b}" for k, (a, b) in count.items())
    return [f"specimens offered: {sum(o for _, o in every)}/{len(every)}: {told}"]


def summary(all_of: Sequence[Figures]) -> list[str]:
    """All landscapes together."""
    hits = [h for f in all_of for h in f.families if h.site is not None]
    spill = np.array([abs(h.spill_error_m) for h in hits]) if hits else np.array([np.nan])
    volume = np.array([abs(h.volume_error) for h in hits]) if hits else np.array([np.nan])
    first = [h.plugs_m[0] <= PLUG_M for h in hits if h.plugs_m]
    every = [d <= PLUG_M for h in hits for d in h.plugs_m]
    good, offered = precision(all_of)
    none = [f for f in all_of if not f.families and not f.specimens]
    small = [h for f in all_of for h in f.of(SMALL_M2, LARGE_M2, DEEP_M, BIG)]
    shallow = [h for f in all_of for h in f.of(SMALL_M2, TOP_M2, SHALLOW_M, DEEP_M)]
    large = [h for f in all_of for h in f.of(TOP_M2, BIG, DEEP_M, BIG)]
    told = [h.starts_here for h in hits if h.starts_here is not None]
    ways, closed = (sum(h.cuts[k] for h in hits if h.cuts[0] > 1) for k in (0, 1))
    level = [abs(h.stands_m) <= 0.02 for h in hits if np.isfinite(h.stands_m)]
    holds = [h.stands_m + h.spill_error_m >= -0.05 for h in hits if np.isfinite(h.stands_m)]
    weighty = sum(x.pool_m2 >= LARGE_M2 for f in all_of for x in f.false)
    middle, tail = np.quantile(spill, [0.5, 0.9])
    return [
        f"found, >= 0.1 ha and >= 0.3 m  {part(headline(all_of))}",
        f"found, 0.04-0.1 ha             {part(small)}",
        f"found, 0.15-0.3 m deep         {part(shallow)}",
        f"found, over 4 ha               {part(large)}",
        f"precision                      {good}/{offered} ({weighty} false of 0.1 ha and more)",
        f"spill error median {middle:.3f}, 90 % {tail:.3f} m, within 0.15 m {np.mean(spill <= 0.15):.2f}",
        f"volume error median {100 * np.median(volume):.1f} %",
        f"plug within 15 m: first {np.mean(first or np.nan):.2f}, every {np.mean(every or np.nan):.2f}",
        f"several ways out: {closed}/{ways} plugged; starts here or passes right {np.mean(told or np.nan):.2f}; "
        f"water stands within 0.02 m of the spill behind the plugs {np.mean(level or np.nan):.2f}, "
        f"no lower than the true spill less 0.05 m {np.mean(holds or np.nan):.2f}",
        *specimens(all_of),
        f"nothing drained: {sum(len(f.false) for f in none)} false in {sum(f.km2 for f in none):.1f} km2",
    ]
