"""What `screen` and `demo` share: run the screen, read the result back, say what was found."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wetscout.cli.kernels import announce_compile
from wetscout.cli.progress import ShownProgress
from wetscout.cli.state import State
from wetscout.errors import WetscoutError

if TYPE_CHECKING:
    from wetscout.outputs import ScreenResult

# So many sites are printed; the rest stand in the file.
SHOWN_SITES = 5


def run_screen(state: State, dems: Sequence[Path], out: Path, given: Mapping[str, Any]) -> ScreenResult:
    """Run the screen with progress on stderr.

    Parameters
    ----------
    state : State
        How to speak.
    dems : sequence of Path
        Elevation rasters, one mosaic.
    out : Path
        GeoPackage to write.
    given : mapping
        Options by name as the command line takes them; None is not given.

    Returns
    -------
    ScreenResult
        The opened result.

    Raises
    ------
    WetscoutError
        When an input or the output cannot be used.
    """
    announce_compile(state)
    from wetscout import pipeline  # noqa: PLC0415  compiles or loads kernels: after the announcement
    from wetscout.io.settings_file import read_settings  # noqa: PLC0415

    options = {name: value for name, value in given.items() if value is not None}
    settings_file = options.pop("settings", None)
    if settings_file is not None:
        options["settings"] = read_settings(settings_file)
    with ShownProgress(pipeline.STAGES, state.quiet) as progress:
        return pipeline.screen(list(dems), out, progress=progress, **options)


def say_what_it_takes(state: State, dems: Sequence[Path], out: Path, given: Mapping[str, Any]) -> None:
    """Tell memory, disk and time before the work begins, unless only an area is asked for.

    Parameters
    ----------
    state : State
        How to speak.
    dems : sequence of Path
        Elevation rasters.
    out : Path
        Where the result will be written.
    given : mapping
        Options by name.
    """
    if state.quiet or given.get("area") is not None:
        return
    from wetscout.ingest.cost import cost_warnings, estimate_cost, say_cost  # noqa: PLC0415  heavy
    from wetscout.ingest.load import look  # noqa: PLC0415
    from wetscout.io.settings_file import read_settings  # noqa: PLC0415
    from wetscout.settings import Settings  # noqa: PLC0415

    workers = given.get("workers") or 1
    # what cannot be used is told by the run itself
    with contextlib.suppress(WetscoutError):
        own = given.get("settings")
        settings = Settings() if own is None else read_settings(own)
        grid = look(list(dems), settings.ingest, given.get("z_unit")).mosaic.grid
        cost = estimate_cost(grid, workers, out.absolute().parent)
        state.note("This will take " + say_cost(cost, workers) + ".")
        for warning in cost_warnings(cost):
            state.note(f"Warning: {warning}")


def summary(result: ScreenResult) -> dict[str, Any]:
    """Put the main facts of a result together.

    Parameters
    ----------
    result : ScreenResult
        As the screen returns it.

    Returns
    -------
    dict
        `file`, `picture`, `sites` (count), `gain_m2` (sum), `first`, the first sites as dicts of plain values, and
        `known`, what was made of the places the user knows.
    """
    sites = result.sites.sort_values("rank")
    first = sites.drop(columns="geometry").head(SHOWN_SITES).to_dict("records")
    picture = result.path.with_suffix(".png")
    return {
        "file": str(result.path),
        "picture": str(picture) if picture.exists() else None,
        "sites": len(sites),
        "gain_m2": float(sites["gain_m2"].sum()),
        "first": [{str(key): _plain(value) for key, value in row.items()} for row in first],
        "known": result.run.get("known", []),
    }


def tell(state: State, found: Mapping[str, Any]) -> None:
    """Say what was found, the best sites with their reasons.

    Parameters
    ----------
    state : State
        How to speak.
    found : mapping
        From `summary`.
    """
    from wetscout.ranking.phrases import say_area  # noqa: PLC0415

    if not found["sites"]:
        state.say("No drained basin was found. `wetscout check` says which ditches this DEM can show.")
    else:
        state.say(f"{found['sites']} drained basins, about {say_area(found['gain_m2'])} could hold water again. First:")
    for site in found["first"]:
        state.say(f"{site['rank']:>4}  {site['site_id']}  score {site['score']:.0f}  {site['reasons']}")
    for number, place in enumerate(found["known"], start=1):
        state.say(f"known place {number} ({place['x']:.0f}, {place['y']:.0f}): {place['why']}")
    state.say(f"Result: {found['file']}")
    if found["picture"]:
        state.say(f"Map:    {found['picture']}")
    state.say(
        "This is a screening from elevation, not a survey or a design: walk each site, call the utility locate "
        "service before digging, and follow local codes and licensed practice."
    )


def _plain(value: Any) -> Any:
    """A missing value as None, anything else as it is."""
    return None if value is None or value != value else value  # noqa: PLR0124  NaN is the only value unlike itself
