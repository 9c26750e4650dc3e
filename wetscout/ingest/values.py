"""From cells as stored to heights in metres with one kind of no-data."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from wetscout import large
from wetscout.errors import InputError
from wetscout.io.rasters import RasterInfo
from wetscout.pieces import pieces_of
from wetscout.records import BOOL, F32
from wetscout.settings.ingest import IngestSettings

__all__ = ["Tally", "clear_zero_patches", "height_step", "to_metres"]

_EIGHT = np.ones((3, 3), dtype=bool)
_STEPS = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01, 0.001)
_SENTINELS_TOLD = 3


@dataclass
class Tally:
    """Counts gathered while the parts of a raster are read.

    Attributes
    ----------
    infinite, outside : int
        Cells that held NaN or an infinity though declared data; values outside the limits for ground.
    outside_values : Counter
        Those values, as stored, and how often.
    """

    infinite: int = 0
    outside: int = 0
    outside_values: Counter[float] = field(default_factory=Counter)

    def notes(self, path: str, cells: int) -> tuple[str, ...]:
        """Put the counts in words.

        Parameters
        ----------
        path : str
            The file.
        cells : int
            Cells in it.

        Returns
        -------
        tuple of str

        Raises
        ------
        InputError
            Most of the raster lies outside the limits, with many values: another unit, or no ground model.
        """
        if not self.outside:
            return ()
        if self.outside > cells // 2 and len(self.outside_values) > _SENTINELS_TOLD:
            low, high = min(self.outside_values), max(self.outside_values)
            raise InputError(
                f"{path}: most of its values ({low:g} to {high:g} as stored) are no heights of ground. If they are "
                f"centimetres: gdal_translate -ot Float32 -a_scale 0.01 -a_offset 0 -unscale; millimetres: 0.001."
            )
        listed = ", ".join(f"{value:g}" for value, _count in self.outside_values.most_common(_SENTINELS_TOLD))
        more = " and others" if len(self.outside_values) > _SENTINELS_TOLD else ""
        return (f"{path}: {self.outside} cells hold {listed}{more}, not declared as no-data; they are taken as such",)


def to_metres(
    values: NDArray[Any], valid: BOOL, info: RasterInfo, unit_m: float, settings: IngestSettings, tally: Tally
) -> F32:
    """Scale to metres and put NaN where there is no ground.

    Parameters
    ----------
    values : (rows, cols)
        As stored.
    valid : bool (rows, cols)
        What the file declares as data.
    info : RasterInfo
        Scale and offset.
    unit_m : float
        Height unit [m].
    settings : IngestSettings
        `ground_low_m`, `ground_high_m`.
    tally : Tally
        Counts are added to it.

    Returns
    -------
    float32 (rows, cols)
        [m]; computed in float64, rounded once.
    """
    z = values.astype(np.float64)
    finite = np.isfinite(z)
    tally.infinite += int(np.count_nonzero(valid & ~finite))
    z[~finite] = np.nan
    z = (z * info.scale + info.offset) * unit_m
    with np.errstate(invalid="ignore"):
        outside = valid & finite & ((z < settings.ground_low_m) | (z > settings.ground_high_m))
    if outside.any():
        found = values[outside].astype(np.float64)
        tally.outside += found.size
        kinds, counts = np.unique(found, return_counts=True)
        for kind, count in list(zip(kinds.tolist(), counts.tolist(), strict=True))[:1000]:
            tally.outside_values[kind] += count
    z[~valid | outside] = np.nan
    return z.astype(np.float32)


def clear_zero_patches(z: F32, settings: IngestSettings) -> int:
    """Put NaN in patches of exactly 0 that stand far from the ground beside them: undeclared no-data.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m]; altered.
    settings : IngestSettings
        `zero_gap_m`.

    Returns
    -------
    int
        Cells cleared. A sea or lake at 0 stays: the shore beside it is near 0.
    """
    zero = np.equal(z, 0.0, out=large.empty(z.shape, np.bool_))
    found = pieces_of(zero)
    if found is None:
        return 0
    cleared, every = 0, np.arange(1, found.sizes.size)
    for number, (r0, c0, r1, c1) in zip(every, found.windows(every), strict=True):
        window = (slice(max(0, r0 - 1), r1 + 1), slice(max(0, c0 - 1), c1 + 1))
        patch = found.labels[window] == number
        beside = z[window][ndimage.binary_dilation(patch, structure=_EIGHT) & ~patch]
        beside = beside[np.isfinite(beside)]
        if beside.size and np.mean(np.abs(beside) >= settings.zero_gap_m) >= 0.9:
            z[window][patch] = np.nan
            cleared += int(np.count_nonzero(patch))
    if every.size == 1 and found.sizes[1] == z.size:
        raise InputError("all cells of the raster are 0: it holds no heights")
    return cleared


def height_step(values: NDArray[Any], valid: BOOL) -> float | None:
    """Coarsest common step to which heights were rounded.

    Parameters
    ----------
    values : (rows, cols)
        As stored; a few thousand cells are enough.
    valid : bool (rows, cols)
        Cells to look at.

    Returns
    -------
    float or None
        In the unit of the values; None when no step of 1, 0.5, ... 0.001 fits.
    """
    sample = values[valid].astype(np.float64)
    sample = sample[np.isfinite(sample)]
    if sample.size == 0 or np.ptp(sample) == 0:
        return None
    spacing = float(np.spacing(np.float32(np.abs(sample).max())))
    for step in _STEPS:
        multiple = sample / step
        if step > 4 * spacing and np.all(np.abs(multiple - np.rint(multiple)) * step <= 2 * spacing + 1e-9):
            return step
    return None
