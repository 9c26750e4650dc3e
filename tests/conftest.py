"""Shared set-up of the tests."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
if "PYTEST_XDIST_WORKER" in os.environ:
    # as many processes as processors run: the threads of the libraries that ours is held against wait for each other
    # (a test of 15 s took 152)
    os.environ.setdefault("OMP_NUM_THREADS", "1")


def pytest_configure(config: pytest.Config) -> None:
    """Compile all kernels on all processors before the whole suite.

    A screen in one test compiles them on one (245 s of the suite's 960 in an empty cache, beside two other jobs), and
    the processes among which the tests are shared out would each compile what they come to.
    """
    whole = config.args_source is pytest.Config.ArgsSource.TESTPATHS
    if not whole or hasattr(config, "workerinput") or config.option.collectonly:
        return
    from wetscout.cli.kernels import announce_compile  # sets where kernels are kept
    from wetscout.cli.state import State

    announce_compile(State())
