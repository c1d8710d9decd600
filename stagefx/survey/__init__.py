"""Whole collections: how often does anything happen in real music."""

from stagefx.survey.asked import Asked
from stagefx.survey.collection import Collection, Piece, find_pieces
from stagefx.survey.piece import survey_piece
from stagefx.survey.row import Hearing, Row, Strain
from stagefx.survey.summary import Extremes, Summary, sum_up
from stagefx.survey.survey import Survey, survey_folder

__all__ = [
    "Asked",
    "Collection",
    "Extremes",
    "Hearing",
    "Piece",
    "Row",
    "Strain",
    "Summary",
    "Survey",
    "find_pieces",
    "sum_up",
    "survey_folder",
    "survey_piece",
]
