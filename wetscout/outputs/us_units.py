"""Twins of the metric fields in feet, acres, cubic yards and acre-feet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from wetscout.io.geopackage_schema import Field, LayerSpec
from wetscout.units import ACRE_FOOT_M3, ACRE_M2, FOOT_M, YARD3_M3

# earth is dug and paid by the cubic yard, water kept by the acre-foot (common practice, no source)
_EARTH = ("fill_m3",)


def twin(item: Field) -> tuple[Field, float] | None:
    """Field in US units that stands beside a metric one.

    Parameters
    ----------
    item : Field
        Any field.

    Returns
    -------
    (Field, float) or None
        The twin, and what one of its units is in the metric one; None where there is no twin.
    """
    if item.kind != "real":
        return None
    if item.unit == "m" and item.name.endswith("_m"):
        name, unit, size = item.name[:-2] + "_ft", "ft", FOOT_M
    elif item.unit == "m2" and item.name.endswith("_m2"):
        name, unit, size = item.name[:-3] + "_ac", "ac", ACRE_M2
    elif item.unit == "m3" and item.name in _EARTH:
        name, unit, size = item.name[:-3] + "_yd3", "yd3", YARD3_M3
    elif item.unit == "m3" and item.name.endswith("_m3"):
        name, unit, size = item.name[:-3] + "_acft", "acre-foot", ACRE_FOOT_M3
    else:
        return None
    foot = " International feet." if unit == "ft" else ""
    return replace(item, name=name, unit=unit, meaning=f"{item.meaning}{foot}"), size


def recipe(spec: LayerSpec, present: Sequence[str]) -> dict[str, tuple[str, float]]:
    """Say which US fields a layer lacks, and how to make them.

    Parameters
    ----------
    spec : LayerSpec
        Metric layer.
    present : sequence of str
        Names of the columns there already.

    Returns
    -------
    dict
        Twin's name to (metric name, divisor), in the order of the metric fields.
    """
    lacking: dict[str, tuple[str, float]] = {}
    for item in spec.fields:
        pair = twin(item)
        if pair and pair[0].name not in present and item.name in present:
            lacking[pair[0].name] = (item.name, pair[1])
    return lacking
