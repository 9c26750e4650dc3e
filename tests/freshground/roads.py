"""Roads on fill with their side ditches, crossings over pipes, and dug ponds."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from otherground.dig import Line, Section, dense, sample
from scipy import ndimage
from scipy.spatial import cKDTree

from .fields import Grid, Mask
from .place import Place
from .works import Bank, Habit, Works, within


def lay_roads(rng: Generator, place: Place, habit: Habit, works: Works, keep_off: Grid | None) -> None:
    """Straight roads on 0.3-1.5 m of fill along the field grid, with side ditches that follow the ground.

    `keep_off`: distance [m] to the nearest hollow where no side ditch may come near one.
    """
    for k in range(habit.roads):
        at = _clear_course(rng, place, works, place.grid + (k % 2) * np.pi / 2)
        if at is None:
            continue
        ground = sample(place.z, np.clip(at, 0, len(place.z) - 1))
        fill = float(rng.uniform(0.3, 0.7) if rng.random() < 0.65 else rng.uniform(0.7, 1.5))
        soft = ndimage.gaussian_filter1d(ground, float(rng.uniform(30, 90)), mode="nearest")
        crest = np.maximum(soft, ground - 0.25) + fill
        half = float(rng.uniform(2.2, 4.0))
        bank = Bank(at, crest, half, float(rng.uniform(1.8, 3.0)))
        works.banks.append(_bridged(place, bank) if rng.random() < 0.5 else bank)
        for side in (-1, 1):
            if rng.random() < 0.55:
                _side_ditch(rng, place, works, bank, fill, (side, keep_off))


def _bridged(place: Place, bank: Bank) -> Bank:
    """The bank with a gap where a stream goes under a bridge."""
    if not place.streams:
        return bank
    off = cKDTree(np.vstack([x.at for x in place.streams])).query(bank.at)[0]
    keep = off > bank.half_m + 7
    return Bank(bank.at[keep], bank.crest_m[keep], bank.half_m, bank.side)


def _clear_course(rng: Generator, place: Place, works: Works, axis: float) -> Grid | None:
    """A straight course right across that runs along no ditch or stream."""
    n = len(place.z)
    ahead, aside = np.array([np.sin(axis), np.cos(axis)]), np.array([np.cos(axis), -np.sin(axis)])
    for _ in range(12):
        ends = n / 2 + float(rng.uniform(-0.36, 0.36)) * n * aside + np.outer([-0.8 * n, 0.8 * n], ahead)
        at = dense(within(ends, n))
        if not len(works.outlets.at) or (cKDTree(works.outlets.at).query(at[::20])[0] < 30).mean() < 0.2:
            return at
    return None


def _side_ditch(
    rng: Generator, place: Place, works: Works, bank: Bank, fill: float, of: tuple[int, Grid | None]
) -> None:
    """A shallow ditch beside a road: it follows the ground and leads nowhere, but into what it crosses."""
    side, keep_off = of
    ahead = bank.at[-1] - bank.at[0]
    out = np.array([ahead[1], -ahead[0]]) / np.hypot(*ahead) * side
    deep = float(rng.uniform(0.3, 0.6))
    at = bank.at + out * (bank.half_m + bank.side * (fill + deep) + 1.0)
    ok = ((at > 1) & (at < len(place.z) - 2)).all(1)
    if keep_off is not None:
        rc = np.clip(np.rint(at).astype(int), 0, len(place.z) - 1)
        ok &= keep_off[rc[:, 0], rc[:, 1]] > 30
    marks, k = ndimage.label(ok)
    for m in range(1, k + 1):
        own = at[marks == m]
        if len(own) < 160:
            continue
        ground = sample(place.z, own)
        bed = ndimage.gaussian_filter1d(ground, 24, mode="nearest") - deep
        bed = np.minimum(bed, ground - 0.12)
        works.lines.append(Line("roadside", own, bed, Section(float(rng.uniform(0.4, 0.9)), float(rng.uniform(2, 3)))))


def lay_lanes(rng: Generator, place: Place, works: Works) -> None:
    """Farm crossings: short fill over a pipe across a ditch, here and there a lane that goes on."""
    for line in [x for x in works.lines if x.kind != "roadside"]:
        k = int(rng.uniform(80, 500))
        while k < len(line.at) - 80:
            a, b = line.at[max(k - 8, 0)], line.at[min(k + 8, len(line.at) - 1)]
            out = np.array([b[1] - a[1], a[0] - b[0]]) / max(np.hypot(*(b - a)), 1e-9)
            ground = float(sample(place.z, line.at[k][None])[0])
            deep = ground - float(line.bed_m[k])
            reach = deep * line.section.side + line.section.bed_width_m / 2 + float(rng.uniform(2, 4))
            if rng.random() < 0.12:
                reach += float(rng.uniform(60, 250))
            at = dense(np.stack([line.at[k] - reach * out, line.at[k] + reach * out]))
            under = sample(place.z, np.clip(at, 0, len(place.z) - 1))
            crest = ndimage.gaussian_filter1d(under, 12, mode="nearest") + float(rng.uniform(-0.05, 0.35))
            if deep > 0.25:
                works.banks.append(Bank(at, crest, float(rng.uniform(2.0, 4.0)), float(rng.uniform(1.5, 2.5))))
            k += int(rng.uniform(400, 1500))


def dig_ponds(rng: Generator, place: Place, habit: Habit, works: Works, wet: Mask) -> None:
    """Places for dug ponds: off the hollows, ditches and roads."""
    n = len(place.z)
    off = ndimage.distance_transform_edt(~wet)
    taken = np.vstack([works.outlets.at, *[x.at for x in works.lines], *[b.at for b in works.banks], [[-99.0, -99.0]]])
    tree = cKDTree(taken)
    for _ in range(habit.ponds * 12):
        p = rng.uniform(0.13, 0.87, 2) * n
        if off[int(p[0]), int(p[1])] > 45 and tree.query(p)[0] > 50 and len(works.ponds) < habit.ponds:
            works.ponds.append((float(p[0]), float(p[1])))
