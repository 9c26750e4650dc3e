"""The opened result with what it can still work out from the ground."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from wetscout.io.settings_file import parse_settings
from wetscout.outputs import ScreenResult as Layers
from wetscout.outputs import open_screen as open_layers
from wetscout.steps.own_plug import OwnPlug, find_places, own_plug


class ScreenResult(Layers):
    """One GeoPackage of `wetscout screen`, and plugs of one's own.

    Layers are attributes, as in `wetscout.outputs.ScreenResult`.
    """

    folders: tuple[Path, ...] = ()

    def plug(self, line: Any, crest_m: float, folder: str | Path | None = None) -> OwnPlug:
        """Put a plug of one's own into today's ground: what it holds, what it takes, where it overflows.

        The ground is read again from the elevation rasters of the run, as far around as the screen would look.

        Parameters
        ----------
        line : shapely.LineString
            Along the crest, across the ditch, in the CRS of the result.
        crest_m : float
            Level of the crest [m], in the DEM's vertical datum.
        folder : path, optional
            Where the rasters lie (and roads and culverts, where the run had them), when neither beside the result nor
            where the screen read them.

        Returns
        -------
        OwnPlug

        Raises
        ------
        InputError
            The rasters are not there; the line or the crest makes no plug.
        """
        where = self.folders if folder is None else (Path(folder),)
        settings = parse_settings(self.run["settings"], f"the settings in {self.path.name}")
        return own_plug(self, line, float(crest_m), find_places(self, where), settings)


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
    layers = open_layers(path)
    return ScreenResult(layers.path, layers.layers)
