"""Invented landscapes with known answers, and the scoring against them."""

from wetscout.prove.found import Found
from wetscout.prove.kinds import KINDS, Options, options_of
from wetscout.prove.landscape import (
    Crossing,
    Landscape,
    Maps,
    Original,
    SoilPatch,
    TrueBasin,
    TrueCovered,
    TrueCulvert,
    TrueLine,
    TruePond,
)
from wetscout.prove.make import make_landscape
from wetscout.prove.report import Report, lines_of, pool_scores
from wetscout.prove.run import run_proof
from wetscout.prove.score import Score, score

__all__ = [
    "KINDS",
    "Crossing",
    "Found",
    "Landscape",
    "Maps",
    "Options",
    "Original",
    "Report",
    "Score",
    "SoilPatch",
    "TrueBasin",
    "TrueCovered",
    "TrueCulvert",
    "TrueLine",
    "TruePond",
    "lines_of",
    "make_landscape",
    "options_of",
    "pool_scores",
    "run_proof",
    "score",
]
