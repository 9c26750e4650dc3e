"""The libraries around us: whose map projection data is read, how much GDAL may keep in memory, what is free.

Import this before rasterio: a PROJ folder of another program (left in the environment by a database or another GIS)
makes every CRS fail, and it is read when the first CRS is made.
"""

from __future__ import annotations

import ctypes
import functools
import importlib.metadata
import importlib.util
import os
import platform
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Surroundings", "code_files", "free_disk", "free_memory", "peak_memory", "prepare", "versions"]

_PROJ_NAMES = ("PROJ_DATA", "PROJ_LIB")
# the default, 5 % of memory, took 1.26 GB on a 24 GB machine and gives nothing to windows read once
GDAL_CACHE_MB = 64
_PACKAGES = (
    *("wetscout", "numpy", "numba", "scipy", "rasterio", "shapely", "pyproj", "geopandas", "pyogrio"),
    *("matplotlib", "click", "rich", "pydantic"),
)


@dataclass(frozen=True)
class Surroundings:
    """What `prepare` found and did.

    Attributes
    ----------
    set_aside : tuple of (str, str)
        Environment variables of another program that this process ignores, with their values.
    notes : tuple of str
        The same in plain words.
    """

    set_aside: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()


def _own_proj_folder(package: str) -> Path | None:
    """Projection data inside an installed package, None where it uses the system's (conda, distributions)."""
    spec = importlib.util.find_spec(package)
    if spec is None or spec.origin is None:
        return None
    folders = {"rasterio": "proj_data", "pyproj": "proj_dir/share/proj", "pyogrio": "proj_data"}
    folder = Path(spec.origin).parent / folders[package]
    return folder if (folder / "proj.db").is_file() else None


@functools.cache
def prepare() -> Surroundings:
    """Make this process use the projection data that came with its own libraries, and bound GDAL's cache.

    Only this process is changed. Where the libraries carry no data of their own, nothing is.

    Returns
    -------
    Surroundings
        Of the first call in this process; later ones change nothing.
    """
    os.environ.setdefault("GDAL_CACHEMAX", str(GDAL_CACHE_MB))
    if _own_proj_folder("rasterio") is None or _own_proj_folder("pyproj") is None:
        return Surroundings()
    own = {str(folder) for name in ("rasterio", "pyproj", "pyogrio") if (folder := _own_proj_folder(name))}
    aside = []
    notes = []
    for name in _PROJ_NAMES:
        value = os.environ.get(name)
        if value and value not in own:
            del os.environ[name]
            aside.append((name, value))
            notes.append(
                f"{name} points to the projection data of another program ({value}); it is ignored here, "
                "nothing outside this process was changed"
            )
    return Surroundings(tuple(aside), tuple(notes))


def versions() -> dict[str, str]:
    """Versions of Python, of the libraries, and of the GDAL and PROJ inside them, with the PROJ data in use.

    Returns
    -------
    dict of str to str
        `missing` for a library that is not installed.
    """
    found = {"python": platform.python_version(), "system": platform.platform()}
    for name in _PACKAGES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = "missing"
    import pyogrio  # noqa: PLC0415  (after `prepare`, see the head of this module)
    import pyproj  # noqa: PLC0415
    import rasterio  # noqa: PLC0415

    found["GDAL in rasterio"] = rasterio.__gdal_version__
    found["GDAL in pyogrio"] = pyogrio.__gdal_version_string__
    found["PROJ in pyproj"] = pyproj.proj_version_str
    found["PROJ data of pyproj"] = pyproj.datadir.get_data_dir()
    found["PROJ data of rasterio"] = str(_own_proj_folder("rasterio") or os.environ.get("PROJ_DATA", "the system's"))
    return found


def free_memory() -> int | None:
    """Memory that programs could still take.

    Returns
    -------
    int or None
        Bytes; None where the system does not tell.
    """
    meminfo = Path("/proc/meminfo")
    if meminfo.is_file():
        for line in meminfo.read_text().splitlines():
            if line.startswith("MemAvailable:"):
                return int(line.split()[1]) * 1024
    if sys.platform == "win32":
        return _free_memory_windows()
    try:
        # macOS names no free pages; half of what is built in is a cautious guess
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // 2
    except (ValueError, OSError):
        return None


def _free_memory_windows() -> int | None:
    class Status(ctypes.Structure):
        _fields_ = (
            ("length", ctypes.c_ulong),
            ("load", ctypes.c_ulong),
            *((name, ctypes.c_ulonglong) for name in ("total", "free", "page_total", "page_free", "virt", "virt_free")),
            ("extended", ctypes.c_ulonglong),
        )

    status = Status()
    status.length = ctypes.sizeof(Status)
    library = getattr(ctypes, "windll", None)
    if library is None or not library.kernel32.GlobalMemoryStatusEx(ctypes.byref(status)):
        return None
    return int(status.free)


def code_files() -> list[Path]:
    """The program's own source files, in order.

    Returns
    -------
    list of Path
    """
    return sorted(Path(__file__).parent.parent.rglob("*.py"))


def peak_memory() -> int | None:
    """The most memory this process has had so far.

    Returns
    -------
    int or None
        [bytes]; None where the system does not say.
    """
    try:
        import resource  # noqa: PLC0415  not on Windows
    except ImportError:
        return None
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return int(most) if sys.platform == "darwin" else int(most) * 1024


def free_disk(folder: Path) -> int | None:
    """Free space where a file would be written.

    Parameters
    ----------
    folder : Path
        An existing folder, or one that would be made inside an existing one.

    Returns
    -------
    int or None
        Bytes; None where it cannot be told.
    """
    for place in (folder, *folder.absolute().parents):
        if place.is_dir():
            try:
                return shutil.disk_usage(place).free
            except OSError:
                return None
    return None
