"""Who may write a result file: one program at a time, and never over a database that is still in use."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from wetscout.errors import OutputError

# files sqlite leaves beside a database while somebody writes, or after a crash
SIDE_FILES = ("-wal", "-shm", "-journal")

_held: set[Path] = set()


def check_target(path: Path, overwrite: bool) -> None:
    """Say whether a result may be written here, before the work that leads to it.

    Parameters
    ----------
    path : Path
        Where the result is to stand.
    overwrite : bool
        Whether an older result may be replaced.

    Raises
    ------
    OutputError
        Not a `.gpkg`, no such folder, folder not writable, file exists, or file in use.
    """
    if path.suffix.lower() != ".gpkg":
        raise OutputError(f"{path}: the result is a GeoPackage; give a name that ends in .gpkg")
    if not path.parent.is_dir():
        raise OutputError(
            f"{path.parent}: there is no such folder; make it first, or give another place for {path.name}"
        )
    try:
        found, folder = path.exists(), path.is_dir()
        lock_path(path).exists()
    except OSError as error:
        raise OutputError(f"{path}: not a name for a file here ({error.strerror}); give a shorter one") from error
    if folder:
        raise OutputError(f"{path}: this is a folder; give the name of a file that ends in .gpkg")
    if found and not overwrite:
        raise OutputError(f"{path}: exists already; give --overwrite to replace it, or another name with --out")
    _check_side_files(path)
    _check_lock(lock_path(path))
    _check_folder(path)


def lock_path(path: Path) -> Path:
    """Name of the lock file beside a result.

    Parameters
    ----------
    path : Path
        The result.

    Returns
    -------
    Path
    """
    return path.with_name(path.name + ".lock")


@contextlib.contextmanager
def hold(path: Path) -> Iterator[None]:
    """Keep other runs from writing the same result; a second call in the same run is a no-op.

    Parameters
    ----------
    path : Path
        The result, whether it exists or not.

    Raises
    ------
    OutputError
        Another run holds it, or the folder cannot be written.
    """
    lock = lock_path(path.resolve())
    if lock in _held:
        yield
        return
    _take(lock)
    _held.add(lock)
    try:
        yield
    finally:
        _held.discard(lock)
        lock.unlink(missing_ok=True)


@contextlib.contextmanager
def reserve(path: Path) -> Iterator[sqlite3.Connection]:
    """Open an older result so that nobody else can write it meanwhile.

    Parameters
    ----------
    path : Path
        An existing GeoPackage.

    Yields
    ------
    sqlite3.Connection
        Inside a transaction that is given up at the end.

    Raises
    ------
    OutputError
        Locked, read-only, or not a database.
    """
    db = sqlite3.connect(path, timeout=2.0, isolation_level=None)
    try:
        _begin(db, path)
        yield db
    finally:
        if db.in_transaction:
            db.execute("ROLLBACK")
        db.close()


def _begin(db: sqlite3.Connection, path: Path) -> None:
    """Take sqlite's own write lock, and look whether this is a GeoPackage at all."""
    try:
        db.execute("BEGIN IMMEDIATE")
    except sqlite3.OperationalError as error:
        raise OutputError(
            f"{path}: cannot be taken over ({error}); close the program that has it open, "
            "or check that you may write it"
        ) from error
    except sqlite3.DatabaseError as error:
        raise OutputError(f"{path}: is not a GeoPackage ({error}); left as it is: give another name") from error
    found = db.execute("SELECT count(*) FROM sqlite_master WHERE name='gpkg_contents'").fetchone()[0]
    if not found:
        raise OutputError(f"{path}: is not a GeoPackage (no gpkg_contents); left as it is: give another name")


def _take(lock: Path) -> None:
    """Make the lock file; one left by a run that is gone is taken over."""
    for _ in range(2):
        try:
            handle = os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY)
        except FileExistsError:
            _check_lock(lock)
            lock.unlink(missing_ok=True)
            continue
        except OSError as error:
            raise OutputError(f"{lock.parent}: cannot be written ({error.strerror}); give another folder") from error
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump({"pid": os.getpid(), "host": socket.gethostname()}, file)
        return
    raise OutputError(f"{lock}: another run took this lock just now; wait until it has ended")


def _check_lock(lock: Path) -> None:
    """Refuse a lock whose run may still be at work."""
    if lock.resolve() in _held or not lock.exists() or _left_behind(lock):
        return
    raise OutputError(
        f"{lock}: another run, or the desk, is using this result; wait until it has ended. "
        "If none is running, delete this lock file and start again"
    )


def _left_behind(lock: Path) -> bool:
    """Whether the run that made a lock is known to be gone; when in doubt it is not."""
    try:
        said = json.loads(lock.read_text(encoding="utf-8"))
        pid, host = int(said["pid"]), str(said["host"])
    except (OSError, ValueError, KeyError, TypeError):
        return False
    # on Windows signal 0 is Ctrl-C, so there the user decides
    if os.name != "posix" or host != socket.gethostname() or pid <= 0:
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return False


def _check_side_files(path: Path) -> None:
    for ending in SIDE_FILES:
        side = path.with_name(path.name + ending)
        if side.exists():
            raise OutputError(
                f"{side}: a program is writing {path.name}, or stopped while it did; close it "
                "(opening and closing the file once in your GIS tidies up), then start again"
            )


def _check_folder(path: Path) -> None:
    """Try what will be done later: make a file here."""
    probe = path.with_name(f".{path.stem[:40]}.{os.getpid()}.probe")
    try:
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise OutputError(
            f"{path.parent}: cannot write here ({error.strerror}); give a folder you may write to"
        ) from error
