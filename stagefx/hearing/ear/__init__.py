"""An ear after ITU-R BS.1387: what of a difference reaches hearing, when, and how high."""

from stagefx.hearing.ear.account import Course, EarAccount, Landscape, MaskAccount
from stagefx.hearing.ear.detection import EarPair
from stagefx.hearing.ear.masking import MaskMeter

__all__ = ["Course", "EarAccount", "EarPair", "Landscape", "MaskAccount", "MaskMeter"]
