"""Room 10: scores, ranks and the reasons in words."""

from __future__ import annotations

from wetscout.ranking.order import rank

__all__ = ["rank"]
