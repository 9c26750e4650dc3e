"""Tunable numbers of the room `ranking`: what makes a site easy, and how much each part weighs."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._value import number

_TRADE = "common practice, no source"


@dataclass(frozen=True)
class RankingSettings:
    """See the metadata of each field for unit, range and source.

    The six weights are taken relative to their sum, so they need not add up to anything.
    """

    weight_gain: float = number(45.0, "-", (0.0, 100.0), "Weight of the area that would be wet again.", _TRADE)
    weight_confidence: float = number(
        20.0, "-", (0.0, 100.0), "Weight of how sure it is that the basin was drained this way.", _TRADE
    )
    weight_starts_here: float = number(
        15.0, "-", (0.0, 100.0), "Weight of the ditch starting in the basin, so that nobody upstream uses it.", _TRADE
    )
    weight_few_cuts: float = number(7.0, "-", (0.0, 100.0), "Weight of having one cut to close, not several.", _TRADE)
    weight_catchment: float = number(
        6.0, "-", (0.0, 100.0), "Weight of a catchment neither too small nor too large for the pool.", _TRADE
    )
    weight_earth: float = number(7.0, "-", (0.0, 100.0), "Weight of the wet area won for each m3 of earth.", _TRADE)

    gain_full_m2: float = number(
        20000.0, "m2", (100.0, 1e7), "Area gained that earns full marks; half marks at a quarter of it.", _TRADE
    )
    confidence_medium: float = number(0.6, "-", (0.0, 1.0), "Marks for medium confidence; high earns 1.", _TRADE)
    confidence_low: float = number(0.2, "-", (0.0, 1.0), "Marks for low confidence.", _TRADE)
    ratio_low: float = number(
        2.0, "-", (0.0, 100.0), "Catchment ratio below which rain off the land may not fill the pool.", _TRADE
    )
    ratio_high: float = number(
        30.0, "-", (1.0, 10000.0), "Catchment ratio above which the pool is likely to carry a stream.", _TRADE
    )
    earth_full_m2_per_m3: float = number(
        200.0, "m2 per m3", (1.0, 1e6), "Wet area won per m3 of earth that earns full marks.", _TRADE
    )
    edge_factor: float = number(
        0.85, "-", (0.0, 1.0), "Score factor where a raster edge or hole makes the numbers bounds.", _TRADE
    )
    passing_score_max: float = number(
        66.0, "-", (0.0, 100.0), "Highest score of a site whose ditch carries water from above.", _TRADE
    )
    one_per_ditch_ranks: int = number(
        10, "-", (0, 1000), "Among so many first ranks each ditch appears once; the rest fold under it.", _TRADE
    )
    lone_upstream_m: float = number(
        15.0, "m", (0.0, 1000.0), "Ditch from above shorter than this counts as nobody upstream.", _TRADE
    )
    lead_gain_per_cut_m2: float = number(
        1000.0,
        "m2",
        (0.0, 1e6),
        "Where several cuts must be closed, each should win so much before a site leads.",
        _TRADE,
    )
