"""wetscout: find wetland basins that were drained by a cut through the rim.

The public face: `fill`, `basin_tree`, `screen`, `open_screen`, `Settings` and the errors.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from wetscout.errors import InputError, MissingPartError, OutputError, SettingsError, UnitError, WetscoutError
from wetscout.settings import Settings

if TYPE_CHECKING:
    from wetscout.basins import BasinTree, basin_tree, fill
    from wetscout.pipeline import screen
    from wetscout.steps.opened import ScreenResult, open_screen

__version__ = "0.1.0"

# looked up on first use: numba and the readers of files take seconds to import
_LATER = {
    "BasinTree": "wetscout.basins",
    "basin_tree": "wetscout.basins",
    "fill": "wetscout.basins",
    "ScreenResult": "wetscout.steps.opened",
    "open_screen": "wetscout.steps.opened",
    "screen": "wetscout.pipeline",
}

__all__ = [
    "BasinTree",
    "InputError",
    "MissingPartError",
    "OutputError",
    "ScreenResult",
    "Settings",
    "SettingsError",
    "UnitError",
    "WetscoutError",
    "basin_tree",
    "fill",
    "open_screen",
    "screen",
]


def __getattr__(name: str) -> Any:
    """Import a public name when it is first used (PEP 562)."""
    if name not in _LATER:
        raise AttributeError(f"module 'wetscout' has no attribute {name!r}")
    return getattr(importlib.import_module(_LATER[name]), name)
