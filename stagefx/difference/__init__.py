"""What changed between two versions of a piece: level, balance, time, response, and the rest."""

from stagefx.difference.nulls import NullDepths
from stagefx.difference.residue import residue_blocks
from stagefx.difference.response import Band, Deviation, Response
from stagefx.difference.split import Difference, Loudness, take_apart

__all__ = [
    "Band",
    "Deviation",
    "Difference",
    "Loudness",
    "NullDepths",
    "Response",
    "residue_blocks",
    "take_apart",
]
