"""Names that stay: a site is called after its place, and keeps its name when the screen runs again.

The rules are the contract's: metre coordinates of the floor cell and two letters hashed from the spill cell; on a
re-run an old id passes to the new site with pool overlap >= 0.5, else plug within 15 m.
"""

from __future__ import annotations

import hashlib
import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from wetscout.errors import InputError
from wetscout.grid import Grid
from wetscout.outputs.layers import plane_crs
from wetscout.outputs.shapes import outline
from wetscout.records import Basin, Screen, Site

# the contract's two thresholds: overlap as intersection over union of the pools, and metres between plugs
OVERLAP = 0.5
PLUG_NEAR_M = 15.0

# no i, l, o: they are misread on a printed sheet
LETTERS = "abcdefghjkmnpqrstuvwxyz"
_PAIRS = len(LETTERS) ** 2


@dataclass(frozen=True)
class _Place:
    """What a name is made from: floor in whole metres, its two letters, and the order among equals."""

    floor: tuple[int, int]
    pair: int
    order: tuple[float, int, int]


def assign_ids(
    screen: Screen, previous: gpd.GeoDataFrame | None = None, previous_plugs: gpd.GeoDataFrame | None = None
) -> tuple[Screen, dict[str, int]]:
    """Give sites, plugs and basins their lasting ids; call before ranking, which breaks ties by id.

    Parameters
    ----------
    screen : Screen
        With any ids that are unique among sites and among basins. `values` of a site or basin may hold `_floor_row`,
        `_floor_col`, `_spill_row`, `_spill_col` [cells]; without them the lowest cell of the pool and the site's
        natural spill point serve.
    previous : GeoDataFrame or None
        Layer `sites` of an older result of the same ground.
    previous_plugs : GeoDataFrame or None
        Layer `plugs` of the same older result.

    Returns
    -------
    screen : Screen
        With new ids everywhere: sites, plugs, basins, `parent_id` and other values that name one; `run` gains `ids`.
    counts : dict
        `kept`, `new`, `lost`: sites that kept an old id, got a new one, and old ids that no site took.

    Raises
    ------
    InputError
        Two sites carry the same id on the way in.
    """
    places = {site.site_id: _site_place(site, screen) for site in screen.sites}
    if len(places) != len(screen.sites):
        raise InputError(f"{len(screen.sites)} sites carry {len(places)} ids; each needs one of its own before naming")
    passed = {} if previous is None else _pass_on(screen, previous, previous_plugs)
    names = _names(places, passed)
    basins = _basin_names(screen)
    sites = tuple(_rename_site(site, names, basins) for site in screen.sites)
    old = set() if previous is None else {str(item) for item in previous["site_id"]}
    kept = len(old & set(names.values()))
    counts = {"kept": kept, "new": len(names) - kept, "lost": len(old) - kept}
    return (
        replace(
            screen,
            sites=sites,
            basins=tuple(_rename_basin(basin, names, basins) for basin in screen.basins),
            not_offered=tuple(_rename_basin(basin, names, basins) for basin in screen.not_offered),
            wet_ground=_name_ground(screen),
            run={**screen.run, "ids": counts},
        ),
        counts,
    )


def place_name(grid: Grid, floor: tuple[float, float], spill: tuple[float, float]) -> str:
    """Name of a place when nothing else stands there: `x_y_ab`.

    Parameters
    ----------
    grid : Grid
        The whole raster's grid.
    floor, spill : (row, col)
        Floor and spill cell [cells].

    Returns
    -------
    str
    """
    return _name(_metres(grid, *floor), _pair(_metres(grid, *spill)))


def _metres(grid: Grid, row: float, col: float) -> tuple[int, int]:
    """Whole metres of a cell's centre, the same whatever corner the raster starts at."""
    x, y = grid.xy(np.array([float(row)]), np.array([float(col)]))
    unit = grid.cell_m / (0.5 * (grid.dx + grid.dy))
    # a centre on a whole metre must not fall to the metre below for a last bit: 1 mm is below any cell size
    return math.floor(float(x[0]) * unit + 0.001), math.floor(float(y[0]) * unit + 0.001)


