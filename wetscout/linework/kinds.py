"""What kind of line it is, and its record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from wetscout.kernels import whole_line
from wetscout.linework.attributes import Profile, bands_of, direction_run, half_chord, straight_over
from wetscout.linework.sides import sides_on
from wetscout.linework.streams import RULED
from wetscout.records import Ditch
from wetscout.settings.linework import LineworkSettings

# share of the length with a ridge on one side that makes it spoil
SPOIL_SHARE = 0.4
# share of a line that must lie away from roads and other lines to be judged by that part alone
AWAY_SHARE = 0.25
# what was dug stands no farther off its chords: 3.4 m at most of 210 dug lines, see `_blunt_bends` [m]
OUTLET_BOW_M = 3.5
# what the depth changes (90 % less 10 %) over what the banks climb: 0.4 and 0.8 in two outlets, 0.2 in a stream one
# bank of which was read wrong
DEEPER_SHARE = 0.3
# ground that tells a valley [m]
VALLEY_BAND_M = (15.0, 30.0)


@dataclass(frozen=True)
class Signs:
    """What decides the kind of a line.

    Attributes
    ----------
    saturation : float
        Median near depth over far depth.
    depth, climb, width, length : float
        [m].
    straight : float
        0-1.
    one_sided : float
        Difference of the bank heights over the higher one.
    behind_m : float
        How far the ground behind the higher bank goes on rising [m]: a road falls off again, a slope does not. 0
        in cells too wide to tell.
    road_beside : bool
        An embankment runs along it.
    valley_m : float
        How much deeper the line is against ground 15-30 m out than against its own banks [m].
    uneven : float
        Spread of the depth along the line (90 % less 10 %) over its median, away from roads and other lines.
    winding : bool
        See `streams.winds`.
    bow : float
        How far the line stands off the chords it spans [m]: see `attributes.bow`.
    rise : float
        How far the ground behind the banks goes on rising, on the side where it rises less [m].
    ruled : bool
        It consists of long straight legs: see `streams.is_ruled`.
    notch_m, notch_saturation : float
        Near depth [m] and saturation where the line is deepest, on a third of it: a short cut through a rim may lie in
        a broad low on both sides.
    sides : str
        See `sides.sides_of`; `near` in wide cells.
    """

    saturation: float
    depth: float
    climb: float
    width: float
    length: float
    straight: float
    one_sided: float
    road_beside: bool
    valley_m: float
    uneven: float
    winding: bool = False
    bow: float = 0.0
    rise: float = 0.0
    behind_m: float = 0.0
    ruled: bool = False
    notch_m: float = 0.0
    notch_saturation: float = 0.0
    sides: str = "near"


def kind_of(s: Signs, settings: LineworkSettings) -> str:
    """Name the kind of a line.

    Parameters
    ----------
    s : Signs
    settings : LineworkSettings

    Returns
    -------
    str
        One of the words of `records.Ditch.kind`. Saturation decides between dug and natural (0.9-1.0 against
        0.25-0.5 in own trials); climbing banks outrank it, since a deepened outlet keeps its bends. A stream may have
        cut a sharp channel too: it is nearly as deep at one end as at the other (spread / median 0.1-0.33 in invented
        streams, 0.4 and more in drains, which must be deepest at the rim) and lies in a valley, or winds all the way:
        between levees the ground beside it is the highest of its flood plain.
    """
    if not np.isfinite(s.saturation):
        return "unclear"
    # no road is told from a stub: its ends lie in other cuts and on other ground
    sided = s.one_sided > settings.roadside_ratio and s.length >= settings.min_length_m and s.climb < settings.climb_m
    sided = sided and s.behind_m <= settings.sided_rise_m
    # a short drain may wander and be even; its banks stand right at its edge, those of a stream rise on
    sharp = s.saturation > settings.winding_saturation and s.rise < settings.bend_rise_m
    stream = s.winding and (s.length >= settings.winding_sure_m or not sharp) and not _cuts_rim(s, settings)
    if s.road_beside or stream or sided:
        return "natural stream" if stream and not s.road_beside else "roadside"
    dug = s.saturation >= settings.seed_saturation
    climbs = s.climb >= settings.climb_m
    if not dug and not climbs:
        return _blunt(s, settings)
    bends = _blunt_bends(s, settings) or (not dug and _bends_in_valley(s, settings))
    if not s.ruled and (_river(s, settings) or (bends and not _cuts_rim(s, settings))):
        return "natural stream"
    even = s.uneven <= settings.stream_uneven and s.length >= settings.stream_length_m
    return _in_valley(s, settings) if even and s.valley_m >= settings.stream_valley_m else "ditch"


def _blunt(s: Signs, settings: LineworkSettings) -> str:
    """A line whose banks lie back and do not climb."""
    if s.depth < 0.6 and s.width >= 6.0 and s.straight >= 0.95 and s.saturation >= 0.5:
        return "grassed waterway"
    if is_main_drain(s, settings):
        return "straightened stream"
    return "natural stream" if s.saturation < 0.6 and not _notched(s, settings) else "unclear"


def is_main_drain(s: Signs, settings: LineworkSettings) -> bool:
    """Whether a long straight line has steep sides across a wide bed.

    From the middle of its bed it is too blunt to be listed, and 20 m wide it passes for a gully; no gully or valley
    runs straight for 200 m.

    Parameters
    ----------
    s : Signs
    settings : LineworkSettings

    Returns
    -------
    bool
    """
    return s.sides == "far" and s.length >= settings.stream_length_m and _straightened(s, settings)


def _cuts_rim(s: Signs, settings: LineworkSettings) -> bool:
    """Whether the banks of a line climb downstream by most of its depth though no slope rises behind them.

    A crooked outlet was dug through a rim; the banks of a stream fall with it (climb 0.36 of the depth at most on 24
    invented ones), or climb where it touches the side of its valley, which then rises by half of the depth and more.
    """
    climbs = s.climb >= max(settings.climb_m, settings.bend_climb * s.depth)
    # the bed falls, so the depth changes with the banks: one bank read wrong at the raster's edge had "climbed" 1.8 m
    deeper = s.uneven * s.depth >= DEEPER_SHARE * s.climb
    return climbs and deeper and s.rise < 0.5 * s.depth and s.bow < OUTLET_BOW_M


def _river(s: Signs, settings: LineworkSettings) -> bool:
    """A channel far wider and deeper than a farm ditch, with banks that lie back, in a valley of its own.

    Seven invented rivers were 17 to 28 m wide, 2.6 to 3.8 m deep and 0.39 to 0.69 sharp; silted ditches of four makers
    14 m, 1.1 m and 0.66 and more. It is cut into its plain, and plugs are not for it.
    """
    large = s.width >= settings.river_width_m and s.depth >= settings.river_depth_m and s.length >= settings.river_m
    return large and s.saturation < settings.river_saturation and s.valley_m >= 0.25 * s.depth


def _bends_in_valley(s: Signs, settings: LineworkSettings) -> bool:
    """A long line, not sharp, that bends all the way and from which the ground rises by more than half its depth.

    Banks of a stream in a narrow valley climb wherever it touches the slope: two gullies in loess, 0.4 and 0.7 m.
    """
    bends = s.length >= settings.stream_length_m and s.bow >= settings.bend_m
    return bends and s.saturation < settings.ruler_saturation and s.rise >= 0.5 * s.depth


def _blunt_bends(s: Signs, settings: LineworkSettings) -> bool:
    """A long line that bends all the way and whose banks lie back: crooked ditches are as sharp as straight ones.

    Of 257 invented lines of 150 m and more those of this bend had a median saturation of 0.94 and more where dug (16),
    0.42 to 0.85 where streams, save for sharp ones, which are even. Two ditches of different depth that met at a corner
    were traced as one bent line of 200 m, an uneven one. Of 210 dug lines of 60 m and more none as blunt stands more
    than 3.4 m off its chords; where a line is bent still more its banks must not climb as those of a cut do.
    """
    if s.saturation >= settings.blunt_saturation:
        return False
    bends = s.length >= settings.winding_length_m and s.bow >= settings.blunt_bow_m
    loops = s.length >= settings.tight_length_m and s.bow >= settings.tight_blunt_m
    loops = loops and s.climb <= settings.bend_climb * s.depth
    return loops or (bends and s.uneven <= settings.loops_uneven)


def _notched(s: Signs, settings: LineworkSettings) -> bool:
    """Whether a short line is cut sharply where it is deepest."""
    short = s.length < settings.stream_length_m
    return short and s.notch_m >= settings.notch_m and s.notch_saturation >= settings.seed_saturation


def _in_valley(s: Signs, settings: LineworkSettings) -> str:
    """A long sharp line of even depth with lower ground along it.

    A curve of 150 m radius is 0.98 straight over 100 m: what was straightened runs in straight lines, with corners.
    """
    if _straightened(s, settings) or s.bow < RULED * settings.bend_m:
        return "straightened stream"
    return "natural stream" if s.rise >= 0.0 and not _cuts_rim(s, settings) else "ditch"


def _straightened(s: Signs, settings: LineworkSettings) -> bool:
    """Whether a line is straighter than any valley and bends nowhere."""
    return s.straight >= settings.ruler_straightness and s.bow < settings.bend_m


@dataclass(frozen=True)
class Around:
    """What lies beside a line.

    Attributes
    ----------
    climb : float
        Climb of its lower bank downstream [m].
    road_beside : bool
        An embankment runs along it.
    disturbed : bool (n,)
        Stations beside a road or another line: their banks are fill, or that line's cut.
    winding, ruled : bool
        See `streams.winds` and `streams.is_ruled`.
    """

    climb: float
    road_beside: bool
    disturbed: NDArray[np.bool_]
    winding: bool
    ruled: bool


def signs_of(z: NDArray[np.float32], p: Profile, around: Around, cell_m: float, settings: LineworkSettings) -> Signs:
    """Gather what decides the kind.

    Parameters
    ----------
    z : float32 (rows, cols)
        Smoothed ground [m].
    p : Profile
    around : Around
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    Signs
    """
    courses = (*straight_over(cell_m), half_chord(cell_m, settings.bend_half_m))
    # cells of 2 m show too little of the deepest third: a line in the woods of the Dutch core was taken for a drain
    fine = cell_m <= settings.notch_cell_m
    saturation, depth, valley, sided, behind, width, cells, straight, uneven, off, rise, notch, sharp = (
        whole_line.signs(
            z,
            p.points,
            (p.bed, p.left, p.right),
            (p.half_left, p.half_right, p.rise),
            around.disturbed,
            direction_run(cell_m),
            bands_of(cell_m, settings.band_from_m, settings.band_to_m),
            bands_of(cell_m, *VALLEY_BAND_M)[:2],
            courses,
            # a ditch that ends at a road has the road's fill for one bank there
            (AWAY_SHARE, fine),
        )
    )
    signs = Signs(
        saturation=saturation,
        depth=depth,
        climb=around.climb,
        width=width,
        length=cells * cell_m,
        straight=straight,
        one_sided=sided,
        road_beside=around.road_beside,
        valley_m=valley if isfinite(valley) else 0.0,
        uneven=uneven,
        winding=around.winding,
        bow=off * cell_m,
        rise=rise,
        behind_m=behind if fine and isfinite(behind) else 0.0,
        ruled=around.ruled,
        notch_m=notch,
        notch_saturation=sharp,
    )
    # wide cells have no shoulders to tell by
    return replace(signs, sides=sides_on(z, p, (depth, signs.length), cell_m)) if fine else signs


def spoil_word(left: float, right: float) -> str:
    """`none`, `one side` or `both sides` from the shares of length with a ridge.

    Parameters
    ----------
    left, right : float
        Share of the length with a ridge on that side, 0-1.

    Returns
    -------
    str
    """
    n = int(left >= SPOIL_SHARE) + int(right >= SPOIL_SHARE)
    return ("none", "one side", "both sides")[n]


def ditch_of(number: int, p: Profile, signs: Signs, kind: str, sure: bool) -> Ditch:
    """Record of a line.

    Parameters
    ----------
    number : int
        Its id.
    p : Profile
        Stations with bed, banks and width.
    signs : Signs
        What the judgement rests on.
    kind : str
        Word of `Ditch.kind`.
    sure : bool
        Listed in the layer `ditches`.

    Returns
    -------
    Ditch
    """
    return Ditch(
        ditch_id=number,
        row=p.points[:, 0].copy(),
        col=p.points[:, 1].copy(),
        bed_m=p.bed,
        bank_low_m=p.low,
        bank_high_m=p.high,
        top_width_m=p.top_width,
        kind=kind,
        depth_m=signs.depth,
        bank_climb_m=signs.climb,
        straightness=signs.straight,
        spoil=spoil_word(p.spoil_left, p.spoil_right),
        sure=sure,
        wide_bed=signs.sides == "far",
    )
