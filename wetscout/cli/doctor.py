"""`wetscout doctor`: is this installation well?"""

from __future__ import annotations

from pathlib import Path

import click

from wetscout.cli.kernels import announce_compile
from wetscout.cli.state import State, voice
from wetscout.errors import WetscoutError


@click.command("doctor")
@voice()
@click.pass_obj
def command(state: State) -> None:
    """Self-test: versions, the map projection data in use, the kernel cache and a tiny run.

    \b
    Example:
      wetscout doctor
    """
    announce_compile(state)
    from wetscout.ingest.doctor import self_test  # noqa: PLC0415  heavy

    checked = self_test(state.surroundings, tiny_run)
    for good, line in checked:
        state.say(f"{'ok ' if good else 'BAD'}  {line}")
    bad = [line for good, line in checked if not good]
    state.give({"well": not bad, "checks": [{"ok": good, "says": line} for good, line in checked]})
    if bad:
        raise WetscoutError(f"{len(bad)} of {len(checked)} checks failed: {'; '.join(bad)}")


def tiny_run(folder: Path) -> str:
    """Screen a bowl with a ditch through its rim, 200 m square.

    The bowl is a paraboloid 1 m deep and 40 m in radius on level ground, so its spill level is known.

    Parameters
    ----------
    folder : Path
        A temporary folder; nothing is written to it.

    Returns
    -------
    str
        What was found, in one sentence.

    Raises
    ------
    WetscoutError
        When the bowl is not found, or its level is off.
    """
    import numpy as np  # noqa: PLC0415

    from wetscout.pipeline import screen_array  # noqa: PLC0415

    row, col = np.mgrid[0:240, 0:240].astype(np.float64)
    ground = 100.0 - 0.001 * np.hypot(row - 120.0, col - 120.0)
    bowl = np.minimum(0.0, ((row - 120.0) ** 2 + (col - 120.0) ** 2) / 1600.0 - 1.0)
    bed = 98.8 - 0.002 * (col - 120.0)
    ditch = np.where(col >= 120.0, bed + np.maximum(0.0, np.abs(row - 120.0) - 0.8) / 1.5, np.inf)
    sites = screen_array(np.minimum(ground + bowl, ditch).astype(np.float32), 1.0).sites
    if len(sites) != 1:
        raise WetscoutError(f"{len(sites)} drained basins were found on ground that has one")
    spill_m = float(sites[0].values["spill_m"])
    if abs(spill_m - 99.96) > 0.1:
        raise WetscoutError(f"the drained basin spills at 99.96 m, found was {spill_m:.2f} m")
    return f"the one drained basin was found, its spill level {abs(spill_m - 99.96):.2f} m off"
