"""Humps, ends and what they are aimed at, in plain numpy and scipy: the slow versions of `kernels.passing`."""

from __future__ import annotations

import naive_profile
import numpy as np
from scipy import ndimage

from wetscout.kernels import lines as kernel


def fine_bed(z, points, offsets, run, half):
    """Lowest ground across, median along."""
    ground = naive_profile.ground_across(z, points, offsets, run)
    return kernel.running_median(naive_profile.lowest(ground, 0, offsets.size - 1)[0], half)


def humps(bed, half):
    """Bed less its opening."""
    low = ndimage.minimum_filter1d(bed, 2 * half + 1, mode="constant", cval=np.inf)
    return bed - ndimage.maximum_filter1d(low, 2 * half + 1, mode="constant", cval=-np.inf)


def inside(rise, foot_m, least_m, cell_m, longest_m):
    """Runs above the foot that do not touch the ends."""
    edge = np.diff(np.concatenate(([0], (rise > foot_m).astype(np.int8), [0])))
    out = []
    for first, last in zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True):
        short = (last - first + 1) * cell_m <= longest_m
        if first > 0 and last < rise.size and short and rise[first:last].max() >= least_m:
            out.append((first - 1, last))
    return out


def open_ends(points, bed, rise, foot_m, most, backs, reach, of_bed, cosine):
    """Station, unit vector outwards and bed of each end and heading."""
    n, out = len(bed), []
    stations = np.arange(n)
    for p, b, r, s in ((points, bed, rise, stations), (points[::-1], bed[::-1], rise[::-1], stations[::-1])):
        first = 0
        while first < min(n - 3, most) and r[first] > foot_m:
            first += 1
        if first >= min(n - 3, most):
            first = 0
        headings = []
        for back in backs:
            k = first + back
            if back > 0 and k + reach > n - 1:
                break
            way = p[k] - p[min(n - 1, k + reach)]
            size = np.hypot(*way)
            if size == 0.0 or any((h * way).sum() > cosine * size for h in headings):
                continue
            headings.append(way / size)
            out.append((s[k], *headings[-1], np.median(b[k : k + of_bed])))
    return out


def turns(points, leg, back):
    """Cosines between the ways before and after each station."""
    far = leg + back
    at = np.arange(far, len(points) - far)
    before, after = points[at - back] - points[at - far], points[at + far] - points[at + back]
    return (before * after).sum(axis=1) / np.maximum(np.hypot(*before.T) * np.hypot(*after.T), 1e-9)


def fill_between(z, a, b, level):
    """Highest ground on the way, less a level in the precision of the ground."""
    t = np.linspace(0.0, 1.0, max(3, int(np.ceil(np.hypot(*(b - a)))) + 1))
    row = np.clip(np.rint(a[0] + t * (b[0] - a[0])).astype(int), 0, z.shape[0] - 1)
    col = np.clip(np.rint(a[1] + t * (b[1] - a[1])).astype(int), 0, z.shape[1] - 1)
    return float(z[row, col].max() - level)


def side_ahead(at, out, line, near, start, points, owner, sizes, ahead_first, beds):
    """Nearest point ahead of each end, one end at a time."""
    found = []
    for e in range(len(at)):
        own = near[start[e] : start[e + 1]]
        own = own[owner[own] != line[e]]
        way = points[own] - at[e]
        size = np.hypot(*way.T)
        ahead = (way * out[e]).sum(axis=1)
        good = (size > sizes[0]) & (ahead >= sizes[1] * size) & (beds[0][own] <= beds[1][e])
        if not good.any() or size.min() <= sizes[2]:
            found.append(-1)
            continue
        cost = size[good] * (2.0 - ahead[good] / size[good]) if ahead_first else size[good]
        found.append(own[good][np.argmin(cost)])
    return found


def facing(at, out, beds, line, pairs, sizes):
    """Cost of each pair of ends."""
    least, cosine, rise_m, cell_m, far_m = sizes
    cost = []
    for a, b in pairs:
        way = at[b] - at[a]
        size = np.hypot(*way)
        if line[a] == line[b] or abs(beds[a] - beds[b]) > rise_m or size < least:
            cost.append(-1)
            continue
        ahead = min((out[a] * way).sum(), -(out[b] * way).sum()) / size
        cost.append(-1 if ahead < cosine else int(1000 * (1.0 - ahead)) + int(10 * size * cell_m / far_m))
    return cost


def ways_ahead(at, out, count, rows, cols):
    """Places ahead of each end up to the edge."""
    ways = []
    for place, unit in zip(at, out, strict=True):
        way = place + np.arange(1.0, count + 1.0)[:, None] * unit
        on = ((way > 0) & (way < np.array((rows, cols)) - 1)).all(axis=1)
        ways.append(way if on.all() else way[: int(np.argmin(on))])
    return np.concatenate(ways), np.cumsum([0, *map(len, ways)])


def low_beyond(z, places, start, over, beds, sizes):
    """Lowest place behind the crest, and its ground."""
    near, fill, rise = sizes
    out = []
    for e in range(len(beds)):
        part = slice(start[e], start[e + 1])
        way, far = places[part], over[part]
        ground = z[np.rint(way[:, 0]).astype(int), np.rint(way[:, 1]).astype(int)].astype(np.float64)
        top = int(np.argmin(far)) if len(way) else 0
        if len(way) < 3 or far[top] > near or top + 1 >= len(way) or not np.isfinite(ground).all():
            out.append((-1, None))
            continue
        k = top + 1 + int(np.argmin(ground[top + 1 :]))
        stands = ground[: top + 1].max() - beds[e] >= fill and ground[k] <= beds[e] + rise
        out.append((start[e] + k, ground[k]) if stands else (-1, None))
    return out
