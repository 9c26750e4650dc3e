"""Tunable numbers of the room `ingest`."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._value import number

_HOUSE = "this project, measured on the DEMs of its tests"
_TRADE = "common practice, no source"


@dataclass(frozen=True)
class IngestSettings:
    """See the metadata of each field for unit, range and source."""

    noise_sigma_m: float = number(
        2.5, "m", (0.5, 10.0), "Width of the Gauss filter against which small-scale noise is measured.", _HOUSE
    )
    ground_low_m: float = number(
        -450.0, "m", (-12000.0, 0.0), "Lower values are no-data, not ground.", "Dead Sea shore, about -430 m"
    )
    ground_high_m: float = number(
        8900.0, "m", (100.0, 12000.0), "Higher values are no-data, not ground.", "Mount Everest, 8849 m (2020)"
    )
    zero_gap_m: float = number(
        2.0,
        "m",
        (0.1, 100.0),
        "Patches of exactly 0 are no-data when the ground beside them is at least this far from 0.",
        _HOUSE,
    )
    water_min_m2: float = number(
        400.0, "m2", (25.0, 1e6), "Smallest exactly flat area that is taken for a water surface.", _HOUSE
    )
    water_bank_m: float = number(
        0.02,
        "m",
        (0.0, 2.0),
        "The ground around a water surface stands at least this much higher, and two rounding steps more.",
        _HOUSE,
    )
    water_rough_m: float = number(
        0.003,
        "m",
        (0.0, 0.5),
        "Ground around a water surface bends by at least this much from cell to cell; smoother may be flat itself.",
        _HOUSE,
    )
    water_ring_m: float = number(4.0, "m", (1.0, 50.0), "Width of the ring in which that ground is looked at.", _HOUSE)
    water_shore: float = number(
        0.8, "-", (0.5, 1.0), "Share of the shore that must not be lower than the water surface.", _HOUSE
    )
    level_min_m2: float = number(
        1000.0, "m2", (100.0, 1e6), "Smallest level floor between steep banks taken for rough water.", _HOUSE
    )
    level_max_m2: float = number(1e6, "m2", (1e4, 1e9), "Largest one; larger ones are not looked at.", _HOUSE)
    level_slope: float = number(
        0.006, "-", (0.001, 0.02), "Slope over 10 m up to which a cell counts as level.", _HOUSE
    )
    level_band_m: float = number(0.1, "m", (0.01, 0.5), "A level floor stays within this much of its middle.", _HOUSE)
    level_bank_m: float = number(
        0.6, "m", (0.2, 5.0), "Banks of rough water rise by this much within `level_ring_m`.", _HOUSE
    )
    level_ring_m: float = number(
        6.0, "m", (2.0, 20.0), "Distance from the floor at which its banks are judged.", _HOUSE
    )
    level_shore: float = number(0.85, "-", (0.5, 1.0), "Share of the shore with such banks.", _HOUSE)
    level_lower: float = number(
        0.2, "-", (0.0, 0.5), "Share of the ground beside a level floor that may lie below it: water has none.", _HOUSE
    )
    level_cut_m2: float = number(
        30.0, "m2", (0.0, 1e4), "Lower ground within a level floor: more is a ditch, and water shows none.", _HOUSE
    )
    area_ring_m: float = number(
        1500.0, "m", (100.0, 20000.0), "Ground read around the polygons of --area, on which they may depend.", _TRADE
    )
    cell_max_m: float = number(
        10.0,
        "m",
        (1.0, 30.0),
        "Coarser cells are refused: field ditches do not show.",
        "experiments on invented ground: a third of the ditches is lost at 10 m",
    )
    cell_warn_m: float = number(
        3.5, "m", (0.5, 30.0), "Coarser cells are told: small ditches do not show.", "same: a tenth is lost at 5 m"
    )
    step_max_m: float = number(
        0.25, "m", (0.01, 1.0), "Heights rounded to coarser steps are refused.", "the depth of a shallow basin"
    )
    step_warn_m: float = number(
        0.025, "m", (0.001, 1.0), "Heights rounded to coarser steps are told.", "usual noise of a lidar ground model"
    )
    hole_warn: float = number(
        0.02, "-", (0.0, 1.0), "Share of inner no-data from which it is told as a warning.", _TRADE
    )
    spike_m: float = number(
        10.0, "m", (1.0, 100.0), "A cell this far above or below all its neighbours is a spike or a well.", _TRADE
    )
    slope_max: float = number(
        0.6, "-", (0.1, 5.0), "Median slope above which a raster is not taken for bare ground in metres.", _TRADE
    )
    slope_warn: float = number(
        0.25, "-", (0.05, 5.0), "Median slope above which the height unit is questioned.", _TRADE
    )
    rough_warn_m: float = number(
        0.25, "m", (0.05, 5.0), "Measured noise above which the raster may hold crowns and roofs.", _HOUSE
    )
    square_max: float = number(
        0.01, "-", (0.0, 0.1), "Largest difference of cell width and height, as a share.", "volume error stays below it"
    )
    scale_warn: float = number(
        0.005, "-", (0.0, 0.1), "Map scale differing more from 1 is corrected in the cell size and told.", _HOUSE
    )
    align_max: float = number(
        0.05, "cells", (0.0, 0.5), "Largest offset between the grids of two tiles of a mosaic.", _HOUSE
    )
    seam_m: float = number(
        0.1, "m", (0.01, 5.0), "Median height difference in the overlap of two tiles from which it is told.", _HOUSE
    )
    fault_quiet: float = number(
        0.15, "-", (0.01, 0.5), "Share of the usual bend from cell to cell below which ground is quiet.", _HOUSE
    )
    fault_quiet_share: float = number(
        0.9, "-", (0.5, 1.0), "Share of quiet cells around a cell of smooth fill.", _HOUSE
    )
    fault_planar: float = number(
        0.04, "-", (0.001, 0.3), "Share of the usual bend below which ground counts as a plane.", _HOUSE
    )
    fault_planar_share: float = number(0.3, "-", (0.1, 1.0), "Share of plane cells around a cell of facets.", _HOUSE)
    fault_window_m: float = number(4.0, "m", (1.0, 30.0), "Half side of the square for shares.", _HOUSE)
    fault_area_m2: float = number(400.0, "m2", (25.0, 1e6), "Smallest patch of such ground that is told.", _HOUSE)
    fault_least_m: float = number(
        0.002,
        "m",
        (0.0, 0.1),
        "Where quiet ground would have to bend by less than this the whole raster is too smooth to tell.",
        _HOUSE,
    )
    fault_seam_m: float = number(
        10.0, "m", (1.0, 100.0), "Ground this near to a step between surveys is marked.", _HOUSE
    )
    fault_told: float = number(0.05, "-", (0.0, 1.0), "Share of a pool on such ground from which it is told.", _TRADE)
    fault_doubt: float = number(
        0.3, "-", (0.0, 1.0), "Share of a pool on such ground from which its site is less sure.", _TRADE
    )
