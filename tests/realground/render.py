"""A picture of a result over a hillshade, to look at: `render(dem_z, cell_m, lines, pools, plugs, path, window)`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.collections import LineCollection
from matplotlib.colors import LightSource
from matplotlib.figure import Figure
from numpy.typing import NDArray

matplotlib.use("Agg")

F64 = NDArray[np.float64]
Line = tuple[F64, F64]  # rows, cols [cells]
Pool = tuple[int, int, NDArray[np.bool_]]  # row0, col0, mask


def shade(z: F64, cell_m: float, steep: float = 8.0) -> F64:
    """Hillshade 0-1 with low ground bluish kept apart; NaN is white.

    Parameters
    ----------
    z : float64 (rows, cols)
    cell_m : float
    steep : float
        Vertical exaggeration; flat farmland needs 5-15.

    Returns
    -------
    float64 (rows, cols)
    """
    gone = np.isnan(z)
    ground = np.where(gone, np.nanmedian(z), z)
    light = np.asarray(LightSource(azdeg=315, altdeg=40).hillshade(ground, vert_exag=steep, dx=cell_m, dy=cell_m))
    return np.where(gone, 1.0, light)


def tint(z: F64) -> NDArray[np.float64]:
    """Elevation over its wide surroundings, as colours (brown high, green-blue low)."""
    gone = np.isnan(z)
    low, high = np.nanpercentile(z, [2, 98])
    part = np.clip((np.where(gone, low, z) - low) / max(high - low, 0.01), 0, 1)
    return np.asarray(matplotlib.colormaps["gist_earth"](0.25 + 0.6 * part)[..., :3])


def render(
    dem_z: Any,
    cell_m: float,
    lines: Sequence[Line],
    pools: Sequence[Pool],
    plugs: Sequence[Line],
    path: str | Path,
    window: tuple[int, int, int, int] | None = None,
    steep: float = 8.0,
    labels: Sequence[str] | None = None,
    known: Sequence[Line] = (),
) -> None:
    """Write a PNG: hillshade, ditches red, known channels yellow dashes, pools blue with their rank, plugs magenta.

    Parameters
    ----------
    dem_z : (rows, cols)
        Ground [m], NaN where unknown.
    cell_m : float
    lines, plugs, known : sequences of (rows, cols)
        Lines in cells; `known` are mapped channels.
    pools : sequence of (row0, col0, mask)
        In the order of rank.
    path : path of the PNG
    window : (row0, row1, col0, col1), optional
    steep : float
        Vertical exaggeration of the hillshade.
    labels : sequence of str, optional
        One a pool; default its rank from 1.
    """
    z = np.asarray(dem_z, dtype=np.float64)
    r0, r1, c0, c1 = window or (0, z.shape[0], 0, z.shape[1])
    part = z[r0:r1, c0:c1]
    pixels = max(1.0, 1800.0 / max(part.shape))
    size = part.shape[1] * pixels / 100 + 0.8, part.shape[0] * pixels / 100 + 0.6
    fig = Figure(figsize=size, dpi=100)
    ax = fig.add_axes((0.6 / size[0], 0.35 / size[1], 1 - 0.8 / size[0], 1 - 0.6 / size[1]))
    extent = (c0 - 0.5, c1 - 0.5, r1 - 0.5, r0 - 0.5)
    picture = tint(part) * 0.45 + shade(part, cell_m, steep)[..., None] * 0.55
    picture[np.isnan(part)] = 0.85
    ax.imshow(np.clip(picture, 0, 1), extent=extent, interpolation="nearest")
    for n, (row0, col0, mask) in enumerate(pools):
        rows, cols = np.nonzero(mask)
        over = np.zeros((*mask.shape, 4))
        over[mask] = (0.1, 0.35, 1.0, 0.38)
        ax.imshow(over, extent=(col0 - 0.5, col0 + mask.shape[1] - 0.5, row0 + mask.shape[0] - 0.5, row0 - 0.5))
        mid = int(np.argmin((rows - rows.mean()) ** 2 + (cols - cols.mean()) ** 2))
        at = (cols[mid] + col0, rows[mid] + row0)
        if r0 <= at[1] < r1 and c0 <= at[0] < c1:
            text = labels[n] if labels is not None else str(n + 1)
            ax.text(*at, text, color="white", fontsize=11, ha="center", va="center", weight="bold",
                    bbox={"facecolor": "navy", "alpha": 0.6, "pad": 1, "edgecolor": "none"})  # fmt: skip
    for group, colour, width, style in (
        (known, "yellow", 1.2, "dashed"), (lines, "red", 1.0, "solid"), (plugs, "magenta", 3.5, "solid"),
    ):  # fmt: skip
        shown = [np.stack([np.asarray(c), np.asarray(r)], axis=1) for r, c in group]
        ax.add_collection(LineCollection(shown, colors=colour, linewidths=width, linestyles=style))
    ax.set_xlim(extent[0], extent[1])
    ax.set_ylim(extent[2], extent[3])
    ax.set_title(f"columns across, rows down; cell {cell_m:g} m; exaggeration {steep:g}", fontsize=9)
    ax.grid(alpha=0.25, linewidth=0.4, color="k")
    fig.savefig(path)


def render_screen(screen: Any, path: str | Path, first: int = 20, **options: Any) -> None:
    """Render a `wetscout.records.Screen`: its sure ditches, the first sites by rank, their plugs."""
    sites = screen.sites[:first]
    render(
        np.asarray(screen.terrain.z, dtype=np.float64),
        screen.terrain.grid.cell_m,
        [(d.row, d.col) for d in screen.linework.ditches if d.sure],
        [(s.pool.row0, s.pool.col0, np.asarray(s.pool.mask, dtype=bool)) for s in sites],
        [(p.row, p.col) for s in sites for p in s.plugs],
        path,
        **options,
    )
