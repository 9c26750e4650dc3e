"""The kinds of landscape, each a set of options; what a kind does not name stays as on the rolling till plain."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wetscout.errors import InputError


@dataclass(frozen=True)
class Options:
    """How a landscape is made. Pairs are ranges drawn from; lengths and levels [m], slopes [m/m], shares 0-1.

    Ranges of depth, area, bed, side slope, spoil, fill, furrow and noise: invented county, common practice, no source.
    """

    # natural ground
    fall: tuple[float, float] = (0.002, 0.0045)
    relief_m: tuple[float, float, float] = (0.65, 0.26, 0.1)
    relief_length_m: tuple[float, float, float] = (700.0, 300.0, 120.0)
    small_relief_m: float = 0.02
    basins_per_km2: float = 13.0
    basin_ha: tuple[float, float] = (0.05, 2.6)
    basin_depth_m: tuple[float, float] = (0.2, 1.2)
    deep_share: float = 0.08
    rim_m: tuple[float, float] = (0.1, 0.5)
    nested_share: float = 0.25
    swales: tuple[int, int] = (2, 4)
    streams: int = 0
    valley_m: tuple[float, float] = (1.2, 2.6)
    levee: bool = False
    # ditches
    collectors: tuple[int, int] = (2, 3)
    collector_depth_m: tuple[float, float] = (1.1, 1.7)
    collector_low: float = 1.0
    collectors_shun_basins: bool = False
    drained: float = 0.65
    partial: float = 0.08
    crooked: float = 0.15
    chain: float = 0.15
    bed_m: tuple[float, float] = (0.5, 1.6)
    collector_bed_m: tuple[float, float] = (1.0, 2.5)
    side: tuple[float, float] = (1.3, 2.0)
    old: float = 0.15
    old_side: tuple[float, float] = (3.0, 6.0)
    spoil_m: tuple[float, float] = (0.1, 0.35)
    spoil_sides: tuple[float, float, float] = (0.4, 0.3, 0.3)
    # roads
    roads: tuple[int, int] = (1, 2)
    road_fill_m: tuple[float, float] = (0.3, 1.0)
    curved: float = 0.5
    road_at_rim: float = 0.4
    roadside: float = 0.6
    # other
    ponds: tuple[int, int] = (0, 2)
    ponds_joined: float = 0.2
    furrows: float = 0.4
    noise_m: tuple[float, float] = (0.03, 0.05)
    roughness: float = 0.35
    # covered drains, a share of the basins without an open drain; what was done to drained ones afterwards
    covered: float = 0.0
    graded: float = 0.0
    graded_m: tuple[float, float] = (0.1, 0.4)
    graded_width_m: tuple[float, float] = (10.0, 30.0)
    filled: float = 0.0
    filled_m: tuple[float, float] = (0.1, 0.3)
    partly_filled: float = 0.3
    levelled: float = 0.0
    levelled_by: tuple[float, float] = (0.15, 0.5)
    # chains of basins on one ditch; second cuts in a rim; ditches that end in the pool they begin in
    chains: tuple[int, int] = (0, 0)
    second_cut: float = 0.0
    dead_ditch: float = 0.0
    # of the basins left alone: wetlands, and wetlands ploughed in dry years; the rest are dry hollows
    wetlands: tuple[float, float] = (0.45, 0.05)


_TILL = Options()
_LAKE = replace(
    _TILL,
    fall=(0.0005, 0.001),
    relief_m=(0.15, 0.08, 0.05),
    basins_per_km2=11.0,
    basin_depth_m=(0.2, 0.75),
    deep_share=0.0,
    rim_m=(0.05, 0.25),
    swales=(1, 3),
    collectors=(2, 4),
)

_COVERED = replace(
    _TILL,
    drained=0.15,
    covered=0.8,
    graded=0.7,
    filled=0.6,
    levelled=0.25,
    basin_ha=(0.08, 2.6),
    basin_depth_m=(0.35, 1.2),
    basins_per_km2=16.0,
    collectors=(2, 3),
    collector_low=0.3,
    crooked=0.0,
)

_KINDS: dict[str, Options] = {
    "rolling till plain": _TILL,
    "flat lake plain": _LAKE,
    "old ditches": replace(_TILL, old=1.0, spoil_sides=(0.7, 0.3, 0.0)),
    "old ditches on lake plain": replace(_LAKE, old=0.8, drained=0.75),
    "crooked outlets": replace(_TILL, crooked=0.8, chain=0.05),
    "spoil banks": replace(_TILL, spoil_sides=(0.05, 0.45, 0.5), spoil_m=(0.2, 0.35), old=0.05),
    "roads over ditches": replace(
        _TILL, roads=(4, 5), road_fill_m=(0.3, 1.5), curved=0.6, roadside=0.5, road_at_rim=1.0
    ),
    "roadside ditches": replace(_TILL, roads=(3, 4), roadside=1.0, drained=0.35, crooked=0.05),
    "roads on lake plain": replace(_LAKE, roads=(3, 4), road_fill_m=(0.4, 1.5), roadside=0.7, road_at_rim=0.8),
    "stream valley": replace(_TILL, streams=1, collectors=(1, 2), swales=(3, 5), roads=(1, 2)),
    "natural levee": replace(_LAKE, streams=1, levee=True, collectors=(0, 1), valley_m=(1.4, 2.2), roads=(0, 1)),
    "dug ponds": replace(_TILL, ponds=(8, 12), ponds_joined=0.35),
    "shallow basins": replace(_TILL, basin_depth_m=(0.15, 0.5), deep_share=0.0, rim_m=(0.05, 0.2), basins_per_km2=16.0),
    "small basins": replace(_TILL, basin_ha=(0.04, 0.25), basins_per_km2=22.0, nested_share=0.1),
    "collectors through basins": replace(_TILL, collectors=(4, 5), collector_low=3.0, chain=0.25),
    "chain on a passing ditch": replace(_TILL, chain=0.8, collectors=(1, 2), crooked=0.1),
    "all drained": replace(_TILL, drained=1.0, partial=0.0, collectors=(3, 4)),
    "few drained": replace(_TILL, drained=0.2, partial=0.1),
    "none drained": replace(_TILL, drained=0.0, partial=0.0, collectors=(0, 0), roads=(2, 3), streams=1, ponds=(2, 4)),
    "none drained on lake plain": replace(
        _LAKE, drained=0.0, partial=0.0, collectors=(0, 0), roads=(2, 3), ponds=(1, 3), furrows=0.9
    ),
    "ditches but none drained": replace(
        _TILL,
        drained=0.0,
        partial=0.0,
        collectors=(3, 4),
        collectors_shun_basins=True,
        basins_per_km2=8.0,
        ponds=(1, 3),
    ),
    "noise and furrows": replace(_TILL, furrows=1.0, noise_m=(0.055, 0.06), roughness=0.5),
    "deep basins": replace(_TILL, basin_depth_m=(0.5, 1.2), deep_share=0.35, basins_per_km2=9.0, rim_m=(0.2, 0.8)),
    "steep till": replace(_TILL, fall=(0.004, 0.008), relief_m=(1.5, 0.5, 0.2), streams=1, rim_m=(0.2, 0.7)),
    "everything": replace(
        _TILL, streams=1, roads=(2, 4), ponds=(2, 4), crooked=0.3, old=0.3, chain=0.3, furrows=0.6, noise_m=(0.03, 0.06)
    ),
    "covered drains": _COVERED,
    "covered drains on lake plain": replace(
        _LAKE, drained=0.2, covered=0.75, graded=0.6, filled=0.5, levelled=0.2, basin_depth_m=(0.3, 0.8),
        collectors=(3, 4),
    ),
    "covered drains in levelled fields": replace(_COVERED, levelled=0.8, basin_depth_m=(0.5, 1.2)),
    "covered drains and whole hollows": replace(_COVERED, covered=0.3, drained=0.15, wetlands=(0.4, 0.03)),
    "graded rims and filled floors": replace(
        _TILL, drained=0.8, graded=0.8, filled=0.7, partly_filled=0.5, basin_depth_m=(0.4, 1.2)
    ),
    "chains along one ditch": replace(_TILL, chains=(2, 3), drained=0.5, basins_per_km2=16.0),
    "several cuts in one rim": replace(_TILL, second_cut=0.8, drained=0.8),
    "ditches inside whole basins": replace(_TILL, drained=0.25, dead_ditch=0.7),
}  # fmt: skip

KINDS: tuple[str, ...] = tuple(_KINDS)


def options_of(kind: str) -> Options:
    """Look up the options of a kind.

    Parameters
    ----------
    kind : str
        One of `KINDS`.

    Returns
    -------
    Options

    Raises
    ------
    InputError
        When there is no such kind.
    """
    if kind not in _KINDS:
        raise InputError(f"no kind of invented landscape is called {kind!r}; there are: {', '.join(KINDS)}")
    return _KINDS[kind]
