"""Fields of the layers about covered drains and wet ground without a rim."""

from __future__ import annotations

from wetscout.io.geopackage_schema import Field, LayerSpec

_SITE_ID = Field("site_id", "text", "Site", "", "Site that it belongs to, on the list of covered drains.")

SITES_COVERED = (
    Field("list", "text", "List", "", "open drains, or covered drains: a list of its own, ranked after the open ones."),
    Field(
        "hydric_pct", "real", "Hydric soil", "%", "Mean percent hydric of the soil map in the pool; NULL: not known."
    ),
    Field("wet_soil_share", "real", "Wet soil", "", "Share of the pool on wet soil, 0 to 1; NULL: not known."),
    Field("farmed_share", "real", "Farmed", "", "Share of the pool under crops or hay, 0 to 1; NULL: not known."),
    Field("wetland_share", "real", "Mapped wetland", "", "Share mapped as wetland or water today; NULL: not known."),
    Field(
        "rim_beside_m",
        "real",
        "Rim beside",
        "m",
        "Level that the rim beside a covered drain suggests: the option to rebuild the rim; NULL: none seen.",
    ),
)

PIPE_MOUTHS = LayerSpec(
    "pipe_mouths",
    "Point",
    "Pipe mouths",
    "Where to look for the mouth of a covered pipe: look in this bank. A suspicion, not a survey; call before you dig.",
    (
        Field("mouth_id", "text", "Mouth", "", "Id of the site, a hyphen and the order; 1 is the likeliest."),
        _SITE_ID,
        Field("order", "integer", "Order", "", "1 is the likeliest mouth of the site."),
        Field("kind", "text", "Kind", "", "ditch head, ditch bank or stream bank."),
        Field("level_m", "real", "Level", "m", "Likely level of the pipe here, in the datum of the elevation model."),
        Field("depth_to_dig_m", "real", "Depth to dig", "m", "Likely depth of the pipe below the bank top."),
        Field("distance_m", "real", "Distance", "m", "From the floor of the hollow, along the way."),
        Field("fall_m", "real", "Fall", "m", "Floor of the hollow over the level of the mouth."),
        Field("deepest_cut_m", "real", "Deepest cut", "m", "Greatest depth of a trench along the way."),
        Field("feasible", "integer", "Feasible", "", "1: low enough for cover and fall of a pipe; 0: it is not."),
        Field("words", "text", "In words", "", "What to do here, in plain words."),
    ),
)

SUSPECTED_LINES = LayerSpec(
    "suspected_lines",
    "LineString",
    "Suspected lines",
    "Where a covered pipe may lie: faint ridges and troughs, and the way of least trench depth. Not a map of pipes.",
    (
        Field("line_id", "text", "Line", "", "Id of the site, a hyphen and a number."),
        _SITE_ID,
        Field(
            "form", "text", "Form", "", "ridge or trough: seen in the ground; route: way of least trench depth only."
        ),
        Field(
            "strength", "real", "Strength", "", "0 to 1: how far it stands out from the ground beside; 0 for a route."
        ),
        Field("height_m", "real", "Height", "m", "Mean height over the ground beside, negative for a trough."),
        Field("length_m", "real", "Length", "m", "Length along the line."),
    ),
)

WET_GROUND = LayerSpec(
    "wet_ground_no_rim",
    "MultiPolygon",
    "Wet ground without a rim",
    "Wet soil where the terrain has no basin: slopes, flats. Not ranked; pond or fen is for the visit to choose.",
    (
        Field("ground_id", "text", "Ground", "", "Id, made from its first cell."),
        Field("kind", "text", "Kind", "", "slope, flat with ditches, flat."),
        Field("area_m2", "real", "Area", "m2", "Area of this piece."),
        Field("slope_pct", "real", "Slope", "%", "Median slope over 20 m."),
        Field("ditch_m", "real", "Ditches", "m", "Length of ditches on it or near it."),
        Field("farmed_share", "real", "Farmed", "", "Share under crops or hay, 0 to 1; NULL: not known."),
        Field("words", "text", "In words", "", "What it may be, in plain words."),
    ),
)
