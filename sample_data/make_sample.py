"""Makes the sample county corner: `python make_sample.py [FOLDER]` writes dem.tif and four small layers.

Everything is invented: ground, ditches, roads, people. Nothing here is read from anywhere; the numbers follow from the
tables below and one seed. Distances in metres from the north-west corner, x eastwards, y southwards.
"""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import rasterio.shutil
import shapely
from numpy.typing import NDArray
from rasterio.io import MemoryFile
from rasterio.transform import from_origin
from scipy.ndimage import gaussian_filter, gaussian_filter1d
from scipy.spatial import cKDTree

F = NDArray[np.float64]

SEED = 20260611
WIDTH, HEIGHT = 1300, 1200
CRS, WEST, NORTH = "EPSG:26915", 431_000.0, 4_782_000.0
NOISE_M = 0.03

# name: x, y, half axes a and b, angle, depth, height of the rim over the land around; all [m] or degrees
BASINS = {
    "head": (500, 115, 66, 46, 20, 0.80, 0.20),
    "heron": (325, 330, 78, 56, -15, 0.90, 0.25),
    "through": (600, 440, 52, 40, 60, 0.50, 0.15),
    "east": (855, 290, 72, 50, 35, 0.80, 0.20),
    "roadside": (900, 512, 50, 36, 0, 0.65, 0.15),
    "west": (420, 800, 62, 46, 10, 0.70, 0.20),
    "crooked": (195, 690, 46, 60, 0, 0.60, 0.20),
    "little": (838, 722, 25, 21, 40, 0.45, 0.15),
    "pothole": (140, 1040, 52, 40, 25, 0.60, 0.20),
    "kettle": (770, 110, 42, 36, -30, 0.55, 0.20),
}

# name: bed width, side slope, spoil height, spoil on (left, right), then vertices x, y, depth under the wide land
DITCHES = {
    "collector": (1.6, 1.6, 0.25, (1, 0), [(500, 115, 1.15), (548, 250, 1.2), (585, 400, 1.3), (640, 560, 1.4),
                  (690, 760, 1.5), (800, 900, 1.6), (930, 990, 1.8), (1010, 1010, 2.4), (1075, 1020, 2.65)]),
    "east collector": (1.4, 1.6, 0.25, (1, 1), [(1085, 140, 1.0), (1095, 350, 1.3), (1105, 560, 1.4),
                       (1150, 760, 1.7), (1165, 850, 2.3), (1175, 905, 2.65)]),
    "heron ditch": (1.0, 1.5, 0.25, (1, 1), [(325, 330, 1.1), (440, 322, 1.15), (566, 318, 1.25)]),
    "east ditch": (1.0, 1.5, 0.20, (0, 1), [(855, 290, 1.0), (960, 322, 1.1), (1094, 345, 1.25)]),
    "roadside ditch": (0.8, 1.5, 0.0, (0, 0), [(900, 512, 0.85), (902, 640, 1.05), (884, 800, 1.25), (868, 947, 1.6)]),
    "west ditch": (1.0, 1.5, 0.20, (1, 0), [(420, 800, 0.9), (560, 792, 1.1), (697, 769, 1.45)]),
    "crooked outlet": (1.2, 2.5, 0.0, (0, 0), [(195, 690, 0.8), (250, 800, 0.9), (300, 905, 0.95), (420, 985, 1.0),
                       (560, 1040, 1.1), (760, 1045, 1.3), (925, 987, 1.75)]),
    "little ditch": (0.7, 1.4, 0.0, (0, 0), [(838, 722, 0.62), (800, 790, 0.85), (764, 854, 1.5)]),
}  # fmt: skip
CROOKED = {"crooked outlet": (9.0, 130.0)}  # sideways swing and its length [m]

# name, class, fill height, vertices
ROADS = (
    ("Plover Road", "county gravel", 0.75, [(-20, 604), (300, 600), (700, 612), (1320, 606)]),
    ("Sedge Lane", "township gravel", 0.60, [(988, -20), (984, 200), (990, 420), (988, 606)]),
)

STREAM = [(1330, 800), (1250, 850), (1180, 900), (1120, 980), (1060, 1060), (990, 1120), (930, 1230)]
STREAM_SWING = (12.0, 105.0)
POND = (430, 555, 21.0, 13.0, 1.7)  # x, y, half sides, depth

