"""Land cover codes turned into the few classes that matter here."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.errors import SettingsError
from wetscout.records_covered import COVER, OTHER, U8
from wetscout.settings.evidence import EvidenceSettings

# codes of land cover rasters are bytes; larger ones would need a table of their own
_MOST = 255


def _codes(text: str, name: str) -> set[int]:
    """Numbers of a list like `21-24, 82`."""
    out: set[int] = set()
    for part in filter(None, (p.strip() for p in text.split(","))):
        ends = [e.strip() for e in part.split("-")]
        if len(ends) > 2 or not all(e.isdigit() for e in ends) or int(ends[-1]) > _MOST or int(ends[0]) > int(ends[-1]):
            raise SettingsError(
                f"[evidence] {name} = {text!r}: {part!r} is no code. Wanted: whole numbers from 0 to {_MOST} with "
                "commas, ranges with a hyphen, like 21-24, 82."
            )
        out.update(range(int(ends[0]), int(ends[-1]) + 1))
    return out


def cover_codes(s: EvidenceSettings) -> dict[int, int]:
    """Class number of every code that the settings name.

    Parameters
    ----------
    s : EvidenceSettings

    Returns
    -------
    dict of int to int
        Code to number in COVER.

    Raises
    ------
    SettingsError
        A code that is none, or one that stands in two classes.
    """
    table: dict[int, int] = {}
    for number, word in enumerate(COVER[1:OTHER], start=1):
        for code in sorted(_codes(str(getattr(s, f"{word}_codes")), f"{word}_codes")):
            if code in table:
                raise SettingsError(
                    f"[evidence] the land cover code {code} stands under {COVER[table[code]]}_codes and {word}_codes; "
                    "each code belongs to one class."
                )
            table[code] = number
    return table


def cover_classes(codes: NDArray[Any], valid: NDArray[np.bool_], s: EvidenceSettings) -> tuple[U8, tuple[str, ...]]:
    """Land cover cell by cell.

    Parameters
    ----------
    codes : integer (rows, cols)
        Codes of the raster, one for each cell of the DEM (nearest).
    valid : bool (rows, cols)
        Where the raster holds data.
    s : EvidenceSettings

    Returns
    -------
    cover : uint8 (rows, cols)
        Number in COVER.
    notes : tuple of str

    Raises
    ------
    SettingsError
        As `cover_codes`.
    """
    lookup = np.full(_MOST + 1, OTHER, dtype=np.uint8)
    for code, number in cover_codes(s).items():
        lookup[code] = number
    cover: U8 = large.empty(codes.shape, np.uint8)
    seen: set[int] = set()
    counts = np.zeros(256, np.int64)
    for own, _, _ in large.strips((codes.shape[0], codes.shape[1])):
        inside = valid[own] & (codes[own] >= 0) & (codes[own] <= _MOST)
        cover[own] = np.where(inside, lookup[np.where(inside, codes[own], 0).astype(np.int64)], np.uint8(0))
        counts += np.bincount(cover[own].ravel(), minlength=256)
        seen |= set(np.unique(codes[own][inside]).tolist())
    notes = []
    if seen and not counts[1:OTHER].any():
        some = ", ".join(str(v) for v in sorted(seen)[:8])
        notes.append(
            f"land cover: none of its codes here ({some}) is named in the settings, so it says nothing; name them "
            "under [evidence]"
        )
    return cover, tuple(notes)
