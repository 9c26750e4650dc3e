"""Slow, obvious versions of the linework kernels: one cell at a time, plain Python."""

from __future__ import annotations

import math

import numpy as np

from wetscout.kernels import lines as kernel


def box_mean(z, k):
    """Mean of the known cells of the k x k box."""
    h = k // 2
    out = np.full(z.shape, np.nan, dtype=np.float32)
    for r, c in np.ndindex(z.shape):
        if np.isnan(z[r, c]):
            continue
        part = z[max(0, r - h) : r + h + 1, max(0, c - h) : c + h + 1].astype(np.float64)
        out[r, c] = np.nanmean(part)
    return out


def strip(s, r, c, stencils, index, least):
    """Weighted mean under one stencil, NaN when too little of it is ground."""
    dr, dc, w, start = stencils
    total = weight = whole = 0.0
    for i in range(start[index], start[index + 1]):
        whole += w[i]
        y, x = r + dr[i], c + dc[i]
        if 0 <= y < s.shape[0] and 0 <= x < s.shape[1] and not np.isnan(s[y, x]):
            total += w[i] * float(s[y, x])
            weight += w[i]
    return total / weight if weight > 0 and weight >= least * whole else math.nan


def depth_in(s, at, stencils, direction, far, least):
    """Lower side minus bed in one direction."""
    r, c = at
    k = 5 * direction
    bed = strip(s, r, c, stencils, k, least)
    a = strip(s, r, c, stencils, k + (3 if far else 1), least)
    b = strip(s, r, c, stencils, k + (4 if far else 2), least)
    return -1.0 if any(math.isnan(v) for v in (bed, a, b)) else min(a, b) - bed


def directional_depth(s, ring, stencils, n_dir, least, limits):
    """Best of the even directions, then of its two neighbours; saturation of the winner."""
    screen, t_keep = limits
    depth = np.zeros(s.shape)
    direction = np.full(s.shape, -1)
    saturation = np.zeros(s.shape)
    for r, c in np.ndindex(s.shape):
        round_it = [(r + dr, c + dc) for dr, dc in ring]
        known = [s[y, x] for y, x in round_it if 0 <= y < s.shape[0] and 0 <= x < s.shape[1] and not np.isnan(s[y, x])]
        low = 2 * len(known) < len(ring) or np.mean(np.array(known, dtype=np.float64)) - s[r, c] >= screen
        if np.isnan(s[r, c]) or not low:
            continue
        best, at = 0.65 * t_keep, -1
        for d in range(0, n_dir, 2):
            v = depth_in(s, (r, c), stencils, d, False, least)
            if v > best:
                best, at = v, d
        if at < 0:
            continue
        for d in ((at - 1) % n_dir, (at + 1) % n_dir):
            v = depth_in(s, (r, c), stencils, d, False, least)
            if v > best:
                best, at = v, d
        depth[r, c], direction[r, c] = best, at
        if best >= t_keep:
            far = depth_in(s, (r, c), stencils, at, True, least)
            saturation[r, c] = best / far if far > best else 1.0
    return depth, direction, saturation


def thin_across(depth, direction, across, t_low):
    """Cells no other cell across beats; of equals the first in reading order."""
    keep = np.zeros(depth.shape, dtype=bool)
    for r, c in np.ndindex(depth.shape):
        d = direction[r, c]
        if d < 0 or depth[r, c] < t_low:
            continue
        mine = (depth[r, c], -r, -c)
        others = []
        for dr, dc in across[d]:
            for y, x in ((r + dr, c + dc), (r - dr, c - dc)):
                if 0 <= y < depth.shape[0] and 0 <= x < depth.shape[1]:
                    others.append((depth[y, x], -y, -x))
        keep[r, c] = all(mine > o for o in others)
    return keep


