"""Which lines are sure enough to be listed, and which of the others are worth keeping for the surfaces."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wetscout.kernels import whole_line
from wetscout.linework import attributes
from wetscout.linework.corners import legs
from wetscout.linework.trace import Line
from wetscout.settings.linework import LineworkSettings

# strength counts length only within these limits [m]: longer lines are not surer, shorter ones are judged by depth
LENGTH_LIMITS_M = (40.0, 400.0)


@dataclass(frozen=True)
class Quality:
    """What a whole line shows.

    Attributes
    ----------
    length, quartile, middle : float
        Length, lower quartile and median of the depth along it [m].
    saturation, straight : float
        Medians, 0-1.
    """

    length: float
    quartile: float
    middle: float
    saturation: float
    straight: float

    def strength(self, low_m: float) -> float:
        """How much speaks for the line.

        Parameters
        ----------
        low_m : float
            Least depth of a cut on this ground [m].

        Returns
        -------
        float
            quartile / low x sqrt(length / 100 m) x straightness^4. Of the forms tried on mapped channels it kept most
            (83 %) at 2.7 times their length; the quartile tells broken lines from steady ones.
        """
        length = min(max(self.length, LENGTH_LIMITS_M[0]), LENGTH_LIMITS_M[1])
        return float(self.quartile / low_m * (length / 100.0) ** 0.5 * self.straight**4)


def quality(
    s: NDArray[np.float32], line: Line, cell_m: float, settings: LineworkSettings, shown_m: float = -np.inf
) -> Quality:
    """Measure a line.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    line : Line
    cell_m : float
        [m].
    settings : LineworkSettings
    shown_m : float
        Depth [m] from which on a line shows: ends that were followed farther than it does say nothing against it and
        are left out, unless too little remains.

    Returns
    -------
    Quality
        Depth 0 where less than half of the line lies on ground with banks.
    """
    bands = attributes.bands_of(cell_m, settings.band_from_m, settings.band_to_m)
    shown = shown_m, cell_m, settings.weak_length_m
    run, straight = attributes.direction_run(cell_m), attributes.straight_over(cell_m)
    cells, *rest = whole_line.quality(s, line.xy, run, bands, straight, shown)
    return Quality(cells * cell_m, *rest)


def is_sure(s: NDArray[np.float32], line: Line, cell_m: float, low_m: float, settings: LineworkSettings) -> bool:
    """Whether a line is long, steady, sharp and straight enough to be listed.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    line : Line
    cell_m, low_m : float
        Cell size, least depth of a cut [m].
    settings : LineworkSettings

    Returns
    -------
    bool
        A cut wider than the near bands is sharp against wider ones, a drawn line may be less sharp: valleys are
        sharp against neither band and not straight. A cut that is deep and sharp over three quarters of its length
        needs no straight course: it is a bend of a straightened brook or a moat, never chance.
    """
    if line.length(cell_m) < settings.min_length_m:
        return False
    q = quality(s, line, cell_m, settings)
    if q.quartile >= settings.deep_factor * low_m and q.saturation >= settings.deep_saturation:
        return True
    if q.strength(low_m) < settings.sure_strength:
        return False
    ruled = q.straight >= settings.ruler_straightness and q.length >= settings.ruler_length_m
    if q.saturation >= (settings.ruler_saturation if ruled else settings.line_saturation):
        return True
    if q.saturation < settings.wide_line_saturation:
        return False
    wide = attributes.bands_of(cell_m, settings.wide_from_m, settings.wide_to_m)
    run = attributes.direction_run(cell_m)
    return bool(whole_line.saturation(s, line.xy, run, wide) >= settings.wide_saturation)


def judged(s: NDArray[np.float32], line: Line, cell_m: float, low_m: float, settings: LineworkSettings) -> list[Line]:
    """A line told sure or unsure; its legs where it is not sure as a whole and one of them is.

    Parameters
    ----------
    s, line, cell_m, low_m, settings
        As in `is_sure`.

    Returns
    -------
    list of Line
    """
    if is_sure(s, line, cell_m, low_m, settings):
        return [replace(line, sure=True)]
    parts = legs(line, cell_m, settings)
    parts = [replace(leg, sure=is_sure(s, leg, cell_m, low_m, settings)) for leg in parts]
    return parts if any(leg.sure for leg in parts) else [replace(line, sure=False)]


def worth_keeping(
    s: NDArray[np.float32],
    sure: list[Line],
    weak: list[Line],
    cell_m: float,
    low_m: float,
    settings: LineworkSettings,
) -> list[Line]:
    """Unsure lines that lead to a sure one, or stand out a little by themselves.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    sure, weak : list of Line
    cell_m, low_m : float
        Cell size, least depth of a cut [m].
    settings : LineworkSettings

    Returns
    -------
    list of Line
        A part of `weak`; of a line that is not worth it as a whole, the legs that are.
    """
    tree = cKDTree(np.concatenate([line.xy for line in sure])) if sure else None

    def gaps(lines: list[Line]) -> list[float]:
        if tree is None:
            return [np.inf] * len(lines)
        ends = np.concatenate([line.xy[[0, -1]] for line in lines])
        near: list[float] = (tree.query(ends)[0].reshape(-1, 2).min(axis=1) * cell_m).tolist()
        return near

    def keep(line: Line, gap: float) -> bool:
        length = line.length(cell_m)
        # the last metres to a line may be short, a stub somewhere near may not
        if line.sure or gap <= 2.0 * cell_m or (gap <= settings.gap_m and length >= settings.weak_length_m):
            return True
        if length < settings.weak_length_m:
            return False
        q = quality(s, line, cell_m, settings, shown_m=low_m)
        least = settings.weak_length_m if gap <= settings.bridge_m else settings.weak_free_m
        deep = q.middle >= settings.seed_factor * low_m and q.saturation >= settings.seed_saturation
        return deep or (length >= least and q.strength(low_m) >= settings.weak_strength)

    kept = []
    for line, gap in zip(weak, gaps(weak) if weak else [], strict=True):
        if keep(line, gap):
            kept.append(line)
        elif parts := legs(line, cell_m, settings):
            kept += [leg for leg, near in zip(parts, gaps(parts), strict=True) if keep(leg, near)]
    return kept
