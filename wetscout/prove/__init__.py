"""Invented landscapes with known answers, and the scoring against them."""

from wetscout.prove.false_finds import FALSE_FINDS, KindCount, false_find_lines, make_specimens, prove_false_finds
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
    "FALSE_FINDS",
    "KINDS",
    "Crossing",
    "Found",
    "KindCount",
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
    "false_find_lines",
    "lines_of",
    "make_landscape",
    "make_specimens",
    "options_of",
    "pool_scores",
    "prove_false_finds",
    "run_proof",
    "score",
]
