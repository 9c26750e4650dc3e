"""From a run's result to its file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from wetscout.io.geopackage import Layer, Written, write_geopackage
from wetscout.io.geopackage_schema import LayerSpec
from wetscout.outputs import fields
from wetscout.outputs.layers import US_LAYERS
from wetscout.outputs.us_units import twin


def write_layers(path: str | Path, layers: Mapping[str, Layer], overwrite: bool = False) -> Written:
    """Write the layers of a run, carrying the user's own tables over from an older result.

    Parameters
    ----------
    path : str or Path
        Target, `.gpkg`.
    layers : mapping of str to DataFrame
        From `to_layers`, with `parcels` and `owners` added where there are any.
    overwrite : bool
        Replace an older result.

    Returns
    -------
    Written

    Raises
    ------
    OutputError
        The target may not or cannot be written; the old file is untouched.
    """
    return write_geopackage(
        path, layers, specs_for(layers), overwrite=overwrite, keep=fields.TABLES, about=fields.ABOUT
    )


def specs_for(layers: Mapping[str, Layer]) -> tuple[LayerSpec, ...]:
    """Meaning of every layer and column there is, the US twins and unknown columns included.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By layer name.

    Returns
    -------
    tuple of LayerSpec
    """
    return tuple(_complete(fields.by_name(name), table) for name, table in layers.items())


def _complete(spec: LayerSpec, table: Layer) -> LayerSpec:
    known = {item.name: item for item in spec.fields}
    if spec.name in US_LAYERS:
        for item in spec.fields:
            pair = twin(item)
            if pair is not None:
                known.setdefault(pair[0].name, pair[0])
    for column in table.columns:
        name = str(column)
        if name != "geometry" and name not in known:
            known[name] = fields.Field(name, "text", name, "", "Not described in this version.")
    return replace(spec, fields=tuple(known.values()))
