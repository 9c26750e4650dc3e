"""A second maker of invented drained landscapes, written from the issue text alone: it shares no code with the product.

Ground comes from spectral relief, running water, knolls, ice ridges, kettles, shore ridges and streams, so hollows
arise from the terrain; ditches take the way a contractor would. The answer is the flooded ground before and after
digging.
"""

from __future__ import annotations

from .make import Other, make
from .plan import KINDS
from .score import score

__all__ = ["KINDS", "Other", "make", "score"]
