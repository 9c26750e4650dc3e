"""A result opened for reading: layers as GeoDataFrames, read when first asked for."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from wetscout.errors import InputError
from wetscout.io.geopackage_read import digest, list_layers, read_layer
from wetscout.outputs import fields


class ScreenResult:
    """One GeoPackage of `wetscout screen`.

    Layers are attributes: `.sites`, `.plugs`, `.spill_points`, `.ditches`, `.embankments`, `.basins`, `.not_offered`,
    `.catchments`, `.levels`, and `.parcels`, `.owners` or others where the file has them. Each is read once, and the
    file is closed again after each reading.

    Attributes
    ----------
    path : Path
    layers : tuple of str
        What the file holds.
    """

    def __init__(self, path: Path, layers: tuple[str, ...]) -> None:
        self.path = path
        self.layers = layers
        self._read: dict[str, pd.DataFrame] = {}
        self._run: dict[str, Any] | None = None

    def layer(self, name: str) -> pd.DataFrame:
        """Give one layer or table.

        Parameters
        ----------
        name : str
            Its name in the file.

        Returns
        -------
        DataFrame
            A GeoDataFrame where the layer has a geometry.

        Raises
        ------
        InputError
            The file has no such layer.
        """
        if name not in self._read:
            self._read[name] = read_layer(self.path, name)
        return self._read[name]

    def __getattr__(self, name: str) -> pd.DataFrame:
        if name.startswith("_") or name not in self.layers:
            raise AttributeError(f"{self.path}: has no layer {name}; it has {', '.join(self.layers)}")
        return self.layer(name)

    def __dir__(self) -> list[str]:
        return sorted({*super().__dir__(), *self.layers})

    def __repr__(self) -> str:
        return f"ScreenResult({str(self.path)!r}: {', '.join(self.layers)})"

    @property
    def run(self) -> Mapping[str, Any]:
        """How the file was made: settings, inputs, timings, counts."""
        if self._run is None:
            table = self.layer("run")
            self._run = {str(key): json.loads(value) for key, value in zip(table["key"], table["value"], strict=True)}
        return self._run

    def digest(self) -> str:
        """One number for the content of all layers but `run`, to compare two results.

        Returns
        -------
        str
            64 hexadecimal digits.
        """
        return digest(self.path)


def open_screen(path: str | Path) -> ScreenResult:
    """Open a result of `wetscout screen`.

    Parameters
    ----------
    path : str or Path
        The GeoPackage.

    Returns
    -------
    ScreenResult

    Raises
    ------
    InputError
        No such file, not a GeoPackage, not a result of a screen, or made by a newer version.
    """
    place = Path(path)
    layers = list_layers(place)
    wanted = ("sites", "run")
    missing = [name for name in wanted if name not in layers]
    if missing:
        raise InputError(
            f"{place}: is no result of `wetscout screen`: it lacks {', '.join(missing)} and has "
            f"{', '.join(layers) or 'no layer'}; give the file that `screen` wrote"
        )
    result = ScreenResult(place, layers)
    version = str(result.run.get("schema_version", ""))
    if version.partition(".")[0] != fields.SCHEMA_VERSION.partition(".")[0]:
        raise InputError(
            f"{place}: has schema version {version or 'unknown'}, this program reads {fields.SCHEMA_VERSION}; "
            "update wetscout, or screen again"
        )
    return result
