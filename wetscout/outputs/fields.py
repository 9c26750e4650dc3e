"""Every layer and every field of the result: name, type, title, unit, meaning.

The names are a promise to other people's scripts. A new field is added at the end of its layer; none is renamed. Word
lists (`kind`, `drained_by`, ...) may grow, so none is tied down by a constraint.
"""

from __future__ import annotations

from wetscout.io.geopackage_schema import Field, LayerSpec
from wetscout.outputs._fields_along import (
    CHAIN_LINKS,
    CHAIN_OF_SITE,
    CHAINS,
    HEAD_CUT_M,
    HEAD_CUTS,
    STEPS_OF_SITE,
    SURVEY_FLAGS,
)
from wetscout.outputs._fields_buried import PIPE_MOUTHS, SITES_COVERED, SUSPECTED_LINES, WET_GROUND
from wetscout.outputs._fields_people import OWNERS, PARCELS

__all__ = ["LAYERS", "SCHEMA_VERSION", "TABLES", "Field", "LayerSpec", "by_name"]

# first number grows when a reader of the old form would be misled, second when something is added
SCHEMA_VERSION = "1.1"


def _text(name: str, title: str, meaning: str) -> Field:
    return Field(name, "text", title, "", meaning)


def _count(name: str, title: str, meaning: str) -> Field:
    return Field(name, "integer", title, "", meaning)


def _real(name: str, title: str, unit: str, meaning: str) -> Field:
    return Field(name, "real", title, unit, meaning)


def _level(name: str, title: str, meaning: str) -> Field:
    return _real(name, title, "m", f"{meaning} In the vertical datum of the elevation model.")


_SITE_ID = _text("site_id", "Site", "Id of the site: metre coordinates of its floor and two letters for its spill.")
_BASIN_ID = _text("basin_id", "Basin", "Id of the natural basin, made like a site's.")
_EDGE = _count("edge", "At an edge", "1: an edge or a hole of the raster makes the numbers bounds; 0: it does not.")
_PARENT = _text("parent_id", "Enclosing basin", "Id of the larger natural basin around this one; NULL: there is none.")

SITES = LayerSpec(
    "sites",
    "MultiPolygon",
    "Sites",
    "The pool at spill level of every basin offered for restoration. Screening only: not a survey, not a design.",
    (
        _SITE_ID,
        _count("rank", "Rank", "Order in which to look; 1 is first."),
        _real("score", "Score", "", "0 to 100, from the weighted criteria named in the run's settings."),
        _text("origin", "Origin", "found: by the screen; drawn: by a person."),
        _text("drained_by", "Drained by", "How water was let out, as far as terrain shows it."),
        _text(
            "confidence", "Confidence", "high, medium or low that this basin is drained this way; not of the numbers."
        ),
        _text(
            "drain_position", "Drain position", "starts here, or passes through: then it carries other people's water."
        ),
        _real("upstream_ditch_m", "Ditch from above", "m", "Length of ditch that enters the basin from above."),
        _count("cuts_n", "Cuts", "How many cuts lie below spill level; all have to close."),
        _level("spill_m", "Spill level", "Level that closing the cuts gives on the ground as it is now beside them."),
        _level("today_m", "Level today", "Lowest level to which water over the floor can drain today over the ground."),
        _real("lost_m", "Level lost", "m", "Spill level less level today."),
        _level("floor_m", "Floor", "Lowest ground of the floor, ditches left out."),
        _real("depth_max_m", "Greatest depth", "m", "Spill level over the floor."),
        _real("depth_mean_m", "Mean depth", "m", "Volume over pool area, at spill level."),
        _real("pool_m2", "Pool", "m2", "Area under water at spill level."),
        _real("pool_ac", "Pool", "ac", "Area under water at spill level."),
        _real("volume_m3", "Volume", "m3", "Water held at spill level."),
        _real("gain_m2", "Gain", "m2", "Pool over what today's ground would hold."),
        _real("gain_ac", "Gain", "ac", "Pool over what today's ground would hold."),
        _real("gain_m3", "Gain in volume", "m3", "Volume over what today's ground would hold."),
        _real("catchment_m2", "Catchment", "m2", "Ground that drains to the pool, the pool included."),
        _real("catchment_ratio", "Catchment ratio", "", "Catchment without the pool, divided by the pool."),
        _real("pool_m2_per_fill_m3", "Pool for earth", "m2/m3", "Pool area won for each cubic metre of plug."),
        _real("water_at_survey_m2", "Water at survey", "m2", "Part of the pool that was water when it was surveyed."),
        _EDGE,
        _PARENT,
        _real("lon", "Longitude", "degree", "Of the floor, WGS 84."),
        _real("lat", "Latitude", "degree", "Of the floor, WGS 84."),
        _text("work", "Work", "What closing it takes, in plain words."),
        _text("reasons", "Reasons", "Why the site ranks where it does, in plain words."),
        _text("cautions", "Cautions", "What to mind before anything is dug, in plain words."),
        _count("owners_n", "Owners", "Owners whose parcels the pool touches; NULL: no parcels given."),
        _real("parcel_share", "Share in parcels", "", "Part of the pool, 0 to 1, that lies on any parcel given."),
        *CHAIN_OF_SITE,
        *STEPS_OF_SITE,
        SURVEY_FLAGS,
        *SITES_COVERED,
    ),
)

