"""Self-test of an installation."""

from __future__ import annotations

import os
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import pyproj
import rasterio
from pyproj.exceptions import CRSError, ProjError

from wetscout.errors import WetscoutError
from wetscout.io import environment

__all__ = ["Checked", "self_test"]

Checked = tuple[bool, str]


def self_test(
    surroundings: environment.Surroundings | None = None, tiny_run: Callable[[Path], str] | None = None
) -> list[Checked]:
    """Check versions, projection data, the folder of compiled kernels, and run something small.

    Parameters
    ----------
    surroundings : Surroundings, optional
        What `io.environment.prepare` set aside when the program began; looked up again when not given.
    tiny_run : callable, optional
        Gets a temporary folder, does a small screen in it and says in one sentence what it found.

    Returns
    -------
    list of (bool, str)
        True when all is well, with a line of plain words.
    """
    found = surroundings or environment.prepare()
    lines = [(True, f"{name} {value}") for name, value in environment.versions().items()]
    missing = [name for name, value in environment.versions().items() if value == "missing"]
    lines = [(not line.endswith(" missing"), line) for _good, line in lines]
    if missing:
        lines.append((False, f"not installed: {', '.join(missing)}. Install again: pip install wetscout"))
    lines.extend((True, note) for note in found.notes)
    lines.append(_projections())
    lines.append(_kernel_folder())
    lines.append(_memory())
    if tiny_run is not None:
        lines.append(_try(tiny_run))
    return lines


def _projections() -> Checked:
    """Both PROJ copies must know a CRS, and agree on a point whose coordinates follow from the projection's definition.

    On the central meridian of UTM zone 15 at the equator x = 500000, y = 0 (EPSG guidance note 7-2, 2019, method 9807).
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            x, y = pyproj.Transformer.from_crs(4326, 32615, always_xy=True).transform(-93.0, 0.0)
            code = rasterio.crs.CRS.from_epsg(32615).to_epsg()
    except (CRSError, ProjError, rasterio.errors.CRSError) as error:
        return False, (
            f"projection data cannot be read ({error}). Another program's may be in the way: unset PROJ_LIB and "
            "PROJ_DATA, then try again"
        )
    good = abs(x - 500000.0) < 1e-3 and abs(y) < 1e-3 and code == 32615
    return good, "projection data: " + ("a test point lies where it should" if good else f"a test point is at {x}, {y}")


def _kernel_folder() -> Checked:
    import wetscout.kernels  # noqa: F401, PLC0415  (sets the folder)

    folder = Path(os.environ.get("NUMBA_CACHE_DIR", ""))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=folder):
            pass
    except OSError as error:
        return False, (
            f"compiled kernels cannot be kept in {folder} ({error}): every start compiles anew, a minute or two. Name "
            "a folder you may write to in the environment variable NUMBA_CACHE_DIR"
        )
    kept = sum(1 for _file in folder.rglob("*.nbi"))
    return True, f"compiled kernels are kept in {folder} ({kept} there)"


def _memory() -> Checked:
    free = environment.free_memory()
    if free is None:
        return True, "free memory cannot be told on this system"
    return free > 1_000_000_000, f"{free / 1e9:.1f} GB of memory free" + ("" if free > 1e9 else ": that is little")


def _try(tiny_run: Callable[[Path], str]) -> Checked:
    began = time.perf_counter()
    try:
        with tempfile.TemporaryDirectory(prefix="wetscout-") as folder:
            said = tiny_run(Path(folder))
    except WetscoutError as error:
        return False, f"a tiny run failed: {error}"
    except Exception as error:  # a broken installation fails in any way; the user must see which
        return False, f"a tiny run failed: {type(error).__name__}: {error}"
    return True, f"a tiny run took {time.perf_counter() - began:.1f} s: {said}"
