"""What is known of each ditch: bed, banks, width, climb of the banks, spoil, kind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetscout.kernels import along
from wetscout.kernels import lines as kernel
from wetscout.kernels.profile import profile
from wetscout.linework.trace import Line
from wetscout.records import BED_END_M, bed_ends
from wetscout.settings.linework import LineworkSettings

# runs along the line over which levels are medians: bed and banks, width, and what counts as a junction
BED_MEDIAN_M = 10.0
BANK_MEDIAN_M = 16.0
WIDTH_MEDIAN_M = 13.0
JUNCTION_M = 12.0
# banks and widths are medians anyway: worked out at this distance and read off between
EVERY_M = 3.0
BED_HALF_M = 2.0
# a later bed may stand this much higher and still count as "does not rise": noise of the bed
BED_SLACK_M = 0.1
# half width of the widest flat bed
HALF_BED_M = 3.0
# a valley side rises from the ground this far beyond the shoulder to ground that far beyond it [m]
BANK_TOP_M = (1.0, 5.0)
VALLEY_SIDE_M = (11.0, 20.0)
# spoil must stand this high over the ground behind it
SPOIL_M = 0.12


@dataclass(frozen=True)
class Profile:
    """Levels along one line, one value a station [m].

    Attributes
    ----------
    points : float64 (n, 2)
        Stations [cells], downhill.
    bed, left, right : float64 (n,)
        Bed, and the bank level of either side.
    half_left, half_right : float64 (n,)
        Distance from the line to the shoulder.
    spoil_left, spoil_right : float
        Share of the length with a ridge on that side.
    rise : float64 (n, 2)
        How far the ground behind the banks goes on rising, left and right; NaN where unknown.
    """

    points: NDArray[np.float64]
    bed: NDArray[np.float64]
    left: NDArray[np.float64]
    right: NDArray[np.float64]
    half_left: NDArray[np.float64]
    half_right: NDArray[np.float64]
    spoil_left: float
    spoil_right: float
    rise: NDArray[np.float64]

    @property
    def low(self) -> NDArray[np.float64]:
        """Lower bank [m]."""
        return np.fmin(self.left, self.right)

    @property
    def high(self) -> NDArray[np.float64]:
        """Higher bank [m]."""
        return np.fmax(self.left, self.right)

    @property
    def top_width(self) -> NDArray[np.float64]:
        """Width between the shoulders [m]."""
        return self.half_left + self.half_right


def side_falls(
    ground: NDArray[np.float64], step: float, run_m: float, within_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How steeply the ground falls outwards on both sides of a line, each side where it is steepest.

    Parameters
    ----------
    ground : float64 (n, 2 m + 1)
        Sections across it [m]; those of a cut negated.
    step : float
        Distance of two samples [m].
    run_m, within_m : float
        Length over which a slope is read, and how far from the line [m].

    Returns
    -------
    falls : float64 (2, n)
        Slope, NaN where nothing is known.
    begins : float64 (2, n)
        Distance from the line where that slope begins [m].
    """
    n, over = ground.shape[1] // 2, max(1, round(run_m / step))
    falls, begins = [], []
    for part in (ground[:, n:], ground[:, n::-1]):
        near = part[:, : int(within_m / step) + 1]
        fall = (near[:, :-over] - near[:, over:]) / (over * step)
        at = np.argmax(np.nan_to_num(fall, nan=-np.inf), axis=1)
        falls.append(np.take_along_axis(fall, at[:, None], axis=1)[:, 0])
        begins.append(at * step)
    return np.array(falls), np.array(begins)


def known_median(a: NDArray[np.float64]) -> float:
    """Median without NaN, NaN where nothing is left, and no warning about it.

    Parameters
    ----------
    a : float64, any shape
        Any unit.

    Returns
    -------
    float
        In the same unit.
    """
    return float(along.median(along.known(np.ascontiguousarray(a, dtype=np.float64).reshape(-1))))


def half_width(
    across: NDArray[np.float64], step_m: float, slope: float, flat_m: float = HALF_BED_M
) -> NDArray[np.float64]:
    """Distance to the end of the last steep run outward from the bed.

    Parameters
    ----------
    across : float64 (n, m)
        Ground from the line outwards, one step apart [m].
    step_m : float
        [m].
    slope : float
        Side slope at which the cut ends.
    flat_m : float
        Greatest half width of a flat bed before the slope begins [m].

    Returns
    -------
    float64 (n,)
        [m]; one step where no slope is steep.
    """
    half: NDArray[np.float64] = kernel.half_width(np.ascontiguousarray(across), step_m, slope, flat_m)
    return half