PLUGS = LayerSpec(
    "plugs",
    "LineString",
    "Plugs",
    "One line across the ditch at the natural rim for each cut. A place to look and a first quantity, not a design.",
    (
        _text("plug_id", "Plug", "Id of the site, a hyphen and the order."),
        _SITE_ID,
        _count("ditch_id", "Ditch", "Ditch that the plug closes; NULL: no listed ditch runs here."),
        _count("order", "Order", "1 is the lowest cut of the site."),
        _level("spill_m", "Spill level", "Spill level of the site."),
        _level("crest_m", "Crest", "Top of the plug."),
        _level("overflow_m", "Overflow", "Level at which water passes beside the plug on firm ground."),
        _level("bed_m", "Bed", "Bed of the ditch at the plug."),
        _real("height_m", "Height", "m", "Crest over the bed at the downstream toe."),
        _real("across_m", "Across", "m", "Length of the line across the ditch, to ground just above spill level."),
        _real("along_m", "Along", "m", "Extent along the ditch: the trade's plug length."),
        _real("fill_m3", "Earth", "m3", "Earth compacted in place, against the ground as surveyed."),
    ),
)

SPILL_POINTS = LayerSpec(
    "spill_points",
    "Point",
    "Spill points",
    "Where water leaves a site's basin.",
    (
        _SITE_ID,
        _text(
            "kind",
            "Kind",
            "natural: over the rim; today: through the cut; next: the next way round; overflow: past the plug.",
        ),
        _level("level_m", "Level", "Level at which water leaves here."),
    ),
)

DITCHES = LayerSpec(
    "ditches",
    "LineString",
    "Ditches",
    "Lines cut into the ground, drawn downhill.",
    (
        _count("ditch_id", "Ditch", "Number of the line in this run."),
        _text("kind", "Kind", "ditch, straightened stream, natural stream, roadside, grassed waterway, unclear."),
        _real("length_m", "Length", "m", "Length along the line."),
        _real("depth_m", "Depth", "m", "Median depth of the cut below the lower bank."),
        _real("top_width_m", "Top width", "m", "Median width between the shoulders."),
        _level("bed_up_m", "Bed, upper end", "Bed at the upper end: median of 50 m or a quarter."),
        _level("bed_down_m", "Bed, lower end", "Bed at the lower end: median of 50 m or a quarter."),
        _real("fall_pct", "Fall", "%", "Fall of the bed between the middles of these two stretches."),
        _real("bank_climb_m", "Bank climb", "m", "How far the lower bank rises downstream while the bed does not."),
        _real("straightness", "Straightness", "", "Distance between the ends over the length, 0 to 1."),
        _text("spoil", "Spoil", "none, one side, both sides."),
        _text("drains", "Drains", "Ids of the sites whose rim this ditch cuts, separated by commas."),
        HEAD_CUT_M,
    ),
)

