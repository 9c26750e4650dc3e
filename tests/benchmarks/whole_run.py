"""Screen an invented mosaic of many cells and tell time and memory; the run is ended when it passes a limit.

    python tests/benchmarks/whole_run.py --side 4000 --limit 2048 --folder /some/disk
    python tests/benchmarks/whole_run.py --side 16000 --limit 2048 --hard --folder /some/disk --twice

With --twice it runs with two random tile sizes and 1 and 2 workers, and every layer of both files must have the same
digest; before that it tells how many pits a tile hands on to the whole, which may not grow faster than its perimeter.
With --hard the system itself refuses memory of the run's own beyond the limit (Linux, RLIMIT_DATA; pages of mapped
files can be given back and are watched only). `.ci/scheduled` runs the second line.

The ground is one invented landscape and its mirror images side by side, so heights go on without a step, as a VRT.
Memory is the sum of PSS over the process tree ten times a second: own pages, and pages of mapped files.
"""

from __future__ import annotations

import argparse
import json
import resource
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

MB = 1 << 20
PIECE = 2000


def mosaic(folder: Path, side: int, kind: str, seed: int) -> Path:
    """A VRT of side x side cells of 1 m."""
    import rasterio
    from rasterio.transform import from_origin

    from wetscout.prove import make_landscape

    folder.mkdir(parents=True, exist_ok=True)
    names = [folder / f"{kind.replace(' ', '-')}-{seed}-{k}.tif" for k in range(4)]
    if not all(name.exists() for name in names):
        land = make_landscape(kind, seed, 1.0, float(PIECE)).z.astype(np.float32)
        # a gap in each piece
        land[300:340, 500:620] = np.nan
        turned = (land, land[:, ::-1], land[::-1], land[::-1, ::-1])
        profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "crs": "EPSG:26915", "nodata": -9999.0,
                   "width": PIECE, "height": PIECE, "tiled": True, "compress": "deflate", "predictor": 3}  # fmt: skip
        for name, z in zip(names, turned, strict=True):
            with rasterio.open(name, "w", transform=from_origin(500000, 4800000, 1, 1), **profile) as out:
                out.write(np.where(np.isnan(z), -9999.0, z).astype(np.float32), 1)
        wkt = rasterio.open(names[0]).crs.to_wkt()
        (folder / "crs.wkt").write_text(wkt)
    wkt = (folder / "crs.wkt").read_text().replace('"', "&quot;")
    parts = []
    for i in range(-(-side // PIECE)):
        for j in range(-(-side // PIECE)):
            h, w = min(PIECE, side - i * PIECE), min(PIECE, side - j * PIECE)
            name = names[2 * (i % 2) + j % 2]
            parts.append(
                f'<ComplexSource><SourceFilename relativeToVRT="1">{name.name}</SourceFilename>'
                "<SourceBand>1</SourceBand>"
                f'<SrcRect xOff="0" yOff="0" xSize="{w}" ySize="{h}"/>'
                f'<DstRect xOff="{j * PIECE}" yOff="{i * PIECE}" xSize="{w}" ySize="{h}"/><NODATA>-9999</NODATA>'
                "</ComplexSource>"
            )
    target = folder / f"mosaic-{side}.vrt"
    target.write_text(
        f'<VRTDataset rasterXSize="{side}" rasterYSize="{side}"><SRS>{wkt}</SRS>'
        "<GeoTransform>500000, 1, 0, 4800000, 0, -1</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue>{"".join(parts)}</VRTRasterBand>'
        "</VRTDataset>"
    )
    return target


def memory(pid: int) -> tuple[int, int]:
    """PSS of a process tree, and the part of it that is no file [bytes]."""
    total = own = 0
    for one in (pid, *children(pid)):
        try:
            lines = Path(f"/proc/{one}/smaps_rollup").read_text().splitlines()
        except OSError:
            continue
        told = {line.split(":")[0]: int(line.split()[1]) * 1024 for line in lines[1:]}
        total += told["Pss"]
        own += told["Pss_Anon"]
    return total, own


def children(pid: int) -> list[int]:
    """All descendants."""
    try:
        tasks = [task / "children" for task in Path(f"/proc/{pid}/task").iterdir()]
        near = [int(k) for task in tasks for k in task.read_text().split()]
    except OSError:
        return []
    return [*near, *(k for one in near for k in children(one))]


def stages(process: subprocess.Popen[str], told: dict[str, list[float]], limit: int) -> tuple[int, int]:
    """Watch a run to its end; the most memory, and the most that is no file."""
    most = [0, 0]
    begin = time.perf_counter()
    trace = Path(told_file(process))
    while process.poll() is None:
        now, own = memory(process.pid)
        stage = trace.read_text().strip() if trace.exists() else "start"
        had = told.setdefault(stage, [time.perf_counter() - begin, 0, 0])
        had[1], had[2] = max(had[1], now), max(had[2], own)
        most = [max(most[0], now), max(most[1], own)]
        if limit and now > limit:
            process.kill()
            tell(told)
            raise SystemExit(f"ended in {stage}: {now / MB:.0f} MB, the limit is {limit / MB:.0f} MB")
        time.sleep(0.1)
    return most[0], most[1]


def tell(told: dict[str, list[float]]) -> None:
    """Print when each stage began and the most memory in it."""
    for stage, (at, all_, mine) in told.items():
        print(f"{at:8.1f} s  {all_ / MB:7.0f} MB, no file {mine / MB:7.0f} MB  {stage}")


def told_file(process: subprocess.Popen[str]) -> str:
    """Where the run writes its stage."""
    return str(process.args[-1])  # type: ignore[index]


def carried(side: int, seed: int) -> int:
    """Passes that a tile of raw ground hands on to the whole: the middle one of three, 4 cm noise, gently rolling."""
    from scipy import ndimage

    from wetscout.basins import graph

    rng = np.random.default_rng(seed)
    rough = rng.normal(size=(3 * side // 50 + 2, side // 50 + 2))
    z = (0.3 * ndimage.zoom(rough, 50, order=1)[: 3 * side, :side]).astype(np.float32)
    z += rng.normal(0.0, 0.04, z.shape).astype(np.float32)
    left = []
    join_strip = graph.join_strip

    def told(*args: object) -> tuple[np.ndarray, ...]:
        left.append(join_strip(*args))  # type: ignore[arg-type]
        return left[-1]

    graph.join_strip = told  # type: ignore[assignment]
    try:
        with graph.Crew(1) as crew:
            graph.build(z, tuple((k * side, (k + 1) * side) for k in range(3)), crew)
    finally:
        graph.join_strip = join_strip
    return int(left[1][2].size)


def check_carried(sides: tuple[int, ...] = (300, 600, 1200, 2400), seed: int = 3) -> None:
    """Tell what tiles of several sizes hand on; ended when that grows faster than the perimeter."""
    counts = [carried(side, seed) for side in sides]
    for side, count in zip(sides, counts, strict=True):
        print(
            f"a tile of {side} cells a side hands on {count} passes, {count / (4 * side):.2f} a cell of its perimeter"
        )
    for k in range(1, len(sides)):
        # one draw of noise is worth some per cent
        if counts[k] > 1.1 * counts[k - 1] * sides[k] / sides[k - 1]:
            raise SystemExit(f"what tiles hand on grows faster than their perimeter: {sides[k]} cells, {counts[k]}")


CHILD = """
import sys
from pathlib import Path
from wetscout.engine.progress import Silent
from wetscout.pipeline import screen
dem, out, tile, workers, trace = sys.argv[1:]
class Told(Silent):
    def stage(self, name):
        Path(trace).write_text(name)
screen(dem, out, overwrite=True, tile=int(tile), workers=int(workers), progress=Told())
"""


def main() -> None:
    """Run it."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--side", type=int, default=4000, help="cells along a side")
    ask.add_argument("--tile", type=int, default=2048)
    ask.add_argument("--workers", type=int, default=2)
    ask.add_argument("--limit", type=int, default=0, help="most memory [MB], 0 none")
    ask.add_argument("--hard", action="store_true", help="the system refuses own memory beyond the limit")
    ask.add_argument("--twice", action="store_true", help="with two tile sizes; compare the files")
    ask.add_argument("--kind", default="everything")
    ask.add_argument("--seed", type=int, default=7)
    ask.add_argument("--folder", type=Path, required=True)
    given = ask.parse_args()
    dem = mosaic(given.folder, given.side, given.kind, given.seed)
    runs = [(given.tile, given.workers)]
    if given.twice:
        tiles = np.random.default_rng().integers(300, min(3000, given.side), 2).tolist()
        runs = [(tiles[0], 1), (tiles[1], 2)]
        check_carried()
    marks = []
    for tile, workers in runs:
        print(f"{given.side} x {given.side} cells, tiles of {tile}, {workers} worker(s)")
        marks.append(run(dem, given.folder, (given.side, tile, workers), given.limit * MB, given.hard))
    differ = sorted(name for name in marks[0] if any(mark[name] != marks[0][name] for mark in marks))
    for name, mark in marks[0].items():
        print(f"{mark[:16]}  {name}{'  DIFFERS' if name in differ else ''}")
    if differ:
        raise SystemExit(f"the runs differ in {', '.join(differ)}")


def layers(path: Path) -> dict[str, str]:
    """Digest of every layer but `run`, which holds times."""
    from wetscout.io.geopackage_read import digest

    with sqlite3.connect(path) as db:
        names = sorted(str(row[0]) for row in db.execute("SELECT table_name FROM gpkg_contents"))
    return {name: digest(path, tuple(k for k in names if k != name)) for name in names if name != "run"}


def run(dem: Path, folder: Path, size: tuple[int, int, int], limit: int, hard: bool = False) -> dict[str, str]:
    """One run: prints what it took, gives the digest of each layer."""
    side, tile, workers = size
    out, trace = folder / f"out-{side}.gpkg", folder / "stage.txt"
    trace.unlink(missing_ok=True)
    told: dict[str, list[float]] = {}
    begin = time.perf_counter()
    command = [sys.executable, "-c", CHILD, str(dem), str(out), str(tile), str(workers), str(trace)]

    def refuse() -> None:
        resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))

    process = subprocess.Popen(command, text=True, preexec_fn=refuse if hard and limit else None)  # noqa: PLW1509
    most, own = stages(process, told, limit)
    wall = time.perf_counter() - begin
    if process.returncode:
        raise SystemExit(f"the run failed with {process.returncode}")
    tell(told)
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(json.dumps({"cells": side**2, "seconds": round(wall, 1), "cells_per_s": round(side**2 / wall),
                      "processor_s_of_all_runs": round(spent.ru_utime + spent.ru_stime),
                      "peak_mb": round(most / MB), "peak_no_file_mb": round(own / MB)}))  # fmt: skip
    return layers(out)


if __name__ == "__main__":
    main()
