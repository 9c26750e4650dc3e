"""What the layers say of a pool, and where soil counts as wet: counts of cells, so tiles add up exactly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.records import BOOL, Patch
from wetscout.records_covered import (
    CROP,
    DEVELOPED,
    HAY,
    POORLY,
    UNKNOWN_PERCENT,
    WATER,
    WETLAND,
    Evidence,
    Zone,
)
from wetscout.settings.evidence import EvidenceSettings


def _soil(hydric: NDArray[np.uint8] | None, drainage: NDArray[np.uint8] | None, least: float) -> tuple[BOOL, BOOL]:
    """Cells on wet soil, and cells whose soil is known."""
    given = hydric if hydric is not None else drainage
    assert given is not None
    wet, known = np.zeros(given.shape, dtype=bool), np.zeros(given.shape, dtype=bool)
    if hydric is not None:
        told = hydric != UNKNOWN_PERCENT
        wet |= told & (hydric >= least)
        known |= told
    if drainage is not None:
        # a percentage says more than the dominant class: the class decides where there is none
        alone = (drainage > 0) & ~known
        wet |= alone & (drainage >= POORLY)
        known |= alone
    return wet, known


def wet_soil(evidence: Evidence, s: EvidenceSettings) -> BOOL | None:
    """Cells on soil that counts as wet: hydric by percentage, poorly drained where no percentage is known.

    Parameters
    ----------
    evidence : Evidence
    s : EvidenceSettings

    Returns
    -------
    bool (rows, cols) or None
        None without soils.
    """
    if not evidence.soils:
        return None
    given = evidence.hydric if evidence.hydric is not None else evidence.drainage
    assert given is not None
    out: BOOL = large.empty(given.shape, np.bool_)
    for own, _, _ in large.strips((out.shape[0], out.shape[1])):
        hydric, drainage = (None if a is None else a[own] for a in (evidence.hydric, evidence.drainage))
        out[own] = _soil(hydric, drainage, s.hydric_least_pct)[0]
    return out


def zone_of(evidence: Evidence, pool: Patch, s: EvidenceSettings) -> Zone:
    """Shares of one pool.

    Parameters
    ----------
    evidence : Evidence
    pool : Patch
    s : EvidenceSettings

    Returns
    -------
    Zone
    """
    h, w = pool.mask.shape
    box = (slice(pool.row0, pool.row0 + h), slice(pool.col0, pool.col0 + w))
    cells = int(pool.mask.sum())
    least = max(1, int(np.ceil(s.known_least * cells)))
    percent = wet = farmed = wetland = built = None
    hydric = None if evidence.hydric is None else evidence.hydric[box][pool.mask]
    drainage = None if evidence.drainage is None else evidence.drainage[box][pool.mask]
    if hydric is not None:
        told = hydric[hydric != UNKNOWN_PERCENT]
        if told.size >= least:
            percent = float(told.sum(dtype=np.int64)) / told.size
    if evidence.soils:
        is_wet, known = _soil(hydric, drainage, s.hydric_least_pct)
        if known.sum() >= least:
            wet = float(is_wet.sum()) / float(known.sum())
    if evidence.cover is not None:
        cover = evidence.cover[box][pool.mask]
        known_cover = int((cover > 0).sum())
        if known_cover >= least:
            count = np.bincount(cover, minlength=8)
            # roads and yards beside a field are drawn in 30 m cells: the field is judged without them
            farmed = float(count[CROP] + count[HAY]) / max(known_cover - int(count[DEVELOPED]), 1)
            wetland = float(count[WETLAND] + count[WATER]) / known_cover
            built = float(count[DEVELOPED]) / known_cover
    return Zone(percent, wet, farmed, wetland, built)
