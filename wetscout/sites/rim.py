"""How much of a basin's rim is real ground, and how much only corridor that was filled or taken off."""

from __future__ import annotations

from wetscout.kernels.pool_window import count_beside
from wetscout.kernels.shore import reached_across
from wetscout.records import BOOL, CUT, F32, FILL, SPOIL, U8


def unheld_shore(natural: F32, corridor: U8, pool: BOOL, levels: tuple[float, float], across: int) -> int:
    """Count shore cells that no real ground holds: across a corridor the open ground lies under the pool's level.

    A ditch through a rim opens a gap as wide as its corridor. Where a road strip or a channel runs along the shore
    and the ground behind it is lower than the pool, what holds the pool is only the level carried across the strip.

    Parameters
    ----------
    natural : float32 (h, w)
        Natural ground [m].
    corridor : uint8 (h, w)
    pool : bool (h, w)
        Cells under water.
    levels : (float, float)
        Level of the pool, and how far below it ground counts as lower [m].
    across : int
        Widest strip looked across [cells].

    Returns
    -------
    int
        [cells]
    """
    strip = (corridor & (CUT | FILL | SPOIL)) > 0
    spill, below = levels
    lower = ~strip & ~pool & (natural < spill - below)
    if not lower.any() or not strip.any():
        return 0
    reached = reached_across(lower, strip, across)
    return int(count_beside(pool & ~strip, reached))
