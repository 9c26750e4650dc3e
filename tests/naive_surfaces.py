"""Slow, obvious versions of the kernels behind surfaces and sites."""

from __future__ import annotations

import math

import numpy as np


def free_end(z, mask, row, col, dr, dc, reach, run):
    """Walk a ray to free ground: (distance, level, slope into the gap) or None."""
    rows, cols = z.shape

    def free(r, c):
        return 0 <= r < rows and 0 <= c < cols and not mask[r, c] and np.isfinite(z[r, c])

    def point(d):
        return row + dr * d, col + dc * d

    def nearest(d):
        return tuple(math.floor(v + 0.5) for v in point(d))

    for d in range(1, reach + 1):
        r, c = nearest(d)
        if not (0 <= r < rows and 0 <= c < cols):
            return None
        if mask[r, c]:
            continue
        if not np.isfinite(z[r, c]):
            return None
        alone, steps, between = [], [], []
        for k in range(run + 1):
            if not free(*nearest(d + k)):
                break
            alone.append(float(z[nearest(d + k)]))
            rr, cc = point(d + k)
            r0, c0 = math.floor(rr), math.floor(cc)
            if all(free(r0 + i, c0 + j) for i in (0, 1) for j in (0, 1)):
                fr, fc = rr - r0, cc - c0
                square = z[r0 : r0 + 2, c0 : c0 + 2].astype(float)
                steps.append(k)
                between.append(np.array([1 - fr, fr]) @ square @ np.array([1 - fc, fc]))
        if len(steps) < 3:
            return d, float(np.mean(alone)), 0.0
        slope, level = np.polyfit(steps, between, 1)
        return d, float(level), -float(slope)
    return None


def hermite(t, la, lb, ma, mb):
    """Cubic with given ends and end slopes (textbook basis functions)."""
    return (
        (2 * t**3 - 3 * t**2 + 1) * la + (t**3 - 2 * t**2 + t) * ma + (-2 * t**3 + 3 * t**2) * lb + (t**3 - t**2) * mb
    )


def carry_across(z, mask, reach, run, ratio, damping, hollow):
    """High and lowest of the short lines over masked cells."""
    high, low = z.astype(float).copy(), z.astype(float).copy()
    for r, c in zip(*np.nonzero(mask), strict=True):
        lines = []
        for k in range(16):
            angle = math.pi * k / 16
            a = free_end(z, mask, r, c, math.sin(angle), math.cos(angle), reach, run)
            b = free_end(z, mask, r, c, -math.sin(angle), -math.cos(angle), reach, run)
            if a is None or b is None:
                continue
            gap = a[0] + b[0]
            level = hermite(a[0] / gap, a[1], b[1], damping * a[2] * gap, -damping * b[2] * gap)
            straight = hermite(0.5, a[1], b[1], b[1] - a[1], b[1] - a[1])
            lift = hermite(0.5, a[1], b[1], a[2] * gap, -b[2] * gap) - straight
            lines.append((gap, level, lift))
        short = [line[1:] for line in lines if line[0] <= ratio * min(one[0] for one in lines)]
        levels = sorted((level for level, _ in short), reverse=True)
        if levels:
            rank, ridge = hollow
            inner = levels[:rank][-1]
            high[r, c] = inner + np.clip(np.mean([lift for _, lift in short]) / ridge, 0, 1) * (levels[0] - inner)
        else:
            high[r, c] = np.nan
        low[r, c] = min(levels) if levels else np.nan
    return high, low


def carry_cautious(z, mask, reach, run, radius, stride, best):
    """Levels along the lines in which a quadratic fitted to the free ground around bends least."""
    out = z.astype(float).copy()
    offsets = [
        (i, j)
        for i in range(-radius, radius + 1, stride)
        for j in range(-radius, radius + 1, stride)
        if i * i + j * j <= radius * radius
    ]
    for r, c in zip(*np.nonzero(mask), strict=True):
        terms, ground = [], []
        for i, j in offsets:
            ri, ci = r + i, c + j
            if 0 <= ri < z.shape[0] and 0 <= ci < z.shape[1] and not mask[ri, ci] and np.isfinite(z[ri, ci]):
                y, x = i / radius, j / radius
                terms.append([1, x, y, x * x, x * y, y * y])
                ground.append(float(z[ri, ci]))
        out[r, c] = np.nan
        if len(ground) < 20:
            continue
        fit = np.linalg.lstsq(np.array(terms), np.array(ground) - float(np.mean(ground)), rcond=None)[0]
        lines = []
        for k in range(16):
            dr, dc = math.sin(math.pi * k / 16), math.cos(math.pi * k / 16)
            a = free_end(z, mask, r, c, dr, dc, reach, run)
            b = free_end(z, mask, r, c, -dr, -dc, reach, run)
            if a is None or b is None:
                continue
            curve = (fit[3] * dc * dc + fit[4] * dc * dr + fit[5] * dr * dr) / radius**2
            level = a[1] + (b[1] - a[1]) * a[0] / (a[0] + b[0]) - 0.5 * curve * a[0] * b[0]
            lines.append((abs(curve), level))
        if lines:
            out[r, c] = np.mean([level for _, level in sorted(lines)[:best]])
    return out


def least_highest_level(z, inside, start):
    """Level at which water from a cell first leaves a region: try every level of the ground, lowest first."""
    from scipy import ndimage

    levels = np.unique(z[np.isfinite(z)])
    for level in levels[levels >= z[start]]:
        labels, _ = ndimage.label(z <= level, structure=np.ones((3, 3)))
        mine = labels == labels[start]
        if (mine & ~inside).any():
            return float(level)
    return float("nan")


