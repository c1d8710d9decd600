"""What changed between two versions of a piece: level, balance, time, response, and the rest."""

from stagefx.difference.capture_faults import CaptureFault, capture_faults
from stagefx.difference.captured import Captured, CaptureFloor, take_apart_captured
from stagefx.difference.edits import Edit, find_edits
from stagefx.difference.gap_noise import GapNoise, NoiseFound, gap_noise
from stagefx.difference.hum import HumLine
from stagefx.difference.nulls import NullDepths
from stagefx.difference.parts import RemainderParts, told_apart
from stagefx.difference.phase import DelayFound
from stagefx.difference.picture import Moment, RemainderPicture, remainder_picture
from stagefx.difference.remainder_signal import explained_blocks, remainder_blocks
from stagefx.difference.residue import residue_blocks
from stagefx.difference.response import Band, Deviation, Response
from stagefx.difference.split import Difference, Loudness, take_apart
from stagefx.difference.transfer import TransferModel

__all__ = [
    "Band",
    "CaptureFault",
    "CaptureFloor",
    "Captured",
    "DelayFound",
    "Deviation",
    "Difference",
    "Edit",
    "GapNoise",
    "HumLine",
    "Loudness",
    "Moment",
    "NoiseFound",
    "NullDepths",
    "RemainderParts",
    "RemainderPicture",
    "Response",
    "TransferModel",
    "capture_faults",
    "explained_blocks",
    "find_edits",
    "gap_noise",
    "remainder_blocks",
    "remainder_picture",
    "residue_blocks",
    "take_apart",
    "take_apart_captured",
    "told_apart",
]
