"""Room 11: layers of the result, their fields and ids, and the opened result."""

from __future__ import annotations

from wetscout.outputs.ids import assign_ids
from wetscout.outputs.layers import basins_later, to_layers
from wetscout.outputs.result import ScreenResult, open_screen
from wetscout.outputs.write import write_layers

__all__ = ["ScreenResult", "assign_ids", "basins_later", "open_screen", "to_layers", "write_layers"]
