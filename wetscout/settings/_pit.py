"""How pits are told by their sides: the same for open and for covered drains."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._value import number

_TRIAL = "own trials on invented till plains, 2026"
_PRACTICE = "common practice, no source"
# a wall seen in cells is wider by about this many of them: means over cells, and slopes over three of them
BLUR_CELLS = 2.0


@dataclass(frozen=True)
class PitSides:
    """Halfway down a pit is as steep as it was dug, and little of it lies there; a bowl of ice or wind is half full."""

    # 23 natural hollows of four real DEMs: slope 0.02-0.15, 0.4-1.3 bowls, share 0.27-0.62; a lagoon 0.27, 3.0, 0.24.
    # Depth as 1 - (r / R)^n has n 0.5^(1 - 1/n) for a slope and 0.75^(2/n) - 0.25^(2/n) of its area halfway: n = 4 has
    # 2.4 and 0.37 (plain geometry)
    side_slope: float = number(0.08, "-", (0.03, 1.0), "sides steeper than this halfway down may be dug", _TRIAL)
    side_bowl: float = number(
        2.4, "-", (1.0, 10.0), "such a slope over depth / half width of a pit; a cone has 1, a paraboloid 1.4", _TRIAL
    )
    side_share: float = number(
        0.36, "-", (0.05, 0.6), "and less of a pit than this lies halfway down; of a bowl it is a half", _TRIAL
    )
    # 13 invented ponds: 0.4-4.2 to one; potholes with flat floors 7 and more, three of them lost before this was asked
    side_run: float = number(
        5.0, "-", (1.0, 20.0), "dug sides are no flatter than this to one, for what cells leave of it", _PRACTICE
    )

    def boxed(self, sides: tuple[float, float, float], half_m: float, cell_m: float) -> bool:
        """Whether sides are those of a pit.

        Parameters
        ----------
        sides : (float, float, float)
            Slope halfway down, share of the pool that lies there, depth [m].
        half_m, cell_m : float
            Half width, cell size [m].

        Returns
        -------
        bool
        """
        slope, share, depth = sides
        shaped = slope > self.side_slope and slope * half_m > self.side_bowl * depth and share < self.side_share
        # the wall takes depth / slope; as dug it takes that less the blur
        return bool(shaped and depth / slope - BLUR_CELLS * cell_m <= self.side_run * depth)
