"""The map picture of a run: shaded ground, pools by what they would win, plugs, ditches, ranks.

Colours run from straw over rust to plum, darkening all the way, so that they keep their order in grey print and for
colour-blind eyes; ditches are dark teal. The scheme is wetscout's own.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.colors import LinearSegmentedColormap, LogNorm
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import Polygon, Rectangle
from matplotlib.path import Path as Path2D
from matplotlib.patheffects import withStroke
from matplotlib.ticker import LogLocator, NullLocator, StrMethodFormatter

from wetscout import large
from wetscout.grid import Grid
from wetscout.outputs.shade import relief, thin_out
from wetscout.outputs.shapes import outline
from wetscout.records import F32, F64, U8, Ditch, Screen, Site
from wetscout.units import round_figures

GAIN_COLOURS = LinearSegmentedColormap.from_list("gain", ["#f3d98b", "#d98a3d", "#a3413f", "#571845"])
DITCH_COLOUR = "#0e7c8c"
STREAM_COLOUR = "#a9d3d8"
PLUG_COLOUR = "#ffffff"

# Longest side of the picture's ground in pixels: sharp on a screen and on an A3 sheet, 8 MB of colour at most.
_PIXELS = 1600
# More rank numbers than this hide the map they stand on.
_RANKS_SHOWN = 60
# Rank numbers nearer than this to a better one are left out, in parts of the longer side.
_RANK_SPACING = 0.022
# on a map wider than this the plugs of all sites would hide the ground [m]
_WIDE_MAP_M = 6000.0
# The trade's way of writing a bar: 1, 2 or 5 times a power of ten, about a fifth of the width.
_BAR_STEPS = (1.0, 2.0, 5.0)


@dataclass(frozen=True)
class _Frame:
    """The map's window: size in metres and metres per cell."""

    width_m: float
    height_m: float
    cell_m: float

    @property
    def longer_m(self) -> float:
        return max(self.width_m, self.height_m)


def draw_map(screen: Screen, path: str | Path) -> None:
    """Draw what a run found and write it as a PNG.

    Parameters
    ----------
    screen : Screen
        Sites carry `rank` and `gain_m2` among their values.
    path : str or Path
        PNG to write; replaced when it exists.
    """
    Path(path).write_bytes(render_map(screen))


def render_map(screen: Screen, title: str | None = None) -> bytes:
    """Draw what a run found.

    Parameters
    ----------
    screen : Screen
        Sites carry `rank` and `gain_m2` among their values.
    title : str, optional
        Headline; counts the sites when None.

    Returns
    -------
    bytes
        A PNG.
    """
    grid = screen.terrain.grid
    frame = _Frame(grid.cols * grid.cell_m, grid.rows * grid.cell_m, grid.cell_m)
    # an inch per side for legend and margins; the map itself keeps its shape
    scale = 10.0 / frame.longer_m
    size = (max(5.0, frame.width_m * scale) + 1.5, max(4.0, frame.height_m * scale) + 1.6)
    figure = Figure(figsize=size, dpi=130, facecolor="white", layout="constrained")
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    norm = _gain_scale(screen.sites)
    _ground(axes, screen.terrain.z, grid, frame)
    _ditches(axes, screen, frame)
    _pools(axes, screen.sites, frame, norm)
    _plugs(axes, screen.sites, frame)
    _ranks(axes, screen.sites, frame)
    _furniture(axes, frame)
    axes.set_title(title or _headline(screen.sites), loc="left", fontsize=12)
    if screen.sites:
        shown = ScalarMappable(norm=norm, cmap=GAIN_COLOURS)
        bar = figure.colorbar(shown, ax=axes, shrink=0.45, pad=0.01)
        bar.set_label("ground wet again [ha]")
        bar.ax.yaxis.set_major_locator(LogLocator(subs=_BAR_STEPS))
        bar.ax.yaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
        bar.ax.yaxis.set_minor_locator(NullLocator())
    _legend(figure, screen)
    target = io.BytesIO()
    # level 3 packs shaded ground as small as the usual 6 and takes a third of the time; `savefig` draws everything
    # twice, first to lay it out, which drawing does anyway
    canvas.print_png(target, pil_kwargs={"compress_level": 3})
    return target.getvalue()


def _headline(sites: tuple[Site, ...]) -> str:
    """Count what the map shows."""
    gain_ha = round_figures(sum(float(site.values.get("gain_m2") or 0.0) for site in sites) / 10000.0)
    return (
        f"{len(sites)} drained basin{'' if len(sites) == 1 else 's'}, about {gain_ha:g} ha could hold water again"
        "\nscreening from elevation, not a survey or a design"
    )


