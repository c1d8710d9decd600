"""What a stage does, worked out on paper."""

from stagefx.stage.figures.definition import Definition, Missing, Working
from stagefx.stage.figures.table import DEFINITIONS, GROUPS, Figure, Figures, work_out

__all__ = [
    "DEFINITIONS",
    "GROUPS",
    "Definition",
    "Figure",
    "Figures",
    "Missing",
    "Working",
    "work_out",
]
