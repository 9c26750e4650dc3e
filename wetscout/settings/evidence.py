"""Tunable values of the room `evidence`: which columns and codes of the user's layers mean what."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._value import number, words

_SSURGO = "public US soil survey, table muaggatt"
_NLCD = "public US land cover classes"
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class EvidenceSettings:
    """See the metadata of each field for unit, range and source."""

    hydric_field: str = words(
        "", "Column with percent hydric (0-100) of a soil polygon; empty: hydclprs; `none`: there is none.", _SSURGO
    )
    drainage_field: str = words(
        "", "Column with the drainage class of a soil polygon; empty: drclassdcd; `none`: there is none.", _SSURGO
    )
    crop_codes: str = words("82", "Codes of the land cover raster that are crops, like `1-6, 24`.", _NLCD)
    hay_codes: str = words("81", "Codes that are hay or pasture.", _NLCD)
    developed_codes: str = words("21-24", "Codes that are developed land.", _NLCD)
    forest_codes: str = words("41-43", "Codes that are forest.", _NLCD)
    wetland_codes: str = words("90, 95", "Codes that are wetland today.", _NLCD)
    water_codes: str = words("11", "Codes that are open water.", _NLCD)
    hydric_least_pct: float = number(
        50.0,
        "%",
        (1.0, 100.0),
        "A map unit with this much hydric soil or more counts as wet; offices differ, some begin at 20.",
        "five map unit classes in common use: predominantly hydric from 50 %",
    )
    known_least: float = number(
        0.3, "-", (0.0, 1.0), "Share of a pool that a layer must cover for it to say anything of the pool.", _PRACTICE
    )
