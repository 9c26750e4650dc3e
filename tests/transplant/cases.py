"""The transplants that are scored: which ground, which cell size, which seed, which basins."""

from __future__ import annotations

from dataclasses import dataclass, replace

from realground.data import dem

from .cutter import Transplant, transplant
from .ground import F64, held_by_bank, resample

# Closed basins picked on the hillshade by their natural rims: the lowest saddle is open ground, not road fill or a dam,
# and no building, pond or mapped channel lies in them. Cells (row, col) of the native DEM. Iowa: all are natural.
NATURAL: dict[str, tuple[tuple[int, int], ...]] = {
    "in_feldun_3m": (
        (99, 446), (99, 179), (114, 369), (244, 447), (252, 432), (257, 353), (301, 387), (306, 345), (327, 292),
    ),
    "in_fulton_5ft": ((457, 1012), (626, 1005), (726, 186), (133, 939), (184, 305), (755, 498)),
    "nl_oostrum_2m_core": ((393, 546), (84, 1068), (1077, 814), (940, 286), (562, 1018), (503, 962), (514, 1034)),
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A DEM, the cell size it is brought to (0: as it is), a seed."""

    name: str
    to_m: float
    seed: int

    @property
    def title(self) -> str:
        """For the report."""
        return f"{self.name} {'native' if self.to_m == 0 else f'{self.to_m:g} m'} seed {self.seed}"

    def ground(self) -> tuple[F64, float, tuple[tuple[int, int], ...] | None]:
        """The ground [m], its cell size [m], and cells of the basins to be cut (None: all)."""
        z, cell = dem(self.name)
        only = NATURAL.get(self.name)
        if self.to_m:
            k = round(cell / self.to_m)
            only = tuple((r * k + k // 2, c * k + k // 2) for r, c in only) if only else None
            z, cell = resample(z, cell, self.to_m), self.to_m
        return z, cell, only

    def make(self) -> Transplant:
        """Cut the ditches; fine grids get 2.5 cm of noise, native ones carry their own and are judged for banks."""
        z, cell, only = self.ground()
        made = transplant(z, cell, self.seed, noise_m=0.025 if self.to_m else 0.0, only=only)
        if self.to_m:
            return made
        # what only a bank holds is drained already by what lies behind it: no truth either way
        ground = made.untouched
        return replace(
            made,
            truths=tuple(t for t in made.truths if not held_by_bank(ground, cell, t.pool, t.spill_m, t.floor_m)),
        )


IOWA = ("ia_hoffman_3m", "ia_willis_3m")
QUICK = tuple(Case(name, 0.0, seed) for name in IOWA for seed in (1, 2, 3))
ALL = (
    *(Case(name, to_m, seed) for name in IOWA for to_m in (0.0, 1.0) for seed in (1, 2, 3)),
    *(Case("in_feldun_3m", to_m, 1) for to_m in (0.0, 1.0)),
    *(Case("in_fulton_5ft", 0.0, seed) for seed in (1, 2)),
    *(Case("nl_oostrum_2m_core", 0.0, seed) for seed in (1, 2)),
)
