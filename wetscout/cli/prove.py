"""`wetscout prove`: the screen against invented landscapes with known answers."""

from __future__ import annotations

from dataclasses import asdict, fields, is_dataclass
from typing import TYPE_CHECKING, Any

import click

from wetscout.cli.kernels import announce_compile
from wetscout.cli.progress import ShownProgress
from wetscout.cli.state import State, voice

if TYPE_CHECKING:
    from wetscout.prove import Found, Maps, Report
    from wetscout.records import F32
    from wetscout.records_covered import Evidence


@click.command("prove")
@click.option("--kinds", help="Kinds of landscape, parted by commas; all when not given.")
@click.option("--seeds", default=1, show_default=True, type=click.IntRange(1, 1000), help="Landscapes of each kind.")
@click.option("--seed-start", default=1, show_default=True, type=click.IntRange(0), help="First seed.")
@click.option("--cell", default=1.0, show_default=True, type=click.FloatRange(0.5, 5.0), help="Cell size [m].")
@click.option("--size", default=2000.0, show_default=True, type=click.FloatRange(300.0, 5000.0), help="Side [m].")
@click.option(
    "--false-finds",
    is_flag=False,
    flag_value=200,
    type=click.IntRange(1, 10000),
    metavar="[N]",
    help="Instead: screen N specimens (200) of each thing that is no drained basin, and count those offered.",
)
@voice()
@click.pass_obj
def command(state: State, /, **given: Any) -> None:
    """Run the screen on invented landscapes and print recall, precision and errors.

    The answers are taken from the ground before its ditches were cut, so the proof needs nothing but this command.
    All kinds with one seed take half an hour; --size 1000 takes a quarter of that. Squares with covered drains are
    screened twice: with an invented soil map and land cover, and by terrain alone. --false-finds takes about a minute
    for 10 specimens of each kind.

    \b
    Example:
      wetscout prove
      wetscout prove --kinds "flat lake plain,old ditches" --seeds 2 --cell 2 --json
      wetscout prove --kinds "covered drains" --size 1000
      wetscout prove --false-finds 20 --kinds "pond dams,railways"
    """
    from wetscout.prove import FALSE_FINDS, KINDS, lines_of, run_proof  # noqa: PLC0415  heavy

    chosen = _chosen(given["kinds"], FALSE_FINDS if given["false_finds"] else KINDS)  # before a minute of compiling
    announce_compile(state)
    if given["false_finds"]:
        _false_finds(state, chosen, given)
        return
    seeds = range(given["seed_start"], given["seed_start"] + given["seeds"])
    with ShownProgress({"landscapes": 1.0}, state.quiet) as progress:
        progress.stage("landscapes")
        report = run_proof(
            found_by_screen,
            chosen,
            seeds,
            given["cell"],
            given["size"],
            lambda done, count, _: progress.update(done / count),
        )
    state.say("\n".join(lines_of(report)))
    state.give(as_json(report))


def _chosen(words: str | None, every: tuple[str, ...]) -> tuple[str, ...]:
    """The kinds asked for, all when none was."""
    chosen = tuple(kind.strip() for kind in words.split(",")) if words else every
    unknown = [kind for kind in chosen if kind not in every]
    if unknown:
        raise click.BadParameter(
            f"no kind is called {unknown[0]!r}; there are: {', '.join(every)}", param_hint="--kinds"
        )
    return chosen


def _false_finds(state: State, kinds: tuple[str, ...], given: dict[str, Any]) -> None:
    """Screen specimens of what must not be offered."""
    from wetscout.prove import false_find_lines, prove_false_finds  # noqa: PLC0415  heavy

    with ShownProgress({"specimens": 1.0}, state.quiet) as progress:
        progress.stage("specimens")
        counts = prove_false_finds(
            found_by_screen,
            kinds,
            given["false_finds"],
            given["cell"],
            given["seed_start"],
            lambda done, of: progress.update(done / of),
        )
    state.say("\n".join(false_find_lines(counts)))
    state.give({"false_finds": [asdict(count) for count in counts]})


def found_by_screen(z: F32, cell_m: float, maps: Maps | None = None) -> tuple[Found, ...]:
    """Screen an array and keep what is scored.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    cell_m : float
        Cell size [m].
    maps : Maps or None
        Soil map and land cover.

    Returns
    -------
    tuple of Found
        In rank order.
    """
    from wetscout.pipeline import screen_array  # noqa: PLC0415  heavy
    from wetscout.prove import Found  # noqa: PLC0415

    sites = screen_array(z, cell_m, evidence=_evidence(z, cell_m, maps)).sites
    place = {site.site_id: i for i, site in enumerate(sites)}
    return tuple(
        Found(
            pool=site.pool,
            spill_m=float(site.values["spill_m"]),
            volume_m3=float(site.values["volume_m3"]),
            plugs=tuple((float(plug.row.mean()), float(plug.col.mean())) for plug in site.plugs),
            drained_by=str(site.values["drained_by"]),
            confidence=str(site.values["confidence"]),
            position=str(site.values["drain_position"] or ""),
            below=place.get(str(site.values.get("below_id")), -1),
            plug_lines=tuple((plug.row, plug.col) for plug in site.plugs),
            mouths=tuple((m.row, m.col) for m in site.values["_covered"].mouths) if "_covered" in site.values else (),
        )
        for site in sites
    )


def _evidence(z: F32, cell_m: float, maps: Maps | None) -> Evidence | None:
    """The invented maps as the screen is given them."""
    if maps is None:
        return None
    import geopandas as gpd  # noqa: PLC0415  heavy

    from wetscout.ingest import from_array  # noqa: PLC0415
    from wetscout.settings import Settings  # noqa: PLC0415
    from wetscout.steps.evidence import gather  # noqa: PLC0415

    columns = {"hydclprs": [p.hydclprs for p in maps.soils], "drclassdcd": [p.drclassdcd for p in maps.soils]}
    soils = gpd.GeoDataFrame(columns, geometry=[p.polygon for p in maps.soils]) if maps.soils else None
    return gather(from_array(z, cell_m).grid, soils, maps.landcover, Settings())


def as_json(report: Report) -> dict[str, Any]:
    """Put the pooled numbers of a report into what JSON can hold; a share of nothing is null.

    Parameters
    ----------
    report : Report
        From `run_proof`.

    Returns
    -------
    dict
        Fields of the report by name, `recall` as `[hit, drained]` by size class, and the number of landscapes.
    """
    numbers = {field.name: getattr(report, field.name) for field in fields(report) if field.name != "scores"}
    return {"landscapes": len(report.scores), **{name: _plain(value) for name, value in numbers.items()}}


def _plain(value: Any) -> Any:
    """Values of a nested report, a share of nothing as null."""
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    return None if value != value else value  # noqa: PLR0124  NaN
