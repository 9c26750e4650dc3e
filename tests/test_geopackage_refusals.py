"""Who may write where: what is refused, and what a crash leaves behind."""

from __future__ import annotations

import errno
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from gpkg_validator import validate
from outputs_screens import screen

from wetscout.errors import OutputError
from wetscout.io import geopackage, geopackage_lock
from wetscout.outputs.layers import to_layers
from wetscout.outputs.write import write_layers


@pytest.fixture(scope="module")
def layers() -> dict[str, pd.DataFrame]:
    return to_layers(screen())


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory, layers: dict[str, pd.DataFrame]) -> Path:
    path = tmp_path_factory.mktemp("master") / "county.gpkg"
    write_layers(path, layers)
    return path


@pytest.fixture
def written(tmp_path: Path, master: Path) -> Path:
    """A copy of its own for each test."""
    return Path(shutil.copy(master, tmp_path / "county.gpkg"))


def test_refuses_what_exists(written: Path, layers: dict[str, pd.DataFrame]) -> None:
    before = written.read_bytes()
    with pytest.raises(OutputError, match="--overwrite"):
        write_layers(written, layers)
    assert written.read_bytes() == before


def test_refuses_other_endings_and_missing_folders(tmp_path: Path, layers: dict[str, pd.DataFrame]) -> None:
    with pytest.raises(OutputError, match=r"\.gpkg"):
        write_layers(tmp_path / "a.shp", layers)
    with pytest.raises(OutputError, match="no such folder"):
        write_layers(tmp_path / "no" / "a.gpkg", layers)
    with pytest.raises(OutputError, match="give a shorter one"):
        write_layers(tmp_path / f"{'n' * 300}.gpkg", layers)


@pytest.mark.parametrize("ending", ["-wal", "-journal", "-shm"])
def test_refuses_a_file_being_written(written: Path, layers: dict[str, pd.DataFrame], ending: str) -> None:
    before = written.read_bytes()
    written.with_name(written.name + ending).write_bytes(b"x")
    with pytest.raises(OutputError, match="is writing"):
        write_layers(written, layers, overwrite=True)
    assert written.read_bytes() == before


def test_refuses_a_database_lock(written: Path, layers: dict[str, pd.DataFrame]) -> None:
    other = sqlite3.connect(written, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        with pytest.raises(OutputError, match="close the program"):
            write_layers(written, layers, overwrite=True)
    finally:
        other.close()
    write_layers(written, layers, overwrite=True)


def test_refuses_another_runs_lock(written: Path, layers: dict[str, pd.DataFrame]) -> None:
    lock = geopackage_lock.lock_path(written)
    lock.write_text(json.dumps({"pid": os.getpid(), "host": "another-machine"}), encoding="utf-8")
    with pytest.raises(OutputError, match="another run"):
        write_layers(written, layers, overwrite=True)
    lock.write_text("not ours", encoding="utf-8")
    with pytest.raises(OutputError, match="delete this lock"):
        geopackage_lock.check_target(written, True)
    assert lock.exists()


@pytest.mark.skipif(os.name != "posix", reason="only on POSIX can a gone process be told without hurting another")
def test_takes_over_the_lock_of_a_run_that_is_gone(written: Path, layers: dict[str, pd.DataFrame]) -> None:
    gone = subprocess.run(
        [sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, text=True, check=True
    )
    lock = geopackage_lock.lock_path(written)
    host = __import__("socket").gethostname()
    lock.write_text(json.dumps({"pid": int(gone.stdout), "host": host}), encoding="utf-8")
    write_layers(written, layers, overwrite=True)
    assert not lock.exists()


def test_one_run_may_hold_its_lock_from_start_to_end(written: Path, layers: dict[str, pd.DataFrame]) -> None:
    with geopackage_lock.hold(written):
        write_layers(written, layers, overwrite=True)
        assert geopackage_lock.lock_path(written).exists()
    assert not geopackage_lock.lock_path(written).exists()


def test_refuses_a_file_that_is_no_geopackage(tmp_path: Path, layers: dict[str, pd.DataFrame]) -> None:
    for content in (b"", b"grandmother's letters" * 50):
        path = tmp_path / "letters.gpkg"
        path.write_bytes(content)
        with pytest.raises(OutputError, match="is not a GeoPackage"):
            write_layers(path, layers, overwrite=True)
        assert path.read_bytes() == content


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="needs a user who can be refused")
def test_refuses_a_read_only_folder(tmp_path: Path, layers: dict[str, pd.DataFrame]) -> None:
    folder = tmp_path / "shared"
    folder.mkdir()
    folder.chmod(0o555)
    with pytest.raises(OutputError, match="cannot write here"):
        write_layers(folder / "a.gpkg", layers)
    folder.chmod(0o755)


def test_says_when_a_folder_refuses(
    tmp_path: Path, layers: dict[str, pd.DataFrame], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Path, *_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "touch", refuse)
    with pytest.raises(OutputError, match="cannot write here"):
        write_layers(tmp_path / "a.gpkg", layers)


def test_says_when_the_disk_has_no_room(
    tmp_path: Path, layers: dict[str, pd.DataFrame], monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(geopackage.shutil, "disk_usage", lambda _: usage._replace(free=1000))
    with pytest.raises(OutputError, match="make room"):
        write_layers(tmp_path / "a.gpkg", layers)
    assert list(tmp_path.iterdir()) == []


def test_disk_that_fills_up_on_the_way(
    written: Path, layers: dict[str, pd.DataFrame], monkeypatch: pytest.MonkeyPatch
) -> None:
    before = written.read_bytes()

    def full(_: Path) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(geopackage, "_sync", full)
    with pytest.raises(OutputError, match="could not be written"):
        write_layers(written, layers, overwrite=True)
    assert written.read_bytes() == before
    assert [item.name for item in written.parent.iterdir()] == [written.name]


def test_killed_between_write_and_move_leaves_the_old_file(written: Path) -> None:
    """A process that dies after writing and before moving: the old file is whole, the next run tidies up."""
    before = written.read_bytes()
    code = (
        "import os, sys; sys.path.insert(0, sys.argv[2])\n"
        "from pathlib import Path\n"
        "from wetscout.io import geopackage\n"
        "from wetscout.outputs.layers import to_layers\n"
        "from wetscout.outputs.write import write_layers\n"
        "from outputs_screens import screen\n"
        "geopackage._move = lambda new, target: os._exit(9)\n"
        "write_layers(Path(sys.argv[1]), to_layers(screen()), overwrite=True)\n"
    )
    here = str(Path(__file__).parent)
    ended = subprocess.run([sys.executable, "-c", code, str(written), here], check=False)
    assert ended.returncode == 9
    assert written.read_bytes() == before
    assert len(list(written.parent.iterdir())) == 3
    if os.name == "posix":
        write_layers(written, to_layers(screen()), overwrite=True)
        assert [item.name for item in written.parent.iterdir()] == [written.name]
        assert validate(written) == []


def test_target_held_open_elsewhere_keeps_the_new_result_beside_it(
    written: Path, layers: dict[str, pd.DataFrame], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What Windows does when a GIS has the file open."""
    before = written.read_bytes()

    def refuse(self: Path, target: Path) -> None:
        raise PermissionError(errno.EACCES, "in use by another process")

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError, match=r"county-new-1\.gpkg"):
        write_layers(written, layers, overwrite=True)
    assert written.read_bytes() == before
    assert validate(written.with_name("county-new-1.gpkg")) == []
