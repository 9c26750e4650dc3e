"""The first run: kernels are compiled in two processes; where there are kernels already, nothing is started."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from wetscout.cli import kernels
from wetscout.cli.state import State


def _started(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    orders: list[list[str]] = []

    class Beside:
        def __init__(self, order: list[str], **_: object) -> None:
            orders.append(order)

        def kill(self) -> None:
            """Nothing runs."""

    monkeypatch.setattr(subprocess, "Popen", Beside)
    return orders


def test_an_empty_cache_starts_the_second_process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    orders = _started(monkeypatch)
    assert kernels.announce_compile(State(quiet=True))
    assert len(orders) == 1 and orders[0][0] == sys.executable


def test_a_filled_cache_starts_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    (tmp_path / "a.nbi").touch()
    orders = _started(monkeypatch)
    assert not kernels.announce_compile(State(quiet=True))
    assert not orders


@pytest.mark.slow
def test_what_the_second_process_compiles_is_what_a_screen_needs(tmp_path: Path) -> None:
    """After it, filling and the tree of other ground of the same type find all their kernels in the cache."""
    room = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    subprocess.run(
        [sys.executable, "-c", "from wetscout.cli.kernels import compile_basins as c; c()"], env=room, check=True
    )
    before = {p.name for p in tmp_path.rglob("*.nbc")}
    other = (
        "import numpy as np; from wetscout.basins.tree import tree_of; from wetscout import fill;"
        "z = np.random.default_rng(5).random((90, 80)).astype(np.float32); hole = z > 0.999;"
        "tree_of(z, hole, cell_m=1.0, min_depth_m=0.05); fill(z)"
    )
    subprocess.run([sys.executable, "-c", other], env=room, check=True)
    assert before and {p.name for p in tmp_path.rglob("*.nbc")} == before


def test_the_package_runs_as_a_module() -> None:
    said = subprocess.run([sys.executable, "-m", "wetscout", "--help"], capture_output=True, text=True, check=True)
    assert "screen" in said.stdout