OWNERS = (
    ("Orla Fenwick", "12 Plover Road", "Tamarrow"),
    ("Dunmarsh Farms LLC", "PO Box 90", "Quillbeck"),
    ("Estate of J. Petraskel", "c/o 4 Mill Row", "Quillbeck"),
    ("Bram and Ilse Vandersloe", "77 Sedge Lane", "Tamarrow"),
    ("Tamarrow County Road Dept", "1 Courthouse Square", "Tamarrow"),
    ("Hollin Creek Grazing Trust", "310 Weir Street", "Ashby Fen"),
)
# parcel rectangles x0, y0, x1, y1 and owner; the roads lie in them, as they often do
PARCELS = (
    (0, 0, 400, 604, 0), (400, 0, 700, 330, 1), (400, 330, 700, 608, 2), (700, 0, 986, 400, 1), (700, 400, 986, 608, 3),
    (986, 0, 1300, 606, 3), (0, 604, 300, 900, 0), (0, 900, 300, 1200, 2), (300, 604, 640, 1200, 5),
    (640, 608, 790, 1200, 1), (790, 608, 1020, 1200, 5), (1020, 606, 1300, 1200, 3), (380, 520, 480, 590, 4),
)  # fmt: skip


def wide_land(x: F, y: F) -> F:
    """Ground without anything local [m]: 0.2 % south-east, two long waves, the valley left out."""
    waves = 0.18 * np.sin(x / 210.0 + 0.6) * np.cos(y / 260.0) + 0.12 * np.cos(x / 140.0 - y / 190.0)
    return 352.0 - 0.0021 * (0.6 * x + 0.8 * y) + waves


def along(vertices: list[tuple[float, ...]], step: float = 0.5) -> F:
    """Stations every `step` along vertices; further columns are carried along."""
    points = np.asarray(vertices, dtype=np.float64)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points[:, :2], axis=0).T))])
    where = np.linspace(0.0, at[-1], int(at[-1] / step) + 1)
    return np.column_stack([np.interp(where, at, column) for column in points.T])


def swing(line: F, side: float, length: float) -> F:
    """Let a line wander sideways; both ends stay."""
    way = np.gradient(line[:, :2], axis=0)
    way /= np.hypot(*way.T)[:, None]
    at = np.arange(len(line)) * 0.5
    ends = np.clip(np.minimum(at, at[-1] - at) / 60.0, 0.0, 1.0)
    shift = side * ends * (np.sin(2 * np.pi * at / length) + 0.4 * np.sin(2 * np.pi * at / (0.43 * length) + 1.0))
    out = line.copy()
    out[:, 0] += shift * way[:, 1]
    out[:, 1] -= shift * way[:, 0]
    return out


def ditch_line(name: str) -> F:
    """Stations of a ditch: x, y, bed level [m], falling all the way."""
    line = along(DITCHES[name][4])
    if name in CROOKED:
        line = swing(line, *CROOKED[name])
    bed = np.minimum.accumulate(wide_land(line[:, 0], line[:, 1]) - line[:, 2])
    # a graded bed: 0.2 mm a metre even where the land is level
    bed = bed - 0.0002 * 0.5 * np.arange(len(bed))
    return np.column_stack([line[:, :2], bed])


def to_line(x: F, y: F, line: F, reach: float = 60.0) -> tuple[F, NDArray[np.int64], F]:
    """Distance to a line [m], nearest station, and side (-1 left, +1 right of its way); infinite beyond the reach."""
    tree = cKDTree(line[:, :2])
    away, near = tree.query(np.column_stack([x.ravel(), y.ravel()]), distance_upper_bound=reach)
    near = np.minimum(near, len(line) - 1)
    way = np.gradient(line[:, :2], axis=0)[near]
    cross = way[:, 0] * (y.ravel() - line[near, 1]) - way[:, 1] * (x.ravel() - line[near, 0])
    return away.reshape(x.shape), near.reshape(x.shape), np.sign(cross).reshape(x.shape)