def supported(keep, direction, unit, reach, limits):
    """Count helpers among all kept cells; limits are cosine along, turn and number wanted."""
    along, turn, wanted = limits
    out = np.zeros(keep.shape, dtype=bool)
    cells = list(zip(*np.nonzero(keep), strict=True))
    for r, c in cells:
        d = int(direction[r, c])
        n = 0
        for y, x in cells:
            far = math.hypot(y - r, x - c)
            if far == 0 or far > reach:
                continue
            diff = abs(int(direction[y, x]) - d)
            aligned = abs((y - r) * unit[d, 0] + (x - c) * unit[d, 1]) >= along * far
            n += aligned and min(diff, len(unit) - diff) <= turn
        out[r, c] = n >= wanted
    return out


def lowest_way(profile, turn_cost, side_cost):
    """Try every way (exponential): only for a handful of stations and offsets."""
    n, m = profile.shape
    best, answer = math.inf, None

    def walk(i, j, cost, way):
        nonlocal best, answer
        cost += profile[i, j] - profile[i].min() + side_cost * abs(j - m // 2)
        if cost >= best:
            return
        if i == n - 1:
            best, answer = cost, [*way, j]
            return
        for q in (j - 1, j, j + 1):
            if 0 <= q < m:
                walk(i + 1, q, cost + turn_cost * (q != j), [*way, j])

    for j in range(m):
        walk(0, j, 0.0, [])
    return best, answer


def climb(bank, bed, slack):
    """All pairs of stations."""
    best = 0.0
    for i in range(len(bank)):
        for j in range(i + 1, len(bank)):
            if bed[j] <= bed[i] + slack and bank[j] - bank[i] > best:
                best = bank[j] - bank[i]
    return best


def running_median(values, half):
    """Median of the known values of each window."""
    out = np.full(len(values), np.nan)
    for i in range(len(values)):
        part = np.array(values[max(0, i - half) : i + half + 1])
        part = part[~np.isnan(part)]
        if part.size:
            out[i] = np.median(part)
    return out


def resample(points, step=1.0):
    """Even stations, by numpy."""
    apart = np.hypot(*np.diff(points, axis=0).T)
    keep = np.concatenate(([True], apart > 1e-9))
    p = points[keep]
    if p.shape[0] < 2:
        return np.repeat(points[:1], 2, axis=0)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))))
    n = max(2, round(along[-1] / step) + 1)
    at = np.linspace(0.0, along[-1], n)
    return np.column_stack((np.interp(at, along, p[:, 0]), np.interp(at, along, p[:, 1])))


def smooth(values, half):
    """Running mean from running sums, by numpy."""
    n = values.shape[0]
    total = np.concatenate((np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)))
    i = np.arange(n)
    h = np.minimum(half, np.minimum(i, n - 1 - i))
    width = (2 * h + 1).reshape((n,) + (1,) * (values.ndim - 1))
    return (total[i + h + 1] - total[i - h]) / width


def tangents(points, half):
    """Unit vectors along a line, by numpy."""
    n = points.shape[0]
    i = np.arange(n)
    d = points[np.minimum(i + half, n - 1)] - points[np.maximum(i - half, 0)]
    size = np.hypot(*d.T)
    size[size == 0] = 1.0
    return d / size[:, None]


def recentre(s, points, half, offsets, run, turn_cost, side_cost):
    """Move a line to the lowest ground beside it, by numpy and the kernels that have twins of their own."""
    p = resample(smooth(resample(points), half))
    t = tangents(p, 2 * half)
    ground = kernel.sections(s, *(np.ascontiguousarray(v) for v in (p[:, 0], p[:, 1], -t[:, 1], t[:, 0])), offsets)
    seen = np.isfinite(ground)
    total = smooth(np.where(seen, ground - np.nanmin(ground) if seen.any() else 0.0, 0.0), run)
    share = smooth(seen.astype(np.float64), run)
    ground = np.where(share > 0.3, total / np.maximum(share, 1e-9), np.nan)
    shift = smooth(offsets[kernel.lowest_way(ground, turn_cost, side_cost)], 1)
    moved = p + shift[:, None] * np.column_stack((-t[:, 1], t[:, 0]))
    moved = np.clip(moved, 0.0, np.array(s.shape) - 1.0)
    return resample(smooth(resample(moved), 1))