def _gain_scale(sites: tuple[Site, ...]) -> LogNorm:
    """Colours by the logarithm of the gain [ha], at least a factor of ten wide."""
    gains = [float(site.values.get("gain_m2") or 0.0) / 10000.0 for site in sites]
    top = max([gain for gain in gains if gain > 0.0], default=1.0)
    low = min([gain for gain in gains if gain > 0.0], default=0.1)
    return LogNorm(vmin=min(low, top / 10.0), vmax=top)


def _ground(axes: Axes, z: F32, grid: Grid, frame: _Frame) -> None:
    """Shaded ground, thinned to the picture's pixels; unknown ground stays white."""
    step = max(1, -(-max(grid.shape) // _PIXELS))
    small = thin_out(z, step)
    shade = _grey(relief(small, grid.cell_m * step, frame.longer_m / 6.0))
    extent = (0.0, small.shape[1] * step * frame.cell_m, small.shape[0] * step * frame.cell_m, 0.0)
    axes.imshow(shade, extent=extent, interpolation="bilinear")
    axes.set_xlim(0.0, frame.width_m)
    axes.set_ylim(frame.height_m, 0.0)
    axes.set_xticks([])
    axes.set_yticks([])


def _grey(shade: F32) -> U8:
    """Shade as bytes of red, green, blue and opacity: matplotlib draws numbers by way of eight floats a pixel."""
    out = np.zeros((*shade.shape, 4), np.uint8)
    known = np.isfinite(shade)
    out[..., :3] = np.rint(255.0 * np.where(known, shade, 1.0)).astype(np.uint8)[..., None]
    out[..., 3] = np.where(known, 255, 0)
    return out


def _pools(axes: Axes, sites: tuple[Site, ...], frame: _Frame, norm: LogNorm) -> None:
    """Pools as outlines along cell edges; the largest first, so that none hides another."""
    # rows counted downwards in metres: a grid whose y is minus that
    flat = Grid(1, 1, 0.0, 0.0, frame.cell_m, frame.cell_m, frame.cell_m)
    shown = sorted(sites, key=lambda site: -int(site.pool.mask.sum()))
    paths, colours = [], []
    for site in shown:
        rings = [
            shapely.get_coordinates(ring) * (1.0, -1.0)
            for polygon in shapely.get_parts(outline(site.pool, flat))
            for ring in (polygon.exterior, *polygon.interiors)
        ]
        paths.append(Path2D.make_compound_path(*(Path2D(ring, closed=True) for ring in rings)))
        gain_ha = max(float(site.values.get("gain_m2") or 0.0) / 10000.0, float(norm.vmin or 1e-6))
        colours.append(GAIN_COLOURS(norm(gain_ha))[:3])
    edges = [tuple(0.6 * part for part in colour) for colour in colours]
    faces = [(*colour, 0.72) for colour in colours]
    axes.add_collection(PathCollection(paths, facecolors=faces, edgecolors=edges, linewidths=0.8, zorder=3))


def _ditches(axes: Axes, screen: Screen, frame: _Frame) -> None:
    """Lines that are listed as ditches; natural streams among them lighter."""
    for natural, colour in ((True, STREAM_COLOUR), (False, DITCH_COLOUR)):
        chosen = [ditch for ditch in screen.linework.ditches if ditch.sure and _is_stream(ditch) == natural]
        lines = [_in_metres(ditch.row, ditch.col, frame) for ditch in chosen]
        axes.add_collection(LineCollection(lines, colors=colour, linewidths=1.2, zorder=4))


def _is_stream(ditch: Ditch) -> bool:
    """Whether nobody dug it."""
    return ditch.kind == "natural stream"


def _plugs(axes: Axes, sites: tuple[Site, ...], frame: _Frame) -> None:
    """Plugs as white bars with a dark edge, long enough to be seen; of the first sites only on a wide map."""
    wide = frame.longer_m > _WIDE_MAP_M
    least_m = (0.005 if wide else 0.008) * frame.longer_m
    thin = 0.6 if wide else 1.0
    lines = []
    for site in sites[:_RANKS_SHOWN] if wide else sites:
        for plug in site.plugs:
            line = _in_metres(plug.row, plug.col, frame)
            if len(line) < 2:
                continue
            span = line[-1] - line[0]
            length = float(np.hypot(*span))
            if length == 0.0:
                continue
            middle = 0.5 * (line[0] + line[-1])
            half = 0.5 * max(length, least_m) * span / length
            lines.append(np.stack([middle - half, middle + half]))
    axes.add_collection(LineCollection(lines, colors="black", linewidths=3.4 * thin, zorder=5, capstyle="round"))
    axes.add_collection(LineCollection(lines, colors=PLUG_COLOUR, linewidths=1.8 * thin, zorder=6, capstyle="round"))


def _ranks(axes: Axes, sites: tuple[Site, ...], frame: _Frame) -> None:
    """Rank numbers of the first sites; one that would cover a better one is left out."""
    placed: list[tuple[float, float]] = []
    ranked = [site for site in sites if site.values.get("rank") is not None]
    for site in sorted(ranked, key=lambda one: int(one.values["rank"]))[:_RANKS_SHOWN]:
        rows, cols = np.nonzero(site.pool.mask)
        nearest = np.argmin((rows - rows.mean()) ** 2 + (cols - cols.mean()) ** 2)
        x = (site.pool.col0 + cols[nearest] + 0.5) * frame.cell_m
        y = (site.pool.row0 + rows[nearest] + 0.5) * frame.cell_m
        if any(np.hypot(x - px, y - py) < _RANK_SPACING * frame.longer_m for px, py in placed):
            continue
        placed.append((x, y))
        text = axes.text(x, y, str(site.values["rank"]), ha="center", va="center", fontsize=9, weight="bold", zorder=8)
        text.set_path_effects([withStroke(linewidth=2.5, foreground="white")])


def bar_length_m(width_m: float) -> float:
    """Choose the length of a scale bar.

    Parameters
    ----------
    width_m : float
        Width of the map [m].

    Returns
    -------
    float
        1, 2 or 5 times a power of ten [m], at most a fifth of the width.
    """
    power = 10.0 ** np.floor(np.log10(width_m / 5.0))
    return float(max(step * power for step in _BAR_STEPS if step * power <= width_m / 5.0))


def _furniture(axes: Axes, frame: _Frame) -> None:
    """Scale bar and north arrow, inside the map."""
    length = bar_length_m(frame.width_m)
    unit = frame.longer_m / 100.0
    left, base = 2.0 * unit, frame.height_m - 2.5 * unit
    axes.add_patch(
        Rectangle((left - unit, base - 3.2 * unit), length + 4.5 * unit, 4.7 * unit, fc="white", alpha=0.8, zorder=9)
    )
    for half, colour in ((0, "black"), (1, "white")):
        axes.add_patch(
            Rectangle(
                (left + half * length / 2, base), length / 2, 0.7 * unit, fc=colour, ec="black", lw=0.7, zorder=10
            )
        )
    said = f"{length:.0f} m" if length < 1000 else f"{length / 1000:g} km"
    axes.text(left, base - 0.6 * unit, "0", fontsize=8, ha="center", zorder=10)
    axes.text(left + length, base - 0.6 * unit, said, fontsize=8, ha="center", zorder=10)
    x, y = frame.width_m - 3.0 * unit, 3.0 * unit
    arrow = [(x, y - unit), (x - unit, y + 2.5 * unit), (x, y + 1.7 * unit), (x + unit, y + 2.5 * unit)]
    axes.add_patch(Polygon(arrow, closed=True, fc="black", ec="white", lw=1.0, zorder=10))
    text = axes.text(x, y + 4.8 * unit, "N", ha="center", fontsize=9, weight="bold", zorder=10)
    text.set_path_effects([withStroke(linewidth=2.5, foreground="white")])


def _legend(figure: Figure, screen: Screen) -> None:
    """What the marks mean."""
    entries: list[Line2D | Swatch] = [
        Swatch(fc=GAIN_COLOURS(0.45), ec=GAIN_COLOURS(0.9), label="pool at spill level"),
        Line2D([], [], color=DITCH_COLOUR, lw=1.4, label="ditch"),
        Line2D([], [], color=PLUG_COLOUR, lw=2.0, label="plug at the natural rim",
               path_effects=[withStroke(linewidth=4.0, foreground="black")]),
        Line2D([], [], color="black", marker="$1$", lw=0, label="rank, 1 = look here first"),
    ]  # fmt: skip
    if any(ditch.sure and _is_stream(ditch) for ditch in screen.linework.ditches):
        entries.insert(2, Line2D([], [], color=STREAM_COLOUR, lw=1.4, label="natural stream"))
    if any(np.isnan(screen.terrain.z[own]).any() for own, _, _ in large.strips(screen.terrain.grid.shape)):
        entries.append(Swatch(fc="white", ec="0.6", label="no elevation"))
    # under the map: inside, it hid the sites of a corner
    figure.legend(handles=entries, loc="outside lower center", ncols=len(entries), fontsize=9, frameon=False)


def _in_metres(row: object, col: object, frame: _Frame) -> F64:
    """Stations as (x, y) on the map [m]."""
    return (
        np.column_stack([np.asarray(col, dtype=np.float64) + 0.5, np.asarray(row, dtype=np.float64) + 0.5])
        * frame.cell_m
    )