def natural_ground(x: F, y: F, random: np.random.Generator) -> F:
    """Ground before anybody dug: wide land, small relief, basins with rims, a stream in its valley."""
    z = wide_land(x, y)
    small = gaussian_filter(random.standard_normal(x.shape), 28.0)
    z += 0.06 * small / small.std()
    for name, (cx, cy, a, b, angle, depth, rim) in BASINS.items():
        turn = np.radians(angle)
        u = ((x - cx) * np.cos(turn) + (y - cy) * np.sin(turn)) / a
        v = (-(x - cx) * np.sin(turn) + (y - cy) * np.cos(turn)) / b
        # the shore wanders: no pond of this county is an ellipse
        bearing = np.arctan2(v, u)
        r = np.hypot(u, v) * (1.0 + 0.10 * np.sin(2 * bearing + len(name)) + 0.06 * np.sin(5 * bearing + cx))
        level = float(wide_land(np.float64(cx), np.float64(cy)))
        bowl = level - depth * np.clip(1.0 - r**2, 0.0, None) ** 0.8
        # the land falls in from uphill; the rim stands on the downhill side and holds the water
        downhill = 0.5 + 0.5 * np.cos(np.arctan2(y - cy, x - cx) - np.arctan2(0.8, 0.6))
        # a beach all round, so that the shore is a line and not a matter of centimetres
        bowl += 0.30 * np.clip(r - 1.0, 0.0, 0.25)
        bowl += rim * downhill * np.exp(-(((r - 1.2) / 0.22) ** 2))
        keep = np.clip((r - 1.15) / 0.6, 0.0, 1.0)
        keep = keep * keep * (3.0 - 2.0 * keep)
        z = keep * z + (1.0 - keep) * bowl
    stream = swing(along(STREAM), *STREAM_SWING)
    # the corners of the table are no shape for a stream
    stream = gaussian_filter1d(stream, 30.0, axis=0, mode="nearest")
    bottom = np.minimum.accumulate(wide_land(stream[:, 0], stream[:, 1]) - 2.3) - 0.0005 * np.arange(len(stream))
    away, near, _ = to_line(x, y, stream, 250.0)
    valley = np.exp(-((away / 48.0) ** 2))
    return (1.0 - valley) * z + valley * bottom[near] - 0.5 * np.exp(-((away / 3.0) ** 2))


def dig(z: F, x: F, y: F) -> F:
    """Cut the ditches, lay their soil beside them, dig the pond."""
    for name, (width, side, spoil, sides, _) in DITCHES.items():
        line = ditch_line(name)
        away, near, hand = to_line(x, y, line)
        bed = line[near, 2]
        half = width / 2.0 + side * np.clip(z - bed, 0.0, None)
        heap = spoil * np.exp(-(((away - half - 1.4) / 1.1) ** 2))
        z = z + np.where(hand < 0, sides[0], sides[1]) * heap * (z - bed > 0.4)
        z = np.minimum(z, bed + np.clip(away - width / 2.0, 0.0, None) / side)
    px, py, a, b, depth = POND
    inside = np.minimum(a - np.abs(x - px), b - np.abs(y - py))
    return z - np.clip(inside / 2.0, 0.0, depth)


def build_roads(z: F, x: F, y: F) -> F:
    """Heap up the roads; where a ditch passes beneath, the DEM shows fill and no pipe."""
    level = gaussian_filter(z, 40.0)
    for _, _, fill, vertices in ROADS:
        away, _, _ = to_line(x, y, along([(float(a), float(b)) for a, b in vertices]))
        crown = level + fill - np.clip(away - 3.6, 0.0, None) / 2.0
        z = np.where(away < 14.0, np.maximum(z, crown), z)
    return z


