"""The screen on one landscape."""

from __future__ import annotations

from wetscout.ingest import from_array
from wetscout.pipeline import screen_array
from wetscout.settings import Settings

from .make import Other
from .score import Figures, score
from .score_covered import CoveredFigures, evidence_of, score_covered


def screened(other: Other) -> tuple[Figures, list[CoveredFigures]]:
    """Screen a landscape and score it; one with covered drains twice, with and without its maps.

    Parameters
    ----------
    other : Other

    Returns
    -------
    Figures, list of CoveredFigures
    """
    alone = screen_array(other.z, other.cell_m)
    if other.maps is None:
        return score(other, alone), []
    settings = Settings()
    evidence = evidence_of(other, from_array(other.z, other.cell_m, settings.ingest).grid, settings)
    told = screen_array(other.z, other.cell_m, settings, evidence=evidence)
    return score(other, told), [score_covered(other, told, True), score_covered(other, alone, False)]
