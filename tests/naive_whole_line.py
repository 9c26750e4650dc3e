"""What a whole line shows, in plain numpy: the slow, obvious versions of `kernels.whole_line` and `kernels.sums`."""

from __future__ import annotations

from itertools import pairwise

import naive_linework as naive
import numpy as np

from wetscout.kernels import lines as kernel


def length(points):
    """Length along points [cells]."""
    return np.hypot(*np.diff(points, axis=0).T).sum()


def known_median(values):
    """Median of the finite ones, NaN without any."""
    seen = np.asarray(values)[np.isfinite(values)]
    return float(np.median(seen)) if seen.size else np.nan


def depths(s, points, run, near, far, half):
    """Depth at each station against one band."""
    t = naive.tangents(points, run)
    columns = (np.ascontiguousarray(v) for v in (*points.T, *t.T))
    return kernel.line_depths(s, *columns, near, far, half, 7)


def ratio(near, far):
    """Median of near over far depth; 1 where the far band is not higher."""
    with np.errstate(invalid="ignore"):
        share = np.where(far > 0.02, near / np.maximum(far, 0.02), 1.0)
    return known_median(np.where(np.isfinite(near), share, np.nan))


def saturation(s, points, run, bands):
    """Ratio of the depths against both bands."""
    return ratio(*(depths(s, points, run, *pair, bands[4]) for pair in (bands[:2], bands[2:4])))


def quality(s, points, run, bands, straight, shown):
    """Length, quartile and median of depth, saturation, straightness."""
    near = depths(s, points, run, *bands[:2], bands[4])
    deep = np.flatnonzero(near >= shown[0])
    if np.isfinite(shown[0]) and deep.size > 1 and not (deep[-1] - deep[0]) * shown[1] < shown[2]:
        points = points[deep[0] : deep[-1] + 1]
        near = depths(s, points, run, *bands[:2], bands[4])
    seen = near[np.isfinite(near)]
    if 2 * seen.size < near.size:
        return length(points), 0.0, 0.0, 0.0, 0.0
    return (
        length(points),
        np.quantile(seen, 0.25),
        np.quantile(seen, 0.5),
        saturation(s, points, run, bands),
        naive.straightness(points, *straight),
    )


def undisturbed(values, disturbed):
    """Without the disturbed ones, unless they are most."""
    return values[~disturbed] if 2 * disturbed.sum() < disturbed.size else values


def unevenness(depth, disturbed):
    """Spread of the depth over its median."""
    own = undisturbed(depth, disturbed)
    seen = own[np.isfinite(own)]
    if not seen.size:
        return np.nan
    return (np.quantile(seen, 0.9) - np.quantile(seen, 0.1)) / np.maximum(known_median(depth), 0.05)


def rise(behind, disturbed):
    """The lower of the medians of both sides."""
    own = undisturbed(behind, disturbed)
    return np.minimum(known_median(own[:, 0]), known_median(own[:, 1]))


def signs(s, points, levels, sides, disturbed, run, bands, valley, courses, shares):
    """All that decides the kind of a line."""
    near, far = (depths(s, points, run, *pair, bands[4]) for pair in (bands[:2], bands[2:4]))
    beyond = depths(s, points, run, *valley, bands[4])
    bed, left, right = levels
    depth = np.fmin(left, right) - bed
    away = ~disturbed
    away = away if away.mean() >= shares[0] else np.ones_like(away)
    notch = np.argsort(-np.nan_to_num(near, nan=-np.inf), kind="stable")[: max(1, near.size // 3)]
    one_sided = np.abs(left - right) / np.maximum(np.fmax(left, right) - bed, 0.05)
    return (
        ratio(near, far),
        known_median(depth),
        known_median(beyond - near),
        known_median(one_sided[away]),
        known_median(np.where(left >= right, sides[2][:, 0], sides[2][:, 1])[away]),
        known_median(sides[0] + sides[1]),
        length(points),
        naive.straightness(points, *courses[:2]),
        unevenness(depth, disturbed),
        naive.bow(points, courses[0], courses[2]),
        rise(sides[2], disturbed),
        known_median(near[notch]) if shares[1] else 0.0,
        ratio(near[notch], far[notch]) if shares[1] else 0.0,
    )


def long_legs(corners, start, cell_m, least_m):
    """Mean leg of each line, weighted by length, against the least."""
    legs = [np.hypot(*np.diff(corners[a:b], axis=0).T) * cell_m for a, b in pairwise(start)]
    return np.array([(own**2).sum() >= least_m * own.sum() for own in legs])


def corners(points, arm, apart, cosine):
    """Sharp turns, sharpest first, apart from each other and from the ends."""
    at = np.arange(apart, len(points) - apart)
    before, after = points[at] - points[at - arm], points[at + arm] - points[at]
    size = np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)
    straight = (before * after).sum(axis=1) / np.maximum(size, 1e-9)
    found = []
    for k in np.argsort(straight, kind="stable"):
        if straight[k] <= cosine and all(abs(at[k] - other) >= apart for other in found):
            found.append(at[k])
    return sorted(found)


def arms(path, start, points, reach):
    """Unit vectors into each edge from both its ends."""
    out = []
    for a, b in pairwise(start):
        for edge in (path[a:b], path[a:b][::-1]):
            p = points[edge]
            far = np.hypot(*(p - p[0]).T)
            beyond = np.flatnonzero(far >= reach)
            v = p[beyond[0] if beyond.size else -1] - p[0]
            size = np.hypot(*v)
            out.append(v / size if size > 0 else v)
    return np.array(out).reshape(-1, 2, 2)
