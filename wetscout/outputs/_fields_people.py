"""Fields of the layers about parcels and owners."""

from __future__ import annotations

from wetscout.io.geopackage_schema import Field, LayerSpec

_OWNER_ID = Field("owner_id", "text", "Owner", "", "Key of the owner's row in `owners`; NULL: owner not known.")
_GAIN_M2 = Field("gain_m2", "real", "Gain", "m2", "Share of the sites' gain, by the part of each pool that lies here.")
_GAIN_AC = Field("gain_ac", "real", "Gain", "ac", "Share of the sites' gain, by the part of each pool that lies here.")
_SITES_N = Field("sites_n", "integer", "Sites", "", "How many sites touch this ground.")
_SITE_IDS = Field("site_ids", "text", "Site ids", "", "Sites that touch this ground, best rank first, with commas.")
_BEST = Field("best_site_rank", "integer", "Best site rank", "", "Rank of the best of these sites; 1 is first.")
_ADDRESS = (
    Field("mail_address", "text", "Mailing address", "", "Street or box, as in the parcel file."),
    Field("mail_city", "text", "Town", "", "Town of the mailing address."),
    Field("mail_state", "text", "State", "", "State of the mailing address."),
    Field("mail_zip", "text", "Postal code", "", "Postal code of the mailing address."),
)

PARCELS = LayerSpec(
    "parcels",
    "MultiPolygon",
    "Parcels",
    "Parcels that a site's pool touches. Parcel lines are no survey; names of owners are personal data.",
    (
        Field("parcel_id", "text", "Parcel", "", "Number of the parcel as in the parcel file."),
        Field("parcel_rank", "integer", "Parcel rank", "", "Order by gain on the parcel; 1 is first."),
        _GAIN_M2,
        _GAIN_AC,
        Field("pool_m2", "real", "Pool", "m2", "Pool at spill level on this parcel, all sites together."),
        _SITES_N,
        _SITE_IDS,
        Field(
            "site_shares", "text", "Shares of sites", "", "Part of each pool on this parcel, as `site share`; 0 to 1."
        ),
        _BEST,
        Field("owners_n", "integer", "Owners of its sites", "", "Most owners that any one of these sites has."),
        Field("stacked_n", "integer", "Stacked", "", "Parcels with this very outline, this one counted; 1 is usual."),
        _OWNER_ID,
        Field("owner", "text", "Owner's name", "", "Name as in the parcel file; NULL: not known. Personal data."),
        *_ADDRESS,
    ),
)

OWNERS = LayerSpec(
    "owners",
    None,
    "Owners",
    "One row for each owner of a parcel that a pool touches; for letters and visits. Personal data: share with care.",
    (
        Field("owner_id", "text", "Owner", "", "Key made from name and mailing address; the same on a re-run."),
        Field("owner_rank", "integer", "Owner rank", "", "Order by gain on the owner's land; 1 is first."),
        Field("owner", "text", "Owner's name", "", "The name most used among the owner's parcels. Personal data."),
        *_ADDRESS,
        Field("parcels_n", "integer", "Parcels", "", "How many of the owner's parcels a pool touches."),
        Field("parcel_ids", "text", "Parcel ids", "", "Their numbers, separated by commas."),
        _SITES_N,
        _SITE_IDS,
        Field("wet_ac", "real", "Wet ground", "ac", "Pool at spill level on the owner's land, all sites together."),
        _GAIN_M2,
        _GAIN_AC,
        _BEST,
        Field("sole_sites_n", "integer", "Sites of one owner", "", "Sites that lie wholly on this owner's land."),
        Field("multi_owner", "integer", "Shared sites", "", "1: at least one site has another owner too; 0: none has."),
        Field("note", "text", "Note", "", "What to mind, such as the same name at another address."),
    ),
)
