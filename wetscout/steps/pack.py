"""Records as plain arrays, to keep them between two runs."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from wetscout.linework.trace import Cells
from wetscout.records import Crossing, Ditch, Embankment, Linework
from wetscout.records_along import BedStep

Arrays = dict[str, NDArray[Any]]
Record = TypeVar("Record")

_KINDS: dict[str, type[Any]] = {
    "ditches": Ditch,
    "embankments": Embankment,
    "crossings": Crossing,
    "bed_steps": BedStep,
}


def pack_lines(lines: Linework) -> Arrays:
    """Lines as arrays.

    Parameters
    ----------
    lines : Linework

    Returns
    -------
    dict of str to array
        All bits are kept.
    """
    out: Arrays = {}
    for name in _KINDS:
        out |= {f"{name}.{key}": value for key, value in _pack(getattr(lines, name)).items()}
    return out


def unpack_lines(arrays: Mapping[str, NDArray[Any]]) -> Linework:
    """Lines from the arrays of `pack_lines`.

    Parameters
    ----------
    arrays : mapping of str to array

    Returns
    -------
    Linework
    """
    parts = {}
    for name, kind in _KINDS.items():
        mine = {key.partition(".")[2]: value for key, value in arrays.items() if key.startswith(f"{name}.")}
        parts[name] = _unpack(kind, mine)
    return Linework(**parts)


def _pack(records: Sequence[Any]) -> Arrays:
    """Fields that are arrays end to end with their lengths; the others as JSON, which keeps every bit of a number."""
    out: Arrays = {"count": np.array(len(records))}
    plain = []
    for k, record in enumerate(records):
        values = {f.name: getattr(record, f.name) for f in fields(record)}
        plain.append({n: v for n, v in values.items() if not isinstance(v, np.ndarray)})
        if k == 0:
            for name in (n for n, v in values.items() if isinstance(v, np.ndarray)):
                every = [getattr(r, name) for r in records]
                out[f"array.{name}"] = np.concatenate(every)
                out[f"length.{name}"] = np.array([a.size for a in every], dtype=np.int64)
    out["plain"] = np.frombuffer(json.dumps(plain, default=_plain).encode(), dtype=np.uint8)
    return out


def _plain(value: Any) -> Any:
    """A number of numpy's as one of Python's."""
    return value.item()


def _unpack(kind: type[Record], arrays: Mapping[str, NDArray[Any]]) -> tuple[Record, ...]:
    plain = json.loads(arrays["plain"].tobytes())
    names = [key.partition(".")[2] for key in arrays if key.startswith("array.")]
    for name in names:
        ends = np.cumsum(arrays[f"length.{name}"])
        for values, part in zip(plain, np.split(arrays[f"array.{name}"], ends[:-1]), strict=True):
            values[name] = part.copy()
    return tuple(kind(**values) for values in plain)


def pack_cells(answers: Sequence[Cells]) -> Arrays:
    """Kept cells of one tile as arrays.

    Parameters
    ----------
    answers : sequence of Cells

    Returns
    -------
    dict of str to array
    """
    named = [(f"{k}.{name}", value) for k, cells in enumerate(answers) for name, value in asdict(cells).items()]
    return {name: np.asarray(value) for name, value in named}


def unpack_cells(arrays: Mapping[str, NDArray[Any]]) -> tuple[Cells, ...]:
    """Kept cells from the arrays of `pack_cells`.

    Parameters
    ----------
    arrays : mapping of str to array

    Returns
    -------
    tuple of Cells
    """
    count = 1 + max((int(key.partition(".")[0]) for key in arrays), default=-1)
    out = []
    for k in range(count):
        keys, depth, saturation, direction = (arrays[f"{k}.{n}"] for n in ("keys", "depth", "saturation", "direction"))
        out.append(Cells(keys, depth, saturation, direction, int(arrays[f"{k}.cols"])))
    return tuple(out)
