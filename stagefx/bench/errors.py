"""What is wrong with a sheet of readings."""

from __future__ import annotations

from stagefx.errors import StagefxError


class ReadingsError(StagefxError):
    """A readings file, or what its readings say together, cannot be used."""


class MeasuringError(StagefxError):
    """A test signal, or a recording of one, cannot be measured."""
