"""A stage's free figures adjusted to what was measured of a real one."""

from stagefx.bench.fitted.adjust import fit_stage
from stagefx.bench.fitted.report import FittedFigure, FittedStage, Row
from stagefx.bench.fitted.rounds import Round, load_round

__all__ = ["FittedFigure", "FittedStage", "Round", "Row", "fit_stage", "load_round"]
