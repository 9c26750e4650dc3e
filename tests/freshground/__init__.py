"""Another maker of invented drained landscapes, by a stranger to the tool and to the makers before it.

Ground comes from how it was laid: hummocks and kettles of stagnant ice, drumlins, strand lines, ice scours, oval bays,
blown sand down to its water table, point bars, levees and splays, wind-dug pans; then wash settles in the hollows,
soil creeps and water runs. Ditches are led, graded and heaped as on farms. The answer is the flooded ground before
and after digging.
"""

from __future__ import annotations

from .make import KINDS, make

__all__ = ["KINDS", "make"]