EMBANKMENTS = LayerSpec(
    "embankments",
    "LineString",
    "Embankments",
    "Lines raised above the ground on both sides.",
    (
        _count("embankment_id", "Embankment", "Number of the line in this run."),
        _text("kind", "Kind", "road, spoil, dike, terrace, pond dam, natural ridge, unclear."),
        _real("height_m", "Height", "m", "Median height of the crest over the lower side."),
        _real("width_m", "Width", "m", "Median width between the toes."),
        _count("taken_off", "Taken off", "1: taken off for the natural surface; 0: left; NULL: not recorded."),
    ),
)

BASINS = LayerSpec(
    "basins",
    "MultiPolygon",
    "Basins",
    "Every natural basin above the size limits, at its spill level.",
    (
        _BASIN_ID,
        _text("rim", "Rim", "whole, partly cut, cut; terrain only: a buried pipe does not show."),
        _level("spill_m", "Spill level", "Level at which the natural basin runs over."),
        _level("today_m", "Level today", "Lowest level to which water over the floor can drain today over the ground."),
        _real("depth_max_m", "Greatest depth", "m", "Spill level over the floor."),
        _real("pool_m2", "Pool", "m2", "Area under water at spill level."),
        _real("volume_m3", "Volume", "m3", "Water held at spill level."),
        _PARENT,
        _EDGE,
        SURVEY_FLAGS,
    ),
)

NOT_OFFERED = LayerSpec(
    "not_offered",
    "MultiPolygon",
    "Not offered",
    "Basins that were looked at and turned down.",
    (_BASIN_ID, _text("reason", "Reason", "Why it is not offered, in plain words.")),
)

CATCHMENTS = LayerSpec(
    "catchments",
    "MultiPolygon",
    "Catchments",
    "Ground that drains to each site's pool.",
    (_SITE_ID, _real("catchment_m2", "Catchment", "m2", "Area of the catchment, the pool included.")),
)

LEVELS = LayerSpec(
    "levels",
    None,
    "Levels",
    "Pool area and volume of each site at steps of water level.",
    (
        _SITE_ID,
        _level("level_m", "Level", "Water level."),
        _real("pool_m2", "Pool", "m2", "Area under water at this level."),
        _real("volume_m3", "Volume", "m3", "Water held at this level."),
    ),
)

RUN = LayerSpec(
    "run",
    None,
    "Run",
    "How this file was made: version, settings, inputs, timings, what was dropped and why.",
    (_text("key", "Key", "Name of the entry."), _text("value", "Value", "The entry as JSON.")),
)

LAYERS = (
    SITES,
    PLUGS,
    SPILL_POINTS,
    DITCHES,
    HEAD_CUTS,
    EMBANKMENTS,
    BASINS,
    NOT_OFFERED,
    CATCHMENTS,
    LEVELS,
    CHAINS,
    CHAIN_LINKS,
    PIPE_MOUTHS,
    SUSPECTED_LINES,
    WET_GROUND,
    PARCELS,
    OWNERS,
    RUN,
)

ABOUT = (
    "Drained wetland basins found by wetscout in a bare-earth elevation model, and what closing their cuts would give. "
    "This is a screening, not a survey and not a design: go by local codes and licensed practice, and have buried "
    "utilities located before anyone digs. How the file was made stands in the table run; what each field means, in "
    "gpkg_data_columns. Tables parcels and owners, where present, hold personal data."
)

# tables that belong to the user: carried over from the old file, never written by a screen
TABLES = ("visits", "contacts", "weights", "layer_styles")


def by_name(name: str) -> LayerSpec:
    """Look a layer up.

    Parameters
    ----------
    name : str
        Name of a layer of this module.

    Returns
    -------
    LayerSpec

    Raises
    ------
    KeyError
        There is no such layer.
    """
    return {spec.name: spec for spec in LAYERS}[name]