def _pair(spill: tuple[int, int]) -> int:
    """Number of the letter pair hashed from the spill cell."""
    return int.from_bytes(hashlib.sha256(f"{spill[0]}_{spill[1]}".encode()).digest()[:8], "big") % _PAIRS


def _name(floor: tuple[int, int], number: int, letters: int = 2) -> str:
    """Metres of the floor cell and the letters of a number, counted from "aa" and round again at the last."""
    end = ""
    for _ in range(letters):
        number, digit = divmod(number, len(LETTERS))
        end = LETTERS[digit] + end
    return f"{floor[0]}_{floor[1]}_{end}"


def _free_name(place: _Place, taken: set[str]) -> str:
    """First name nobody has from the place's own pair on; a third letter once all 529 pairs of a floor are gone.

    In a drained polder more than 700 pools, each inside the next, share the one deepest cell of the main canal.
    """
    names = (
        _name(place.floor, place.pair + step, letters)
        for letters in itertools.count(2)
        for step in range(len(LETTERS) ** letters)
    )
    return next(name for name in names if name not in taken)


def _site_place(site: Site, screen: Screen) -> _Place:
    natural = [point for point in site.spill_points if point[0] == "natural"]
    spill = (natural[0][1], natural[0][2]) if natural else None
    return _place(site.values, site, spill, screen)


def _place(values: Mapping[str, Any], item: Site | Basin, spill: tuple[int, int] | None, screen: Screen) -> _Place:
    grid = screen.terrain.grid
    floor = _cell(values, "floor") or _lowest(item, screen)
    at = _cell(values, "spill") or spill or floor
    level = values.get("spill_m")
    order = (math.inf if level is None or math.isnan(level) else float(level), int(at[0]), int(at[1]))
    return _Place(_metres(grid, *floor), _pair(_metres(grid, *at)), order)


def _cell(values: Mapping[str, Any], name: str) -> tuple[float, float] | None:
    row, col = values.get(f"_{name}_row"), values.get(f"_{name}_col")
    return None if row is None or col is None else (float(row), float(col))


def _lowest(item: Site | Basin, screen: Screen) -> tuple[float, float]:
    """Lowest known cell of a pool, the first in row, col order."""
    patch = item.pool
    mask = patch.mask
    rows, cols = mask.shape
    ground = screen.terrain.z[patch.row0 : patch.row0 + rows, patch.col0 : patch.col0 + cols]
    known = np.where(mask & np.isfinite(ground), ground, np.inf)
    row, col = divmod(int(np.argmin(known)), cols)
    return float(patch.row0 + row), float(patch.col0 + col)


def _names(places: Mapping[str, _Place], passed: Mapping[str, str]) -> dict[str, str]:
    """Final names: those passed on first, then the rest in (spill, row, col) order, each taking the next free pair."""
    names = dict(passed)
    taken = set(passed.values())
    for key in sorted(places, key=lambda item: (places[item].order, places[item].floor, item)):
        if key not in names:
            names[key] = _free_name(places[key], taken)
            taken.add(names[key])
    return names


def _basin_names(screen: Screen) -> dict[str, str]:
    places: dict[str, _Place] = {}
    for basin in (*screen.basins, *screen.not_offered):
        places.setdefault(basin.basin_id, _place(basin.values, basin, None, screen))
    return _names(places, {})


def _name_ground(screen: Screen) -> tuple[Basin, ...]:
    """Wet ground named like basins, by its first cell."""
    names = _names({piece.basin_id: _place(piece.values, piece, None, screen) for piece in screen.wet_ground}, {})
    return tuple(replace(piece, basin_id=names[piece.basin_id]) for piece in screen.wet_ground)


def _rename_site(site: Site, names: Mapping[str, str], basins: Mapping[str, str]) -> Site:
    new = names[site.site_id]
    plugs = tuple(replace(plug, plug_id=f"{new}-{plug.order}", site_id=new) for plug in site.plugs)
    return replace(site, site_id=new, plugs=plugs, values=_rename_values(site.values, names, basins))


def _rename_basin(basin: Basin, names: Mapping[str, str], basins: Mapping[str, str]) -> Basin:
    return replace(basin, basin_id=basins[basin.basin_id], values=_rename_values(basin.values, names, basins))


