"""The script of the scheduled job, at a size that a test can wait for."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
import whole_run

pytestmark = pytest.mark.slow


def ask(monkeypatch: pytest.MonkeyPatch, folder: Path, *options: str) -> None:
    """Run the script on a mosaic of 900 x 900 cells, pieces of 700."""
    monkeypatch.setattr(whole_run, "PIECE", 700)
    monkeypatch.setattr(sys, "argv", ["whole_run.py", "--side", "900", "--folder", str(folder), *options])
    whole_run.main()


def test_both_runs_have_the_same_layers_and_pits_carried_grow_with_the_perimeter(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ask(monkeypatch, tmp_path, "--limit", "2048", "--hard", "--twice")
    told = capsys.readouterr().out
    assert "1 worker" in told and "2 worker" in told and "sites" in told and "hands on" in told
    assert "DIFFERS" not in told


def test_a_run_beyond_the_hard_limit_ends(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    with pytest.raises(SystemExit, match=r"failed|limit"):
        ask(monkeypatch, tmp_path, "--limit", "250", "--hard")


def test_layers_that_differ_end_the_script(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    marks = iter(({"sites": "a", "ditches": "b"}, {"sites": "a", "ditches": "c"}))
    monkeypatch.setattr(whole_run, "run", lambda *_: next(marks))
    monkeypatch.setattr(whole_run, "mosaic", lambda *_: tmp_path)
    monkeypatch.setattr(whole_run, "check_carried", lambda: None)
    with pytest.raises(SystemExit, match="differ in ditches"):
        ask(monkeypatch, tmp_path, "--twice")


def test_pits_carried_that_grow_with_the_area_end_the_script(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(whole_run, "carried", lambda side, _: side * side)
    with pytest.raises(SystemExit, match="faster than their perimeter"):
        whole_run.check_carried((100, 200))