def dem(random: np.random.Generator) -> NDArray[np.float32]:
    """The elevation model a survey from the air would have brought home."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    z = build_roads(dig(natural_ground(x, y, random), x, y), x, y)
    field = (x < 560) & (y > 640)
    z += np.where(field, 0.012 * np.sin(2 * np.pi * x / 3.8), 0.0)
    z += NOISE_M * random.standard_normal(z.shape)
    # whole 128ths of a metre (0.8 cm) leave trailing zero bits, and the file a third of its size
    return (np.round(z * 128.0) / 128.0).astype(np.float32)


def on_map(points: NDArray[np.float64] | list[tuple[float, float]]) -> F:
    """Local x, y to map coordinates."""
    local = np.asarray(points, dtype=np.float64)[:, :2]
    return np.column_stack([WEST + local[:, 0], NORTH - local[:, 1]])


def culverts() -> gpd.GeoDataFrame:
    """Where a ditch crosses a road: a line from ditch to ditch, 1 m past both toes of the fill."""
    rows = []
    for ditch in DITCHES:
        line = shapely.LineString(ditch_line(ditch)[:, :2])
        for road, _, _, vertices in ROADS:
            for point in shapely.get_parts(line.intersection(shapely.LineString(vertices))):
                if point.is_empty:
                    continue
                at = line.project(point)
                ends = [line.interpolate(at + reach) for reach in (-8.0, 8.0)]
                rows.append(
                    {
                        "road": road,
                        "diameter_m": 0.6,
                        "geometry": shapely.LineString(on_map([(p.x, p.y) for p in ends])),
                    }
                )
    return gpd.GeoDataFrame(rows, crs=CRS)


def parcels() -> gpd.GeoDataFrame:
    """Parcels with invented owners; the pond's lot is cut out of the land around it."""
    boxes = [shapely.box(*row[:4]) for row in PARCELS]
    boxes = [box.difference(boxes[-1]) if box is not boxes[-1] else box for box in boxes]
    rows = []
    for number, (box, row) in enumerate(zip(boxes, PARCELS, strict=True), start=1):
        owner, street, town = OWNERS[row[4]]
        shape = shapely.transform(box, on_map)
        rows.append({"parcel_id": f"TM-{number:03}", "owner": owner, "mail_address": street, "mail_city": town,
                     "mail_zip": f"{900 + row[4]:05}", "geometry": shape})  # fmt: skip
    return gpd.GeoDataFrame(rows, crs=CRS)


def soils() -> gpd.GeoDataFrame:
    """Two soils: a wet one over the old basins, a drier one around them, with the survey's offset of some metres."""
    wet = [shapely.Point(cx + 9, cy - 6).buffer(1.15 * (a + b) / 2) for cx, cy, a, b, *_ in BASINS.values()]
    hollow = shapely.transform(shapely.union_all(wet), on_map)
    county = shapely.transform(shapely.box(0, 0, WIDTH, HEIGHT), on_map)
    rows = [
        {
            "mukey": "900001",
            "muname": "Wadmoor silty clay loam, depressional",
            "hydclprs": 95,
            "drclassdcd": "Very poorly drained",
        },
        {
            "mukey": "900002",
            "muname": "Ansgar loam, 1 to 4 percent slopes",
            "hydclprs": 6,
            "drclassdcd": "Moderately well drained",
        },
    ]
    return gpd.GeoDataFrame(rows, geometry=[hollow & county, county - hollow], crs=CRS)


def roads() -> gpd.GeoDataFrame:
    """Road centre lines, cut to the county corner."""
    rows = [
        {"name": name, "class": kind, "geometry": shapely.LineString(on_map(vertices))}
        for name, kind, _, vertices in ROADS
    ]
    return gpd.clip(gpd.GeoDataFrame(rows, crs=CRS), shapely.transform(shapely.box(0, 0, WIDTH, HEIGHT), on_map))


def write_dem(z: NDArray[np.float32], path: Path) -> None:
    """Write a cloud-optimised GeoTIFF that says its CRS and that heights are metres."""
    profile = {"driver": "GTiff", "height": HEIGHT, "width": WIDTH, "count": 1, "dtype": "float32", "crs": CRS,
               "nodata": -9999.0, "transform": from_origin(WEST, NORTH, 1.0, 1.0)}  # fmt: skip
    with MemoryFile() as memory:
        with memory.open(**profile) as raster:
            raster.write(z, 1)
            raster.units = ("metre",)
            raster.update_tags(AREA_OR_POINT="Area")
        with memory.open() as raster:
            rasterio.shutil.copy(
                raster, path, driver="COG", compress="DEFLATE", predictor="YES", level=9, blocksize=256
            )


def main(folder: Path) -> None:
    """Write the sample county into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    write_dem(dem(np.random.default_rng(SEED)), folder / "dem.tif")
    for name, layer in (("roads", roads()), ("culverts", culverts()), ("parcels", parcels()), ("soils", soils())):
        (folder / f"{name}.gpkg").unlink(missing_ok=True)
        layer.to_file(folder / f"{name}.gpkg", layer=name, driver="GPKG")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
