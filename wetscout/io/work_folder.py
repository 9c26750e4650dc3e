"""Finished parts of a long run, kept on disk so that a run that was stopped can go on.

A folder beside the result holds `run.json`, what the parts depend on, and one uncompressed file a finished part. A part
is written under another name, forced to disk and then renamed: it is there whole or not at all, whenever the run is
killed. The folder is removed once the result stands.
"""

from __future__ import annotations

import json
import os
import threading
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wetscout.errors import InputError, OutputError

__all__ = ["WorkFolder", "work_path"]

_FACTS = "run.json"
_TOLD = 4

Arrays = Mapping[str, NDArray[Any]]


def work_path(result: Path) -> Path:
    """Folder that keeps the parts of a run.

    Parameters
    ----------
    result : Path
        The file the run is to write.

    Returns
    -------
    Path
    """
    return result.with_name(result.name + ".work")


class WorkFolder:
    """Parts of one run by name. Several threads may use it at once.

    Parameters
    ----------
    path : Path
        The folder; made when the first part is kept.
    facts : mapping
        What the parts depend on, plain values in nested mappings: settings, inputs with size and date, version.
    resume : bool
        Go on with parts that are there; else they are removed.

    Raises
    ------
    InputError
        `resume`, and the parts there depend on other facts; the first differences are named.
    OutputError
        The folder cannot be read or emptied.
    """

    def __init__(self, path: Path, facts: Mapping[str, Any], resume: bool = False) -> None:
        self.path = path
        self._facts = json.loads(json.dumps(facts, default=str))
        self._lock = threading.Lock()
        self.taken = 0
        self.kept = 0
        older = self._older()
        if resume and older is not None:
            told = differences(older, self._facts)
            if told:
                more = f" and {len(told) - _TOLD} more" if len(told) > _TOLD else ""
                raise InputError(
                    f"{path}: the run that was stopped does not fit this one: {'; '.join(told[:_TOLD])}{more}. Give it "
                    "what it had, or leave out --resume to begin anew"
                )
        else:
            self.remove()

    def get(self, name: str) -> dict[str, NDArray[Any]] | None:
        """A finished part.

        Parameters
        ----------
        name : str
            Letters, digits, dashes.

        Returns
        -------
        dict of str to array, or None
            None when it is not there or cannot be read: then it is worked out again.
        """
        file = self.path / f"{name}.npz"
        try:
            with np.load(file, allow_pickle=False) as found:
                arrays = {key: found[key] for key in found.files}
        except (OSError, ValueError, zipfile.BadZipFile):
            return None
        with self._lock:
            self.taken += 1
        return arrays

    def put(self, name: str, arrays: Arrays) -> None:
        """Keep a finished part.

        Parameters
        ----------
        name : str
            Letters, digits, dashes.
        arrays : mapping of str to array

        Raises
        ------
        OutputError
            It cannot be written.
        """
        file = self.path / f"{name}.npz"
        part = file.with_suffix(f".{threading.get_ident()}.part")
        try:
            self._begin()
            with part.open("wb") as stream:
                plain: dict[str, Any] = {key: np.asarray(value) for key, value in arrays.items()}
                np.savez(stream, **plain)
                stream.flush()
                os.fsync(stream.fileno())
            part.replace(file)
        except OSError as error:
            part.unlink(missing_ok=True)
            raise OutputError(
                f"{file} cannot be written: {error.strerror}. The parts of a run stand beside its result; is the disk "
                "full? What is finished is kept: make room and go on with --resume"
            ) from error
        with self._lock:
            self.kept += 1

    def remove(self) -> None:
        """Remove the parts and the folder; files of others in it stay.

        Raises
        ------
        OutputError
            A part cannot be removed.
        """
        try:
            for pattern in ("*.npz", "*.part", _FACTS):
                for file in self.path.glob(pattern):
                    file.unlink()
            if self.path.is_dir() and not any(self.path.iterdir()):
                self.path.rmdir()
        except OSError as error:
            raise OutputError(f"{self.path} cannot be emptied: {error.strerror}; remove it by hand") from error

    def _begin(self) -> None:
        """Make the folder and write the facts once."""
        with self._lock:
            facts = self.path / _FACTS
            if facts.exists():
                return
            self.path.mkdir(exist_ok=True)
            part = facts.with_suffix(".part")
            part.write_text(json.dumps(self._facts), encoding="utf-8")
            part.replace(facts)

    def _older(self) -> dict[str, Any] | None:
        try:
            read: dict[str, Any] = json.loads((self.path / _FACTS).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return read


def differences(older: Any, newer: Any, name: str = "") -> list[str]:
    """What differs between two sets of nested facts, in words.

    Parameters
    ----------
    older, newer : plain values, mappings or lists
    name : str
        What they are facts of.

    Returns
    -------
    list of str
    """
    if isinstance(older, dict) and isinstance(newer, dict):
        keys = list(dict.fromkeys([*older, *newer]))
        inner = [differences(older.get(k), newer.get(k), f"{name} {k}".strip()) for k in keys]
        return [text for found in inner for text in found]
    if isinstance(older, list) and isinstance(newer, list) and len(older) == len(newer):
        inner = [differences(a, b, f"{name} {k + 1}") for k, (a, b) in enumerate(zip(older, newer, strict=True))]
        return [text for found in inner for text in found]
    return [] if older == newer else [f"{name} was {older}, is {newer}"]
