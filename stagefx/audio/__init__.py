"""Files in blocks, levels and loudness, alignment, dither."""

from stagefx.audio.blocks import GRID_FRAMES, as_block
from stagefx.audio.chance import grid_generator
from stagefx.audio.dither import Quantised, dither_floor_dbfs, quantise
from stagefx.audio.files import AudioFormat, AudioReader, open_audio
from stagefx.audio.levels import (
    AWeightedMeter,
    a_weighted_level_db,
    match_gain_db,
    peak_dbfs,
    rms_dbfs,
)
from stagefx.audio.loudness import LoudnessMeter, integrated_loudness
from stagefx.audio.places import WholeFile, refuse_same_file
from stagefx.audio.true_peak import TruePeakMeter
from stagefx.audio.weighting import a_weighting_db, noise_weighting_db
from stagefx.audio.writing import AudioWriter

__all__ = [
    "GRID_FRAMES",
    "AWeightedMeter",
    "AudioFormat",
    "AudioReader",
    "AudioWriter",
    "LoudnessMeter",
    "Quantised",
    "TruePeakMeter",
    "WholeFile",
    "a_weighted_level_db",
    "a_weighting_db",
    "as_block",
    "dither_floor_dbfs",
    "grid_generator",
    "integrated_loudness",
    "match_gain_db",
    "noise_weighting_db",
    "open_audio",
    "peak_dbfs",
    "quantise",
    "refuse_same_file",
    "rms_dbfs",
]
