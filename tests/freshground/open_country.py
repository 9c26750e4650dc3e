"""Ground that lakes, rivers, the sea and wind left."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from otherground.ground import Stream
from scipy import ndimage

from .fields import (
    Grid,
    around,
    crept,
    dimpled,
    nearest,
    outline,
    rough,
    run_over,
    settled,
    smooth_max,
    spread,
    tilted,
    wander,
    winding,
)  # fmt: skip
from .ice import section_lines, soil
from .place import Place, channel, falling, valley


def lake_bed(rng: Generator, n: int) -> Place:
    """The bed of a glacial lake: almost level, low bars, old scours of drifting ice, shallow pans."""
    toward = float(rng.uniform(0, 2 * np.pi))
    z = tilted(n, float(rng.uniform(0.0005, 0.001)), toward) + float(rng.uniform(0.14, 0.22)) * rough(rng, n, 70, 380)
    rr, cc = np.mgrid[0:n, 0:n].astype(float)
    along = (rr - n / 2) * np.cos(toward) - (cc - n / 2) * np.sin(toward)
    across = (rr - n / 2) * np.sin(toward) + (cc - n / 2) * np.cos(toward)
    for _ in range(int(rng.integers(2, 5))):  # bars
        off = float(rng.uniform(-0.5, 0.5)) * n + 40 * np.interp(along, np.linspace(-n, n, 300), wander(rng, 300, 10))
        keep = np.clip(0.6 + 0.8 * np.interp(along, np.linspace(-n, n, 300), wander(rng, 300, 7)), 0, 1)
        z += float(rng.uniform(0.3, 0.6)) * keep * np.exp(-(((across - off) / float(rng.uniform(18, 40))) ** 2))
    for _ in range(int(rng.integers(6, 12))):  # scours: a groove with a low bank on each side
        line = winding(rng, n, float(rng.uniform(0, 2 * np.pi)), float(rng.uniform(500, 1200)), 0.35)
        length = int(rng.uniform(300, 1400))
        start = int(rng.integers(0, max(len(line) - length, 1)))
        far, who = nearest(n, line[start : start + length])
        end = np.sin(np.pi * np.clip((who + 1) / min(length, len(line)), 0, 1)) ** 0.5
        half = float(rng.uniform(9, 20))
        z += float(rng.uniform(0.15, 0.35)) * end * (0.6 * np.exp(-(((far - 1.6 * half) / (0.6 * half)) ** 2)))
        z -= float(rng.uniform(0.2, 0.45)) * end * np.exp(-((far / half) ** 4))
    for at in spread(rng, n, 130, 6):
        half = float(rng.lognormal(3.4, 0.35))
        w, dr, dc = around(n, at, half * 2.6)
        u = outline(rng, dr, dc, (half, half * float(rng.uniform(0.5, 1))), float(rng.uniform(0, np.pi)), 0.2)
        z[w] -= float(rng.uniform(0.35, 0.9)) / (1 + u**4)
    z = crept(settled(crept(dimpled(rng, z, 190), 5), 0.9), 4) + soil(rng, n, 0.012)
    return Place(z, (), toward, section_lines(rng), 2.6)


def beach_ridges(rng: Generator, n: int) -> Place:
    """Strand lines of a lake that fell by steps: sandy ridges side by side, wet swales closed by spits."""
    toward = float(rng.uniform(0, 2 * np.pi))
    slope = float(rng.uniform(0.0014, 0.003))
    z = tilted(n, slope, toward)
    rr, cc = np.mgrid[0:n, 0:n].astype(float)
    along = (rr - n / 2) * np.cos(toward) - (cc - n / 2) * np.sin(toward)
    across = (rr - n / 2) * np.sin(toward) + (cc - n / 2) * np.cos(toward)
    shore = 70 * np.interp(along, np.linspace(-n, n, 200), wander(rng, 200, 22))
    at, knots = -0.75 * n, np.linspace(-n, n, 300)
    while at < 0.75 * n:
        own = shore + at + 14 * np.interp(along, knots, wander(rng, 300, 8))
        crest = float(rng.uniform(0.8, 1.8)) * np.clip(
            1 + 0.35 * np.interp(along, knots, wander(rng, 300, 6)), 0.1, 1.7
        )
        d = across - own
        wide = np.where(d > 0, float(rng.uniform(11, 17)), float(rng.uniform(18, 32)))
        z += crest * np.exp(-((d / wide) ** 2))
        at += float(rng.uniform(55, 140))
    for _ in range(int(n * n / 21000)):  # spits across swales
        p = (float(rng.uniform(0, n)), float(rng.uniform(0, n)))
        w, dr, dc = around(n, p, 150)
        turn = toward + float(rng.choice([-1, 1])) * float(rng.uniform(0.7, 1.3))
        u = outline(rng, dr, dc, (float(rng.uniform(35, 60)), float(rng.uniform(14, 26))), turn, 0.1)
        z[w] += float(rng.uniform(0.35, 0.8)) * np.exp(-(u**2))
    z += 0.2 * rough(rng, n, 50, 300)
    z = crept(settled(crept(dimpled(rng, z, 190), 4), 1.1), 4) + soil(rng, n, 0.012)
    return Place(z, (), toward, toward if rng.random() < 0.5 else section_lines(rng), 3.0)


def bay_country(rng: Generator, n: int) -> Place:
    """A flat coastal plain with oval bays, all turned one way, their sandy rims highest to the south-east."""
    toward = float(rng.uniform(0, 2 * np.pi))
    lean = np.pi / 4 + float(rng.normal(0, 0.08))  # long axis from north-west to south-east
    z = tilted(n, float(rng.uniform(0.0008, 0.0016)), toward) + float(rng.uniform(0.2, 0.32)) * rough(rng, n, 120, 700)
    for at in spread(rng, n, 115, 6):
        if rng.random() < 0.2:
            continue
        half = float(np.clip(rng.lognormal(3.7, 0.5), 18, 130))
        w, dr, dc = around(n, at, half * 2.2)
        turn = lean + float(rng.normal(0, 0.06))
        u = outline(rng, dr, dc, (half, half * float(rng.uniform(0.55, 0.75))), turn, 0.05)
        side = np.cos(np.arctan2(dr, dc) - np.pi / 4 + float(rng.normal(0, 0.2)))
        rim = float(rng.uniform(0.2, 0.65)) * np.clip(0.55 + 0.5 * side, 0.05, None)
        z[w] += rim * np.exp(-(((u - 1.15) * half / float(rng.uniform(13, 22))) ** 2))
        floor = z[w] - float(rng.uniform(0.35, 1.15))
        inner = 1 / (1 + u**9)
        z[w] = z[w] * (1 - inner) + (0.6 * floor + 0.4 * float(np.median(floor[u < 1.05]))) * inner
    z = crept(dimpled(rng, z, 190), 4)
    streams: tuple[Stream, ...] = ()
    if rng.random() < 0.6:
        z, stream = valley(rng, z, toward, float(rng.uniform(1.6, 2.4)), 35, 0.03)
        streams = (stream,)
    z = crept(settled(z, 1.2), 4) + soil(rng, n, 0.012)
    return Place(z, streams, toward, float(rng.uniform(-0.6, 0.6)))


def dune_sheet(rng: Generator, n: int) -> Place:
    """Blown sand over a plain: dunes with arms upwind, pans where wind dug down to the water table."""
    toward, wind = float(rng.uniform(0, 2 * np.pi)), float(rng.normal(0.6, 0.3))
    table = tilted(n, float(rng.uniform(0.001, 0.002)), toward) + 0.18 * rough(rng, n, 250, 900)
    sand = 0.55 + 0.42 * rough(rng, n, 50, 240, 1.8, 0.8)
    for at in spread(rng, n, 135, 6):
        size = float(rng.uniform(28, 62))
        w, dr, dc = around(n, at, size * 3)
        u = (dr * np.sin(wind) + dc * np.cos(wind)) / size
        v = (dr * np.cos(wind) - dc * np.sin(wind)) / size * float(rng.uniform(0.9, 1.3))
        v = v + 0.2 * np.sin(1.3 * u + float(rng.uniform(0, 6)))
        high = float(rng.uniform(0.7, 2.2))
        bow = u - 0.9 + 0.75 * v**2  # the nose is downwind, the arms trail
        nose = np.exp(-np.where(bow > 0, (bow / 0.22) ** 2, (bow / 0.5) ** 2)) * np.exp(-((v / 1.25) ** 6))
        sand[w] += high * nose * np.clip(0.5 * u + 0.95, 0, 1)
        sand[w] -= 0.8 * high * np.exp(-(((u + 0.25) / 0.9) ** 2) - (v / 0.62) ** 2)
    z = table + smooth_max(crept(sand, 4) - 0.5, -0.5 + 0.16 * rough(rng, n, 80, 300), 0.1)
    z = crept(settled(dimpled(rng, z, 200), 1.1), 3.5) + soil(rng, n, 0.012)
    streams: tuple[Stream, ...] = ()
    if rng.random() < 0.5:
        z, stream = valley(rng, z, toward, float(rng.uniform(1.6, 2.2)), 22, 0.05)
        streams = (stream,)
    return Place(z, streams, toward, section_lines(rng), 3.0)


def _levee(rng: Generator, z: Grid, stream: Stream, high_m: float, wide_m: float) -> Grid:
    far, who = nearest(len(z), stream.at)
    k = len(stream.at)
    crest = high_m * np.clip(1 + 0.22 * wander(rng, k, 220), 0.35, 1.5)
    return np.asarray(z + ndimage.gaussian_filter(crest[who], 10, mode="nearest") * np.exp(-far / wide_m))


def _splays(rng: Generator, z: Grid, stream: Stream, every_m: float) -> Grid:
    """Fans of sand that floods laid behind the levee, and the natural channel through some of them."""
    n, k = len(z), 0
    out = z.copy()
    while (k := k + int(rng.uniform(0.6, 1.6) * every_m * 2)) < len(stream.at) - 40:
        ahead = stream.at[min(k + 20, len(stream.at) - 1)] - stream.at[max(k - 20, 0)]
        side = float(rng.choice([-1, 1]))
        axis = np.arctan2(ahead[0], ahead[1]) + side * float(rng.uniform(0.9, 1.5))
        p, long = stream.at[k], float(rng.uniform(130, 300))
        w, dr, dc = around(n, (float(p[0]), float(p[1])), long * 1.3)
        u = (dr * np.sin(axis) + dc * np.cos(axis)) / long
        v = (dr * np.cos(axis) - dc * np.sin(axis)) / long
        v = v + 0.08 * np.sin(9 * u + float(rng.uniform(0, 6)))
        fan = np.exp(-((v / (0.08 + 0.25 * np.clip(u, 0, 1))) ** 2)) / (1 + np.exp((u - 0.75) / 0.07)) * (u > -0.02)
        out[w] += float(rng.uniform(0.35, 0.75)) * ndimage.gaussian_filter(fan, 4)
        if rng.random() < 0.4:  # a flood channel that fades out on the fan
            swath = np.exp(-((v * long / 5.0) ** 2)) * np.clip(0.8 - u, 0, 0.6) * (u > -0.02)
            out[w] -= float(rng.uniform(0.5, 1.2)) * ndimage.gaussian_filter(swath, 3)
    return out


def backswamp(rng: Generator, n: int) -> Place:
    """A river between levees, low flats behind them cut up by splays and old channels, a terrace at the far side."""
    toward = float(rng.uniform(0, 2 * np.pi))
    z = tilted(n, float(rng.uniform(0.0004, 0.0008)), toward) + 0.3 * rough(rng, n, 60, 380, 1.8)
    at = winding(rng, n, toward, float(rng.uniform(260, 420)), float(rng.uniform(0.6, 1.0)))
    river = Stream(at, falling(rng, z, at, float(rng.uniform(1.7, 2.4))))
    for _ in range(4):  # courses the river has left
        old = winding(
            rng, n, toward + float(rng.normal(0, 0.5)), float(rng.uniform(180, 330)), float(rng.uniform(0.7, 1.2))
        )
        far, who = nearest(n, old)
        plug = np.clip(0.6 + 0.6 * wander(rng, len(old), 110), 0.15, 1.3)[who]
        z += 0.5 * np.exp(-far / 55) - plug * float(rng.uniform(0.8, 1.3)) * np.exp(
            -((far / float(rng.uniform(11, 18))) ** 4)
        )
    z = crept(
        _splays(rng, _levee(rng, z, river, float(rng.uniform(0.8, 1.4)), float(rng.uniform(70, 120))), river, 230), 5
    )
    z = settled(dimpled(rng, z, 180), 1.1)
    z = channel(rng, crept(z, 4), at, river.bed_m) + soil(rng, n, 0.012)
    return Place(z, (river,), toward, float(rng.uniform(-0.5, 0.5)), 3.0)


def _bar(rng: Generator, z: Grid, at: tuple[float, float], toward: float) -> Grid:
    """Ground with one more point bar: each flood's ridge is where the bend then stood, moving ahead and widening."""
    r0, grow, last = float(rng.uniform(50, 90)), float(rng.uniform(0.0, 0.4)), float(rng.uniform(110, 260))
    w, dr, dc = around(len(z), at, r0 + last * 1.4)
    if min(dr.shape) < 40:
        return z
    axis = toward + float(rng.choice([-1, 1])) * float(rng.normal(1.2, 0.4))
    bend = 9 * rough(rng, max(dr.shape), 60, 260, 1.6)[: dr.shape[0], : dr.shape[1]]
    u = dr * np.sin(axis) + dc * np.cos(axis) + bend
    v = dr * np.cos(axis) - dc * np.sin(axis) + bend[::-1, ::-1]
    root = (u + grow * r0) ** 2 - (1 - grow**2) * (u**2 + v**2 - r0**2)
    t = np.where(root > 0, ((u + grow * r0) - np.sqrt(np.clip(root, 0, None))) / (1 - grow**2), 999)
    t = np.where(u**2 + v**2 < r0**2, np.minimum(t, 0.0), np.where(t < 0, 999, t))
    inside = ndimage.gaussian_filter((t < last).astype(float), 5)
    wave = float(rng.uniform(22, 40))
    phase = 2 * np.pi * (t / wave) + 1.2 * rough(rng, max(dr.shape), 90, 300)[: dr.shape[0], : dr.shape[1]]
    fade = np.clip(0.6 + 0.5 * rough(rng, max(dr.shape), 50, 200)[: dr.shape[0], : dr.shape[1]], 0.05, 1.3)
    form = (
        float(rng.uniform(0.2, 0.45)) * np.where(t < last, np.cos(phase), 0) * fade
        + 0.25
        - 0.3 * np.clip(t / last, 0, 1)
    )
    out, base = z.copy(), 0.3 * z[w] + 0.7 * ndimage.gaussian_filter(z[w], 30)
    out[w] = z[w] * (1 - inside) + (base + ndimage.gaussian_filter(form, 2.5)) * inside
    if rng.random() < 0.55:  # the bend that was then cut off
        plug = np.clip(0.7 + 0.5 * np.sin(np.arctan2(v, u) * 1.5 + float(rng.uniform(-1, 1))), 0.1, 1.1)
        half = float(rng.uniform(8, 14))
        out[w] -= float(rng.uniform(0.8, 1.7)) * ndimage.gaussian_filter(plug * (np.abs(t - last) < half), 4)
    return out


