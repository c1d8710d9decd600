"""What a recording of a test signal says of the stage it was played through."""

from stagefx.bench.errors import MeasuringError
from stagefx.bench.measuring.analysis import CHANNELS, measure_signal
from stagefx.bench.measuring.files import measure_files
from stagefx.bench.measuring.measure import measure
from stagefx.bench.measuring.measurement import (
    Measurement,
    load_measurement,
    measurement_from_json,
    merged,
)

__all__ = [
    "CHANNELS",
    "Measurement",
    "MeasuringError",
    "load_measurement",
    "measure",
    "measure_files",
    "measure_signal",
    "measurement_from_json",
    "merged",
]
