"""Make one landscape with its exact answers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, cast

import numpy as np
from numpy.random import Generator
from otherground.dig import Line, sample
from otherground.flood import Hollow, filled, hollows
from otherground.ground import Stream
from otherground.make import Other, pooled
from otherground.truth import Sheet, truths_of
from scipy import ndimage

from . import earth, ice, open_country, survey
from .fields import Grid
from .place import Place, channel
from .roads import dig_ponds, lay_lanes, lay_roads
from .works import Habit, Works, drain_basins, drain_flats, lay_mains, useless_ditches, wet_map

MARGIN_M = 120  # ground made beyond the sheet on each side
NOTHING = Habit(mains=0, share=(0.0,), roads=2, ponds=3)


def _loess_valleys(rng: Generator, n: int) -> Place:
    z, toward, streams = ice.loess(rng, n)
    return Place(z, streams, toward, ice.section_lines(rng))


# the number of a kind is part of the seed: new ones go to the end
PLACES: dict[str, tuple[Callable[[Generator, int], Place], Habit]] = {
    "kettle-moraine": (ice.kettle_moraine, Habit(mains=0, share=(0.4, 0.55, 0.8, 1.0), ways=(0.4, 0.45, 0.15))),
    "till-plain": (ice.till_plain, Habit(mains=1, ways=(0.45, 0.25, 0.3), inner=0.5)),
    "drumlin-field": (ice.drumlins, Habit(mains=1, ways=(0.4, 0.5, 0.1))),
    "pitted-outwash": (ice.pitted_outwash, Habit(mains=0, share=(0.4, 0.55, 0.7), ways=(0.6, 0.25, 0.15))),
    "peat-flats": (ice.peat_flats, Habit(mains=1, ways=(0.6, 0.25, 0.15), old=0.7, inner=0.7, wide=(0.8, 2.0))),
    "lake-bed": (open_country.lake_bed, Habit(mains=2, ways=(0.55, 0.1, 0.35), old=0.2, flats=True, roads=2)),
    "beach-ridges": (open_country.beach_ridges, Habit(mains=3, share=(0.6, 0.85, 1.0), ways=(0.6, 0.25, 0.15))),
    "bay-country": (open_country.bay_country, Habit(mains=1, ways=(0.65, 0.15, 0.2), old=0.45, inner=0.6, flats=True)),
    "dune-sheet": (open_country.dune_sheet, Habit(mains=1, ways=(0.4, 0.5, 0.1), old=0.35)),
    "backswamp": (open_country.backswamp, Habit(mains=1, ways=(0.5, 0.4, 0.1), second=0.15)),
    "meander-belt": (open_country.meander_belt, Habit(mains=0, ways=(0.35, 0.55, 0.1), second=0.15)),
    "loess-upland": (open_country.loess_upland, Habit(mains=0, ways=(0.5, 0.3, 0.2), old=0.15)),
    "none-moraine": (ice.kettle_moraine, NOTHING),
    "none-loess": (_loess_valleys, NOTHING),
    "none-meanders": (open_country.meander_belt, NOTHING),
}
KINDS = tuple(PLACES)


def make(seed: int, kind: str, cell_m: float = 1.0, size_m: int = 1000) -> Other:
    """One invented landscape.

    Parameters
    ----------
    seed : int
    kind : str
        One of `KINDS`.
    cell_m : float
        Cell of the DEM [m]: 1, 2 or 3.
    size_m : int
        Side of the square [m].

    Returns
    -------
    Other
        Grids and plan in metres of the sheet, truths in cells of the DEM.

    Raises
    ------
    KeyError
        For a kind that there is not.
    """
    lay, habit = PLACES[kind]
    rng = np.random.default_rng([seed, KINDS.index(kind), 7])
    n = size_m + 2 * MARGIN_M
    place = with_channels(rng, lay(rng, n))
    found = hollows(place.z)
    works = built(rng, place, habit, found)
    fine = earth.dug_open(rng, place.z, works)
    open_ground = opened(place.z, fine)
    water = filled(open_ground)
    levels = [earth.pond(rng, fine, p) for p in works.ponds]
    for bank in works.banks:
        earth.fill_bank(fine, bank)
    sheet = Sheet(MARGIN_M, size_m, cell_m)
    truths = truths_of(place.z, water, found, works.lines, sheet)
    seen = _seen(rng, place, works, (fine, water, levels), sheet)
    cut = slice(MARGIN_M, MARGIN_M + size_m)
    own = np.s_[cut, cut]
    dug = earth.to_metres(fine)
    return Other(
        seen.astype(np.float32), cell_m, place.z[own].copy(), dug[own].copy(), water[own].copy(),
        open_ground[own].copy(), tuple(truths), cast(Any, moved(works, -MARGIN_M)), kind, seed,
    )  # fmt: skip


def with_channels(rng: Generator, place: Place) -> Place:
    """The place with its stream channels fresh: a stream keeps below its banks while the soil beside it creeps."""
    z, streams = place.z, []
    bank = ndimage.maximum_filter(z, 21)
    for stream in place.streams:
        low = ndimage.gaussian_filter1d(sample(bank, stream.at) - 0.6, 60, mode="nearest")
        bed = np.minimum.accumulate(np.minimum(stream.bed_m, low))
        z = channel(rng, z, stream.at, bed)
        streams.append(Stream(stream.at, bed))
    return replace(place, z=z, streams=tuple(streams))


def built(rng: Generator, place: Place, habit: Habit, found: list[Hollow]) -> Works:
    """All works on a place, in the order they came."""
    works = Works()
    for stream in place.streams:
        works.outlets.add(stream.at, stream.bed_m, -1)
    wet = wet_map(place.z, filled(place.z))
    nothing = max(habit.share) == 0
    if nothing:
        useless_ditches(rng, place, habit, works, wet)
    else:
        mains = replace(habit, mains=max(habit.mains, 0 if place.streams else 2))
        lay_mains(rng, place, mains, works, found)
        if habit.flats:
            drain_flats(rng, place, habit, works)
        drain_basins(rng, place, habit, works, found)
    lay_roads(rng, place, habit, works, ndimage.distance_transform_edt(~wet) if nothing else None)
    lay_lanes(rng, place, works)
    dig_ponds(rng, place, habit, works, wet)
    return works


def opened(z: Grid, fine: Grid) -> Grid:
    """1 m ground that carries water as the half-metre ground does: the lowest of its cells where something was dug."""
    low, was = earth.to_metres(fine, "min"), earth.to_metres(earth.to_fine(z), "min")
    mean = earth.to_metres(fine)
    return np.asarray(np.where(low < was - 0.01, low, np.where(mean > z + 0.005, mean, z)))


def _seen(rng: Generator, place: Place, works: Works, dug: tuple[Grid, Grid, list[float]], sheet: Sheet) -> Grid:
    """The DEM: dug ground with furrows, brush, water and the error of the survey, on cells of the sheet."""
    fine, water, levels = dug
    n = len(place.z)
    far = np.ones((n, n), bool)
    for at in [*(s.at for s in place.streams), *(x.at for x in works.lines), *(b.at for b in works.banks)]:
        rc = np.clip(np.rint(at).astype(int), 0, n - 1)
        far[rc[:, 0], rc[:, 1]] = False
    off = np.clip(np.asarray(ndimage.distance_transform_edt(far)) - 4, 0, None)
    z = earth.to_metres(fine) + survey.tilled(rng, place, off) + survey.brush(rng, works, n)
    still = np.maximum(survey.standing(rng, place.z, water, 0.15), survey.ponded(z, works, levels))
    wet = still > z
    z = np.where(wet, still, z)
    cut = slice(sheet.margin, sheet.margin + sheet.size)
    step = round(sheet.cell_m)
    low = pooled(z[cut, cut], step)
    calm = pooled(wet[cut, cut].astype(float), step) > 0.99
    noise = survey.error(rng, low.shape, float(rng.uniform(0.03, 0.06)), sheet.cell_m)
    return np.asarray(low + np.where(calm, 0.15, 1.0) * noise)


def moved(works: Works, by: float) -> Works:
    """The same works with all positions shifted."""
    lines = [Line(x.kind, x.at + by, x.bed_m, x.section, x.target, x.notes) for x in works.lines]
    banks = [replace(b, at=b.at + by) for b in works.banks]
    return Works(lines, banks, [(r + by, c + by) for r, c in works.ponds], works.outlets)