def meander_belt(rng: Generator, n: int) -> Place:
    """Point bars with ridges and swales, cut-off bends half silted up, the river of today with its levee."""
    toward = float(rng.uniform(0, 2 * np.pi))
    z = tilted(n, float(rng.uniform(0.0006, 0.001)), toward) + 0.15 * rough(rng, n, 100, 500)
    lobes = list(spread(rng, n + 200, 235, 4))
    for p in lobes:  # younger bars lie over older ones
        z = _bar(rng, z, (p[0] - 100, p[1] - 100), toward)
    z += 0.16 * rough(rng, n, 40, 160, 1.5)
    at = winding(rng, n, toward, float(rng.uniform(300, 440)), float(rng.uniform(0.8, 1.15)))
    river = Stream(at, falling(rng, z, at, float(rng.uniform(1.7, 2.5))))
    z = _levee(rng, crept(z, 4), river, float(rng.uniform(0.3, 0.8)), float(rng.uniform(35, 70)))
    z = channel(rng, crept(settled(dimpled(rng, z, 230), 1.1), 4), at, river.bed_m) + soil(rng, n, 0.012)
    return Place(z, (river,), toward, float(rng.uniform(-0.5, 0.5)), 3.0)


def loess_upland(rng: Generator, n: int) -> Place:
    """A loess plain not yet reached by its valleys: pans that wind dug, each with a low lunette on the lee side."""
    toward = float(rng.uniform(0, 2 * np.pi))
    z = tilted(n, float(rng.uniform(0.0015, 0.003)), toward) + 0.35 * rough(rng, n, 160, 900)
    z, stream = valley(rng, z, toward, float(rng.uniform(2.4, 3.4)), 26, 0.05)
    z = run_over(z, 26, 0.012)
    lee = float(rng.normal(0.9, 0.15))
    far, _ = nearest(n, stream.at)
    for at in spread(rng, n, 128, 6):
        if far[min(int(at[0]), n - 1), min(int(at[1]), n - 1)] < 75:
            continue
        half = float(np.clip(rng.lognormal(3.5, 0.4), 16, 85))
        w, dr, dc = around(n, at, half * 2.6)
        u = outline(rng, dr, dc, (half, half * float(rng.uniform(0.6, 0.95))), float(rng.uniform(0, np.pi)), 0.16)
        side = np.clip(np.cos(np.arctan2(dr, dc) - lee), 0, 1) ** 1.5
        z[w] += float(rng.uniform(0.3, 0.8)) * side * np.exp(-(((u - 1.35) / 0.28) ** 2))
        z[w] -= float(rng.uniform(0.4, 1.1)) / (1 + u**5)
    z = crept(settled(crept(dimpled(rng, z, 200), 5), 1.1), 4) + soil(rng, n, 0.012)
    return Place(channel(rng, z, stream.at, stream.bed_m), (stream,), toward, section_lines(rng), 3.0)
