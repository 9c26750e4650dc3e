"""What a dam, a plug or a spade made is no hollow that a pipe drains, whatever soil and crop say."""

from __future__ import annotations

import numpy as np
import pytest

from wetscout.cli.prove import found_by_screen
from wetscout.prove import make_specimens
from wetscout.prove.false_finds import count_offered

# offered as covered drains before banks, plugs and steep shores were looked at
SEEDS = (("pond dams", 303), ("pond dams", 316), ("ditches already plugged", 310), ("dug ponds", 314))


@pytest.mark.parametrize(("kind", "seed"), SEEDS)
def test_not_offered_as_covered(kind: str, seed: int) -> None:
    land = make_specimens(kind, seed)
    assert np.isfinite(land.z).all() and land.specimens
    assert count_offered(land, found_by_screen(land.z.copy(), land.cell_m, land.maps)).as_covered == 0
