"""How one tunable number is declared."""

from __future__ import annotations

from dataclasses import field
from typing import Any


def number(default: float, unit: str, limits: tuple[float, float], about: str, source: str) -> Any:
    """Declare a tunable number of a settings part.

    Parameters
    ----------
    default : float or int
        Value used when the user says nothing; its type is the type wanted.
    unit : str
        "m", "m2", "-" for a pure number, ...
    limits : (low, high)
        Both ends allowed.
    about : str
        What it does, one sentence.
    source : str
        Where the default comes from.

    Returns
    -------
    dataclasses.Field
    """
    return field(default=default, metadata={"unit": unit, "limits": limits, "about": about, "source": source})


def words(default: str, about: str, source: str) -> Any:
    """Declare a setting that is a text, such as the name of a column in a user's file.

    Parameters
    ----------
    default : str
        Value used when the user says nothing.
    about : str
        What it does, one sentence.
    source : str
        Where the default comes from.

    Returns
    -------
    dataclasses.Field
    """
    return field(default=default, metadata={"unit": "text", "limits": None, "about": about, "source": source})