def way_down(z, row, col, most):
    """Plain search: lowest lower neighbour, else the shortest way over level ground to a cell that has one."""
    rows, cols = z.shape

    def beside(r, c):
        return [(r + i, c + j) for i in (-1, 0, 1) for j in (-1, 0, 1) if (i, j) != (0, 0)]

    def leaves(r, c):
        return any(not (0 <= a < rows and 0 <= b < cols) or np.isnan(z[a, b]) for a, b in beside(r, c))

    def lower(r, c):
        return None if leaves(r, c) else min(((z[p], p) for p in beside(r, c) if z[p] < z[r, c]), default=None)

    way = [(row, col)]
    while len(way) < most and not np.isnan(z[way[-1]]) and not leaves(*way[-1]):
        found = lower(*way[-1])
        if found:
            way.append(found[1])
            continue
        trails, seen = [[way[-1]]], {way[-1]}
        while trails:
            trail = trails.pop(0)
            if leaves(*trail[-1]) or lower(*trail[-1]):
                break
            for p in beside(*trail[-1]):
                if z[p] == z[trail[-1]] and p not in seen:
                    seen.add(p)
                    trails.append([*trail, p])
        if len(trail) == 1:
            break
        way.extend(trail[1:])
    return [r * cols + c for r, c in way[:most]]


def strip_share(ground, place, ray, far, side, least):
    """The whole ray with numpy."""

    def look(rows, cols):
        r, c = np.rint(rows).astype(np.int64), np.rint(cols).astype(np.int64)
        inside = (r >= 0) & (c >= 0) & (r < ground.shape[0]) & (c < ground.shape[1])
        out = np.full(r.shape, np.nan)
        out[inside] = ground[r[inside], c[inside]]
        return out

    row, col = (place[k] + far * ray[k] for k in (0, 1))
    off = np.arange(-2, 3)[:, None] * side
    levels = look(row + off * ray[1], col - off * ray[0])
    near = np.fmax.reduce([look(row + k * ray[1], col - k * ray[0]) for k in (-1.0, 0.0, 1.0)])
    known = np.isfinite(levels).all(axis=0)
    if known.sum() < 5:
        return 0.0
    high = np.minimum(near - levels[1] - (levels[1] - levels[0]), near - levels[3] - (levels[3] - levels[4]))
    return float((high[known] >= least).mean())


def lower_line(z, row, col, level):
    """All places at once with numpy."""
    steps = np.maximum(np.abs(np.diff(row)), np.abs(np.diff(col)))
    parts = np.maximum(1, np.ceil(steps * 2).astype(np.int64))
    start = np.repeat(np.arange(parts.size), parts)
    t = (np.arange(start.size) - np.repeat(np.cumsum(parts) - parts, parts)) / parts[start]
    rows = np.append(row[start] + t * (row[start + 1] - row[start]), row[-1])
    cols = np.append(col[start] + t * (col[start + 1] - col[start]), col[-1])
    levels = np.append(np.maximum(level[start], level[start + 1]), level[-1])
    ri, ci = np.floor(rows + 0.5).astype(np.int64), np.floor(cols + 0.5).astype(np.int64)
    ok = (ri >= 0) & (ci >= 0) & (ri < z.shape[0]) & (ci < z.shape[1]) & np.isfinite(levels)
    ri, ci, levels = ri[ok], ci[ok], levels[ok]
    known = ~np.isnan(z[ri, ci])
    np.minimum.at(z, (ri[known], ci[known]), levels[known].astype(np.float32))


def spoil_beside(section, step, shoulder, side, rise, reach, more):
    """One section after the other, the ground behind by numpy's least squares."""
    half = section.shape[1] // 2
    inner, outer = shoulder.copy(), shoulder.copy()
    for i, line in enumerate(section):
        at = half + round(shoulder[i] / step)

        def level(k, line=line, at=at):
            return line[at + side * k] if 0 <= at + side * k < line.size else np.nan

        far = np.arange(round((3.0 + more) / step), round((11.0 + more) / step) + 1)
        seen = np.array([level(k) for k in far])
        near = [level(k) for k in range(round((2.0 + more) / step) + 1)]
        if np.isfinite(seen).sum() < 6 or not np.isfinite(near).any():
            continue
        slope, base = np.polyfit(far[np.isfinite(seen)], seen[np.isfinite(seen)], 1)
        top = int(np.nanargmax(near))
        falls = near[top] - np.nanmin([level(k) for k in range(top, top + round((6.0 + more) / step) + 1)])
        if near[top] - base - slope * top < rise or falls < 0.5 * rise:
            continue
        most = round((reach + more) / step)
        k = top
        while k > -most and level(k) > base + slope * k:
            k -= 1
        inner[i] = shoulder[i] + side * k * step
        k = top
        while k < most and level(k) > base + slope * k + 0.02:
            k += 1
        outer[i] = shoulder[i] + side * k * step
    return inner, outer


def share_set(mask, row, col, across_row, across_col, near, far):
    """Share of samples half a cell apart between two offsets that lie on set cells."""
    out = []
    for r, c, a, b, lo, hi in zip(row, col, across_row, across_col, near, far, strict=True):
        n = math.ceil(2 * (hi - lo)) + 2
        hit = 0
        for k in range(n):
            off = lo + (hi - lo) * k / (n - 1)
            y, x = math.floor(r + a * off + 0.5), math.floor(c + b * off + 0.5)
            hit += 0 <= y < mask.shape[0] and 0 <= x < mask.shape[1] and mask[y, x] > 0
        out.append(hit / n)
    return np.array(out)
