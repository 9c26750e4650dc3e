"""Tunable values of the room `people`: which columns of a parcel file mean what, and what counts as touched."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._value import number, words

_GUESS = "empty: guessed from usual column names (common practice, no source)"


@dataclass(frozen=True)
class PeopleSettings:
    """See the metadata of each field for unit, range and source."""

    parcel_field: str = words("", "Column with the parcel's number; empty: guess.", _GUESS)
    owner_field: str = words(
        "", "Column with the owner's name; empty: guess; `none`: the file names no owners.", _GUESS
    )
    mail_field: str = words("", "Column with street or box of the owner's mailing address; empty: guess.", _GUESS)
    city_field: str = words("", "Column with the town of the mailing address; empty: guess.", _GUESS)
    state_field: str = words("", "Column with the state of the mailing address; empty: guess.", _GUESS)
    zip_field: str = words("", "Column with the postal code of the mailing address; empty: guess.", _GUESS)
    touch_m2: float = number(
        10.0,
        "m2",
        (0.0, 10000.0),
        "Least pool on a parcel for the parcel to be listed; less is a parcel line drawn a step aside.",
        "parcel lines are often metres off the ground they mean (common practice, no source)",
    )
    whole_share: float = number(
        0.95,
        "-",
        (0.5, 1.0),
        "Part of a pool that must lie on one owner's land for the site to count as that owner's alone.",
        "own choice: leaves room for a parcel line drawn beside its ditch",
    )
    repair_change: float = number(
        0.01,
        "-",
        (0.0, 1.0),
        "Share of its area that repair may add to or take from a parcel before it is counted as changed.",
        "own choice: 1 % of a 16 ha quarter-quarter section is 0.16 ha",
    )
