"""Where the invented sample county lies: inside the installed package, or beside it in a checkout."""

from __future__ import annotations

from pathlib import Path

import wetscout
from wetscout.errors import MissingPartError

LAYERS = {
    "roads": "roads.gpkg",
    "culverts": "culverts.gpkg",
    "parcels": "parcels.gpkg",
    "soils": "soils.gpkg",
}


def sample_folder() -> Path:
    """Find the sample county.

    Returns
    -------
    Path
        Folder with `dem.tif` and the layers.

    Raises
    ------
    MissingPartError
        When the package was installed without it.
    """
    package = Path(wetscout.__file__).parent
    for folder in (package / "sample", package.parent / "sample_data"):
        if (folder / "dem.tif").is_file():
            return folder
    raise MissingPartError(
        f"the sample county is missing: no dem.tif in {package / 'sample'}; install wetscout again from its sources"
    )
