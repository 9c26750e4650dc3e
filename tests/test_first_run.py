"""The first run: kernels are compiled in several processes; where all are there already, nothing is started."""

from __future__ import annotations

import inspect
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from wetscout import kernels as compiled
from wetscout.cli import kernels
from wetscout.cli.state import State
from wetscout.kernels import ahead


def _started(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    orders: list[list[str]] = []

    class Beside:
        def __init__(self, order: list[str], **_: object) -> None:
            orders.append(order)

        def kill(self) -> None:
            """Nothing runs."""

    monkeypatch.setattr(subprocess, "Popen", Beside)
    monkeypatch.setattr(ahead, "listed", list)
    return orders


def test_an_empty_cache_starts_the_second_process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    orders = _started(monkeypatch)
    assert kernels.announce_compile(State(quiet=True))
    assert 1 <= len(orders) <= 3 and orders[0][0] == sys.executable


def test_the_second_process_reads_the_same_files_whatever_lies_in_the_working_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    order = _started(monkeypatch)
    kernels.announce_compile(State(quiet=True))
    monkeypatch.undo()
    (tmp_path / "wetscout").mkdir()
    (tmp_path / "wetscout" / "__init__.py").write_text("raise RuntimeError('the wrong package')")
    told = [*order[0][:-1], order[0][-1].split("; from")[0] + "; import wetscout; print(wetscout.__file__)"]
    said = subprocess.run(told, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert Path(said.stdout.strip()) == Path(kernels.__file__).parents[1] / "__init__.py"


def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the kernels' sources, from which the folder is worked out now."""
    other = tmp_path / "copy"
    other.mkdir()
    for source in Path(compiled.__file__).parent.glob("*.py"):
        shutil.copy(source, other)
    monkeypatch.setattr(compiled, "__file__", str(other / "__init__.py"))
    return other


@pytest.mark.parametrize("given", [None, "/somewhere/kernels"])
def test_what_another_installation_compiled_does_not_count(
    given: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Machine code is kept by the place of its source: a new environment compiles anew (2 min 20 s if not beside)."""
    here = compiled._cache_folder(given)
    _elsewhere(tmp_path, monkeypatch)
    assert compiled._cache_folder(given) != here
    assert compiled._cache_folder(given) == compiled._cache_folder(given)


@pytest.mark.parametrize("given", [None, "/somewhere/kernels"])
def test_what_another_version_compiled_does_not_count(
    given: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With one folder for both, callers of a changed kernel kept its old code, or ended in numba's SystemError."""
    sources = _elsewhere(tmp_path, monkeypatch)
    before = compiled._cache_folder(given)
    with (sources / "blur.py").open("a") as source:
        source.write("# changed\n")
    assert compiled._cache_folder(given) != before


def test_a_process_started_by_another_keeps_to_its_folder(tmp_path: Path) -> None:
    folder = compiled._cache_folder(str(tmp_path))
    assert folder.parent == tmp_path
    assert compiled._cache_folder(str(folder)) == folder


def test_a_filled_cache_starts_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    orders = _started(monkeypatch)
    assert kernels.announce_compile(State(quiet=True))
    begun = len(orders)
    assert not kernels.announce_compile(State(quiet=True))
    assert len(orders) == begun


def test_a_cache_that_a_stopped_run_left_half_full_is_filled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    (tmp_path / "a.nbi").touch()
    _started(monkeypatch)

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr(ahead, "compile_ahead", stop)
        kernels.announce_compile(State(quiet=True))
    assert kernels.announce_compile(State(quiet=True))


def test_every_listed_kernel_exists_and_takes_as_many_arguments_as_listed() -> None:
    from list_kernels import text
    from numba.core.sigutils import normalize_signature

    rows = ahead.listed()
    assert len(rows) > 80 and len(set(rows)) == len(rows)
    for module, name, signature in rows:
        kinds, _ = normalize_signature(signature)
        takes = inspect.signature(ahead.kernel(module, name).py_func).parameters.values()
        least = sum(p.default is inspect.Parameter.empty for p in takes)
        assert least <= len(kinds) <= len(takes), (module, name)
        assert f"({','.join(text(kind) for kind in kinds)},)" == signature


def test_processes_that_share_the_list_compile_each_kernel_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[str, str]] = []

    class Kernel:
        def __init__(self, module: str, name: str) -> None:
            self.place = (module, name)

        def compile(self, kinds: tuple[object, ...]) -> None:
            asked.append(self.place)

    monkeypatch.setattr(ahead, "kernel", Kernel)
    rows = ahead.listed()
    modules = list(dict.fromkeys(row[0] for row in rows))
    other = modules[1:3]
    for module in other:
        (tmp_path / module).touch()
    told: list[float] = []
    ahead.compile_ahead(tmp_path, told.append, ahead.LEFT)
    left = modules[-ahead.LEFT :]
    assert asked == [row[:2] for row in rows if row[0] not in (*other, *left)]
    assert told == sorted(told) and len(told) == len(modules) - 2 - ahead.LEFT and told[-1] < 1
    ahead.compile_ahead(tmp_path)
    assert sorted(asked) == sorted(row[:2] for row in rows if row[0] not in other)


@pytest.mark.slow
def test_what_is_compiled_ahead_is_what_the_demo_needs(tmp_path: Path) -> None:
    """After it, a demo finds all its kernels in the cache: where this fails, run list_kernels.py anew."""
    room = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    order = "import sys, pathlib; from wetscout.kernels.ahead import compile_ahead as c; c(pathlib.Path(sys.argv[1]))"
    claims = tmp_path / "claims"
    claims.mkdir()
    subprocess.run([sys.executable, "-c", order, str(claims)], env=room, check=True)
    before = {p.name for p in tmp_path.rglob("*.nbc")}
    subprocess.run([sys.executable, "-m", "wetscout", "demo", str(tmp_path / "demo"), "-q"], env=room, check=True)
    assert before and {p.name for p in tmp_path.rglob("*.nbc")} == before


def test_the_package_runs_as_a_module() -> None:
    said = subprocess.run([sys.executable, "-m", "wetscout", "--help"], capture_output=True, text=True, check=True)
    assert "screen" in said.stdout