def profile_of(z: NDArray[np.float32], line: Line, cell_m: float, settings: LineworkSettings) -> Profile | None:
    """Levels along a line, turned downhill.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    line : Line
    cell_m : float
        Cell size [m].
    settings : LineworkSettings

    Returns
    -------
    Profile or None
        None where no bed can be read.
    """
    step_m = max(0.5, 0.5 * cell_m)
    reach, far = (int(np.ceil((settings.bank_to_m + more) / step_m)) for more in (12.0, 16.0))
    offsets = np.arange(-far, far + 1, dtype=np.float64) * step_m / cell_m
    every = max(1, round(EVERY_M / cell_m))
    of_bed, of_calm = (max(1, round(0.5 * length / cell_m)) for length in (BED_MEDIAN_M, WIDTH_MEDIAN_M))
    of_width, of_bank = (max(1, round(0.5 * length / (every * cell_m))) for length in (WIDTH_MEDIAN_M, BANK_MEDIAN_M))
    stations = direction_run(cell_m), of_bed, of_calm, every, of_width, of_bank, round(BED_END_M / cell_m)
    sizes = (settings.bank_from_m, settings.bank_to_m - settings.bank_from_m, settings.spoil_to_m, SPOIL_M)
    samples = far, reach, max(1, round(BED_HALF_M / step_m))
    slopes = step_m, settings.shoulder_slope, HALF_BED_M
    bands = BANK_TOP_M, VALLEY_SIDE_M
    way, bed, left, right, to_left, to_right, ridge, rise = profile(
        z, line.xy, offsets, stations, samples, slopes, sizes, bands
    )
    if not way.shape[0]:
        return None
    return Profile(way, bed, left, right, to_left, to_right, ridge[0], ridge[1], rise)


def downhill(p: Profile, cell_m: float) -> Profile:
    """Turn a profile so that its bed falls, by the same two levels that `fall_pct` is told from.

    Parameters
    ----------
    p : Profile
    cell_m : float
        [m].

    Returns
    -------
    Profile
    """
    first, last, _ = bed_ends(p.bed, cell_m)
    if not first < last:
        return p
    return Profile(
        p.points[::-1].copy(),
        p.bed[::-1].copy(),
        p.right[::-1].copy(),
        p.left[::-1].copy(),
        p.half_right[::-1].copy(),
        p.half_left[::-1].copy(),
        p.spoil_right,
        p.spoil_left,
        p.rise[::-1, ::-1].copy(),
    )


def bank_climb(p: Profile, junction: NDArray[np.bool_]) -> float:
    """How far the lower bank rises downstream while the bed does not [m].

    Parameters
    ----------
    p : Profile
    junction : bool (n,)
        Stations beside another line, where the bank is that line's cut: left out.

    Returns
    -------
    float
        [m]. The drain was dug deeper towards the rim it had to pass (common practice, no source).
    """
    low = np.where(junction, np.nan, p.low)
    every = max(1, p.bed.size // 600)
    return float(kernel.climb(np.ascontiguousarray(low[::every]), np.ascontiguousarray(p.bed[::every]), BED_SLACK_M))


def straightness(points: NDArray[np.float64], cell_m: float) -> float:
    """Median over stretches of 100 m (or the whole line) of chord over length, 0-1.

    Parameters
    ----------
    points : float64 (n, 2)
        Stations about one cell apart [cells].
    cell_m : float
        [m].

    Returns
    -------
    float
        A right-angled bend in a straight ditch spoils one stretch, a winding stream all of them.
    """
    even = np.ascontiguousarray(points, dtype=np.float64)
    return float(along.straightness(even, *straight_over(cell_m)))


def bow(points: NDArray[np.float64], cell_m: float, half_m: float) -> float:
    """Median distance of a line from its own chords: 0 for straight runs, however they turn; high if it always bends.

    Parameters
    ----------
    points : float64 (n, 2)
        Stations about one cell apart [cells].
    cell_m, half_m : float
        Cell size; chords run from so far before a station to so far behind it [m].

    Returns
    -------
    float
        [m]. A circle of radius r stands half_m**2 / (2 r) off. 0 for lines shorter than a chord.
    """
    even = np.ascontiguousarray(points, dtype=np.float64)
    return float(along.bow(even, straight_over(cell_m)[0], half_chord(cell_m, half_m))) * cell_m


def bands_of(cell_m: float, inner_m: float, outer_m: float) -> tuple[float, float, float, float, float]:
    """The two bands against which the depth of a line is told, and the strips over which it is averaged.

    Parameters
    ----------
    cell_m : float
        Cell size [m].
    inner_m, outer_m : float
        The near band, from and to this far from the line [m]; the other one lies twice as far out.

    Returns
    -------
    near from, near to, far from, far to, half strip : float
        [cells], as the kernels of `whole_line` take them.
    """
    inner = max(inner_m, 1.3 * cell_m)
    outer = max(outer_m, inner + 1.3 * cell_m)
    width = outer - inner
    near, far = (inner + 0.25 * width, outer - 0.25 * width), (1.25 * outer, 1.75 * outer)
    return near[0] / cell_m, near[1] / cell_m, far[0] / cell_m, far[1] / cell_m, 8.0 / cell_m


def direction_run(cell_m: float) -> int:
    """Stations on both sides that give the direction of a line.

    Parameters
    ----------
    cell_m : float
        [m].

    Returns
    -------
    int
    """
    return max(1, round(6.0 / cell_m))


def half_chord(cell_m: float, half_m: float) -> int:
    """Stations of half a chord, see `bow`.

    Parameters
    ----------
    cell_m, half_m : float
        [m].

    Returns
    -------
    int
    """
    return max(1, round(half_m / cell_m))


def straight_over(cell_m: float) -> tuple[int, int]:
    """Stations over which a line is smoothed, and those of a stretch, to tell how straight it runs.

    Parameters
    ----------
    cell_m : float
        [m].

    Returns
    -------
    half, stretch : int
    """
    return max(1, round(4.0 / cell_m)), round(100.0 / cell_m)
