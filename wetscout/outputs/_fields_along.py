"""Fields of the layers along the way of the water: rows of sites, and steps in the bed of ditches."""

from __future__ import annotations

from wetscout.io.geopackage_schema import Field, LayerSpec

_CHAIN_ID = Field("chain_id", "text", "Row of sites", "", "Id of the row: that of its lowest site.")

CHAIN_OF_SITE = (
    Field("chain_id", "text", "Row of sites", "", "Row of sites draining one to the next; NULL: it stands alone."),
    Field("chain_order", "integer", "Place in the row", "", "1 is farthest up the way of the water."),
    Field("chain_n", "integer", "Sites in the row", "", "How many sites the row has."),
    Field("below_id", "text", "Next site below", "", "Site that today's water reaches next; NULL: none within reach."),
    Field(
        "above_effect",
        "text",
        "Effect on the site above",
        "",
        "What its pool does to the site above, the most if there are several: leaves it alone, reaches its plug, backs "
        "into its pool, drowns its plug; NULL: none above.",
    ),
)

STEPS_OF_SITE = (
    Field("step_below_m", "real", "Step below", "m", "Highest step in the bed within reach below the first plug."),
    Field("step_above_m", "real", "Step above", "m", "Highest step in a bed within reach above the pool."),
)

SURVEY_FLAGS = Field(
    "survey_flags",
    "text",
    "Survey faults",
    "",
    "Ground of the pool that no survey saw as it is: smooth filled-in ground, flat facets, step between surveys, level "
    "water, separated by commas; NULL: none seen.",
)

HEAD_CUT_M = Field("head_cut_m", "real", "Step in the bed", "m", "Height of the highest step; NULL: no step seen.")

HEAD_CUTS = LayerSpec(
    "head_cuts",
    "Point",
    "Steps in beds",
    "Where the bed of a ditch drops within a few metres: a head cut that works its way up, or a built drop.",
    (
        Field("ditch_id", "integer", "Ditch", "", "Number of the ditch in this run."),
        Field("height_m", "real", "Height", "m", "Fall beyond the grade of the bed above and below."),
        Field("bed_up_m", "real", "Bed above", "m", "Bed above the step, in the elevation model's vertical datum."),
        Field("bed_down_m", "real", "Bed below", "m", "Bed below the step, in the elevation model's vertical datum."),
        Field("from_head_m", "real", "From the upper end", "m", "Length of ditch from its upper end to the step."),
    ),
)

CHAINS = LayerSpec(
    "chains",
    None,
    "Rows of sites",
    "What closing the best 1, 2, ... n sites of a row brings, no ground counted twice; one line a site added.",
    (
        _CHAIN_ID,
        Field("sites_n", "integer", "Sites closed", "", "How many sites of the row are closed by then."),
        Field("plugs_n", "integer", "Plugs", "", "How many plugs that takes."),
        Field("site_id", "text", "Site added", "", "The site that is closed in this step."),
        Field("gain_m2", "real", "Gain", "m2", "Ground wet again by then, no ground counted twice."),
        Field("sites", "text", "Sites", "", "Sites closed by then in the order of closing, separated by commas."),
    ),
)

CHAIN_LINKS = LayerSpec(
    "chain_links",
    None,
    "Site to site",
    "Two sites of which the upper drains to the lower, and what the pool of the lower one does to the upper.",
    (
        _CHAIN_ID,
        Field("site_id", "text", "Lower site", "", "Id of the lower site."),
        Field("above_id", "text", "Upper site", "", "Id of the site above."),
        Field("way_m", "real", "Way", "m", "Way of the water from the upper site's plug to the lower one's pool."),
        Field(
            "effect",
            "text",
            "Effect",
            "",
            "leaves it alone, reaches its plug, backs into its pool, drowns its plug.",
        ),
        Field("spill_m", "real", "Spill level below", "m", "Spill level of the lower site."),
        Field("above_bed_m", "real", "Bed above", "m", "Bed at the foot of the upper site's first plug."),
        Field("above_today_m", "real", "Level today above", "m", "Level today of the upper site."),
        Field("above_spill_m", "real", "Spill level above", "m", "Spill level of the upper site."),
    ),
)
