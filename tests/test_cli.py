"""The command line as a person meets it: help, wrong usage, plain failures, exit codes.

Exit codes: the project's own promise (0 done, 1 could not, 2 wrong usage, 130 interrupted); 2 for wrong usage is also
the custom of POSIX shells' built-ins (IEEE Std 1003.1-2017, XCU 2.8.2) and of click.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from wetscout.cli import app, options, prove, running
from wetscout.cli.progress import ShownProgress, say_time
from wetscout.cli.sample import LAYERS, sample_folder
from wetscout.errors import InputError


@pytest.mark.parametrize("flag", ["-h", "--help"])
@pytest.mark.parametrize("name", app.COMMANDS)
def test_every_command_has_help_with_an_example(name: str, flag: str, capsys: pytest.CaptureFixture[str]):
    assert app.run([name, flag]) == 0
    text = capsys.readouterr().out
    assert "Example:" in text
    assert f"wetscout {name}" in text.split("Example:")[1]


def test_group_help_lists_the_commands(capsys: pytest.CaptureFixture[str]):
    assert app.run(["--help"]) == 0
    text = capsys.readouterr().out
    assert all(re.search(rf"^  {name} ", text, re.MULTILINE) for name in app.COMMANDS)


def test_version(capsys: pytest.CaptureFixture[str]):
    assert app.run(["--version"]) == 0
    assert re.search(r"wetscout, version \d+\.\d+", capsys.readouterr().out)


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["scren"],
        ["screen"],
        ["screen", "dem.tif"],
        ["screen", "dem.tif", "--out", "a.gpkg", "--z-unit", "inch"],
        ["screen", "dem.tif", "--out", "a.gpkg", "--tile", "3"],
        ["prove", "--kinds", "moon"],
        ["prove", "--cell", "30"],
        ["owners", "a.gpkg"],
    ],
)
def test_wrong_usage_is_2(words: list[str], capsys: pytest.CaptureFixture[str]):
    assert app.run(words) == 2
    said = capsys.readouterr()
    assert said.out == "" or words == []
    assert "Traceback" not in said.err


REFUSED = [
    *([f"--{name}", "x.gpkg", "is not read by this version"] for name in options.LAYERS_LATER),
    *(
        [f"--{name}", *([] if alone else ["x"]), "is not built in this version"]
        for name, alone in options.WAYS_LATER.items()
    ),
]


@pytest.mark.parametrize("words", REFUSED, ids=lambda words: words[0])
def test_what_would_be_ignored_is_refused(words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    out = tmp_path / "a.gpkg"
    *given, reason = words
    assert app.run(["screen", "dem.tif", "--out", str(out), *given]) == 2
    assert f"{given[0]} {reason}" in capsys.readouterr().err
    assert not out.exists()


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch):
    """Make `screen` fail with a given error."""

    def use(error: BaseException) -> None:
        def fail(*_: object) -> None:
            raise error

        monkeypatch.setattr(running, "run_screen", fail)

    return use


SCREEN = ["screen", "dem.tif", "--out", "a.gpkg"]


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (InputError("dem.tif has no CRS"), 1, "wetscout: dem.tif has no CRS\n"),
        (KeyboardInterrupt(), 130, "interrupted"),
        (MemoryError(), 1, "--tile"),
        (ZeroDivisionError("odd"), 1, "-vv"),
    ],
)
def test_failures_are_one_plain_message(failing, error, code, words, capsys: pytest.CaptureFixture[str]):
    failing(error)
    assert app.run(SCREEN) == code
    said = capsys.readouterr()
    assert words in said.err
    # click ends the line that shows ^C, so an interruption may begin with an empty one
    assert len(said.err.strip().splitlines()) == 1
    assert said.out == ""


@pytest.mark.parametrize(("flags", "shown"), [([], False), (["-v"], False), (["-vv"], True), (["-v", "-v"], True)])
def test_traceback_only_when_asked_twice(failing, flags, shown, capsys: pytest.CaptureFixture[str]):
    failing(InputError("no"))
    assert app.run([*SCREEN, *flags]) == 1
    assert ("Traceback" in capsys.readouterr().err) is shown


def test_help_does_not_load_the_heavy_parts():
    """Help must come at once: numba alone takes a second to import."""
    code = (
        "import sys; from wetscout.cli.app import run; run(['screen', '-h']); "
        "print(sorted({'numba', 'rasterio', 'matplotlib', 'geopandas'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_settings_print_a_file_that_screen_reads(capsys: pytest.CaptureFixture[str]):
    assert app.run(["settings"]) == 0
    tables = tomllib.loads(capsys.readouterr().out)
    assert tables["ranking"]["gain_full_m2"] == 20000.0


def test_sample_is_found():
    folder = sample_folder()
    assert all((folder / name).is_file() for name in ("dem.tif", *LAYERS.values()))


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(None, ""), (12.4, "12 s"), (200.0, "3 min"), (3900.0, "1 h 05 min"), (59.6 * 60, "1 h 00 min")],
)
def test_time_in_words(seconds: float | None, said: str):
    assert say_time(seconds) == said


def test_progress_without_a_terminal_is_plain_lines(capsys: pytest.CaptureFixture[str]):
    with ShownProgress({"reading": 1.0, "basins": 3.0}) as progress:
        progress.stage("reading")
        progress.update(0.5)
        progress.stage("basins")
        progress.update(1.0)
    said = capsys.readouterr()
    assert re.fullmatch(r"  0 %  reading\n 25 %  basins(, about \d+ s left)?\n", said.err)
    assert said.out == ""


def test_quiet_progress_says_nothing(capsys: pytest.CaptureFixture[str]):
    with ShownProgress({"reading": 1.0}, quiet=True) as progress:
        progress.stage("reading")
    assert capsys.readouterr().err == ""
    assert list(progress.finish()) == ["reading"]


def test_prove_small_and_as_json(capsys: pytest.CaptureFixture[str]):
    """A quarter of a square kilometre: enough to see that the pieces fit, too little to judge by."""
    assert app.run(["prove", "--kinds", "rolling till plain", "--size", "500", "--json", "-q"]) == 0
    said = capsys.readouterr()
    found = json.loads(said.out)
    assert found["landscapes"] == 1
    hit, drained = found["recall"]["main"]
    assert 0 <= hit <= drained
    assert said.err == ""


def test_prove_tells_what_was_screened(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    monkeypatch.setattr(prove, "found_by_screen", lambda z, cell_m, maps: ())
    assert app.run(["prove", "--kinds", "few drained", "--size", "400", "--cell", "2", "--seed-start", "5"]) == 0
    said = capsys.readouterr().out
    assert "few drained, seed 5, 2 m" in said
    assert "precision: 0 right, 0 false" in said
