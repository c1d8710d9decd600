"""What instruments say of a real stage, and what stage that makes."""

from stagefx.bench.derive import stage_from_readings
from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings import Readings, load_readings, read_readings
from stagefx.bench.report import BenchStage

__all__ = [
    "BenchStage",
    "Readings",
    "ReadingsError",
    "load_readings",
    "read_readings",
    "stage_from_readings",
]