def straightness(points, half, length):
    """Median of chord over length, by numpy."""
    p = smooth(points, half)
    n = max(2, min(p.shape[0] - 1, length))
    starts = np.arange(0, max(1, p.shape[0] - n), max(1, n // 2))
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))))
    ends = np.minimum(starts + n, p.shape[0] - 1)
    chord = np.hypot(*(p[ends] - p[starts]).T)
    return float(np.clip(np.median(chord / np.maximum(along[ends] - along[starts], 1e-9)), 0.0, 1.0))


def bow(points, half, reach):
    """Median distance of stations from the chord over `reach` stations to both sides, by numpy."""
    p = smooth(points, half)
    if len(p) <= 2 * reach:
        return 0.0
    a, m, b = p[: -2 * reach], p[reach:-reach], p[2 * reach :]
    chord = b - a
    area = (m - a)[:, 0] * chord[:, 1] - (m - a)[:, 1] * chord[:, 0]
    return float(np.median(np.abs(area) / np.maximum(np.hypot(*chord.T), 1e-9)))


def headings(points, reach):
    """Both ends and the unit vectors outwards from the first point so far from them."""
    at, out = np.zeros((2, 2)), np.zeros((2, 2))
    for side in (0, 1):
        q = points if side == 0 else points[::-1]
        beyond = np.flatnonzero(np.hypot(*(q - q[0]).T) >= reach)
        v = q[0] - q[beyond[0] if beyond.size else -1]
        size = float(np.hypot(*v))
        at[side], out[side] = q[0], v / size if size > 0 else v
    return at, out


def steps_on_ground(z, at, out, most):
    """Place by place."""
    on = []
    for k in range(1, most + 1):
        r, c = (round(float(v)) for v in at + k * out)
        on.append(0 <= r < z.shape[0] and 0 <= c < z.shape[1] and bool(np.isfinite(z[r, c])))
    return on.index(False) if False in on else -1


def parallel_lines(points, heading, owner, places, reach, cosine, beside):
    """Every place against every point."""
    counts = []
    for k in places:
        way = points - points[k]
        near = ((way**2).sum(axis=1) <= reach * reach) & (owner != owner[k])
        near &= (np.abs(heading @ heading[k]) >= cosine) & (np.abs(way @ heading[k]) <= beside)
        counts.append(np.unique(owner[near]).size)
    return np.array(counts)


def half_width(across, step_m, slope, flat_m):
    """All rows at once with numpy."""
    rise = (across[:, 2:] - across[:, :-2]) / (2.0 * step_m)
    steep = np.where(np.isfinite(rise), rise, 0.0) > slope
    first = np.argmax(steep, axis=1)
    begun = steep.any(axis=1) & (first * step_m <= flat_m)
    after = np.arange(steep.shape[1])[None, :] > first[:, None]
    ends = ~steep & after
    last = np.where(ends.any(axis=1), np.argmax(ends, axis=1), steep.shape[1] - 1)
    return np.where(begun, (last + 1) * step_m, step_m)


def banks(part, half, step_m, sizes):
    """Medians of slices, row by row, and ridges with numpy."""
    least, width, reach, high = sizes
    begin = np.maximum(least, half + step_m)
    first = np.ceil(begin / step_m).astype(int)
    last = np.floor((begin + width) / step_m).astype(int) + 1
    edge = int(reach / step_m) + 1

    def median(values):
        known = values[~np.isnan(values)]
        return np.median(known) if known.size else np.nan

    bank = np.array([median(row[a:b]) for row, a, b in zip(part, first, last, strict=True)])
    behind = np.array([median(row[edge : edge + int(8.0 / step_m)]) for row in part])
    top = np.where(np.isfinite(part[:, :edge]), part[:, :edge], -np.inf)
    top[np.arange(edge)[None, :] < (first - int(2.0 / step_m))[:, None]] = -np.inf
    ridge = top.max(axis=1) - np.where(np.isfinite(behind), behind, np.inf) >= high
    known = np.isfinite(behind) & np.isfinite(bank)
    return bank, (ridge & known).sum() / max(1, known.sum())