def _rename_values(values: Mapping[str, Any], names: Mapping[str, str], basins: Mapping[str, str]) -> dict[str, Any]:
    """Values with every id they name renamed: `parent_id`, `basin_id` name basins, `site_id` and `drains` sites."""
    new = dict(values)
    for key in ("parent_id", "basin_id"):
        if new.get(key) is not None:
            new[key] = basins.get(str(new[key])) or names.get(str(new[key]))
    if new.get("site_id") is not None:
        new["site_id"] = names.get(str(new["site_id"]))
    if isinstance(new.get("drains"), str):
        new["drains"] = ",".join(sorted(names.get(item.strip(), item.strip()) for item in new["drains"].split(",")))
    return new


def _pass_on(screen: Screen, previous: gpd.GeoDataFrame, plugs: gpd.GeoDataFrame | None) -> dict[str, str]:
    """Which new site takes which old id: by pool, then by plug, best pairs first."""
    grid = screen.terrain.grid
    crs = plane_crs(grid)
    old_pools = _in_crs(previous, crs)
    new_ids = [site.site_id for site in screen.sites]
    pools = np.array([outline(site.pool, grid) for site in screen.sites], dtype=object)
    passed = _best(_overlaps(pools, new_ids, old_pools), {})
    if plugs is None or len(plugs) == 0:
        return passed
    unit = grid.cell_m / (0.5 * (grid.dx + grid.dy))
    lines = [(site.site_id, _plug_line(site, grid)) for site in screen.sites]
    return _best(_distances(lines, _in_crs(plugs, crs), unit), passed)


def _in_crs(layer: gpd.GeoDataFrame, crs: Any) -> gpd.GeoDataFrame:
    """The old layer without empty shapes, in the working CRS."""
    known = layer[layer.geometry.notna()]
    return known if crs is None or known.crs is None or known.crs == crs else known.to_crs(crs)


def _plug_line(site: Site, grid: Grid) -> Any:
    made = []
    for plug in site.plugs:
        x, y = grid.xy(np.asarray(plug.row, dtype=np.float64), np.asarray(plug.col, dtype=np.float64))
        if len(x) > 1:
            made.append(shapely.LineString(np.column_stack([x, y])))
    return shapely.MultiLineString(made)


Pair = tuple[float, str, str]


def _overlaps(pools: Any, new_ids: Sequence[str], old: gpd.GeoDataFrame) -> list[Pair]:
    """Pairs (badness, old id, new id) whose pools share at least half of what they cover together."""
    shapes = np.array([shapely.make_valid(item) for item in old.geometry.array], dtype=object)
    if len(shapes) == 0 or len(pools) == 0:
        return []
    names = [str(item) for item in old["site_id"]]
    pairs = []
    tree = shapely.STRtree(shapes)
    for new, before in zip(*tree.query(pools, predicate="intersects"), strict=True):
        shared = shapely.area(shapely.intersection(pools[new], shapes[before]))
        share = shared / (shapely.area(pools[new]) + shapely.area(shapes[before]) - shared)
        if share >= OVERLAP:
            pairs.append((-float(share), names[before], new_ids[new]))
    return pairs


def _distances(lines: Iterable[tuple[str, Any]], old: gpd.GeoDataFrame, unit: float) -> list[Pair]:
    """Pairs (metres, old id, new id) whose plugs lie within the contract's 15 m."""
    shapes = np.array(old.geometry.array, dtype=object)
    names = [str(item) for item in old["site_id"]]
    if len(shapes) == 0:
        return []
    tree = shapely.STRtree(shapes)
    pairs = []
    for new, line in lines:
        if not line.is_empty:
            for before in tree.query(line, predicate="dwithin", distance=PLUG_NEAR_M / unit):
                pairs.append((float(shapely.distance(line, shapes[before])) * unit, names[before], new))
    return pairs


def _best(pairs: Sequence[Pair], passed: Mapping[str, str]) -> dict[str, str]:
    """Add the best pairs to those passed already; each id and each site once, ties by old id, then by place."""
    result = dict(passed)
    gone = set(result.values())
    for _, before, new in sorted(pairs):
        if before not in gone and new not in result:
            result[new] = before
            gone.add(before)
    return result
