"""`wetscout demo`: the main job on the invented sample county."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from wetscout.cli.state import State, voice


@click.command("demo")
@click.argument("folder", default="wetscout-demo", type=click.Path(file_okay=False, path_type=Path))
@voice()
@click.pass_obj
def command(state: State, folder: Path) -> None:
    """Screen the invented sample county into FOLDER (wetscout-demo when not given) and say what to open.

    \b
    Example:
      wetscout demo
      wetscout demo my-first-county
    """
    from wetscout.cli.running import run_screen, summary, tell  # noqa: PLC0415  heavy
    from wetscout.cli.sample import LAYERS, sample_folder  # noqa: PLC0415

    source = sample_folder()
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("dem.tif", *LAYERS.values()):
        shutil.copyfile(source / name, folder / name)
    out = folder / "result.gpkg"
    given = {layer: folder / LAYERS[layer] for layer in ("roads", "culverts", "parcels")}
    found = summary(run_screen(state, [folder / "dem.tif"], out, {**given, "overwrite": True}))
    tell(state, found)
    state.say(f"Open the map picture first, then {out} in any GIS: layer `sites`, sorted by rank.")
    state.give(found)
