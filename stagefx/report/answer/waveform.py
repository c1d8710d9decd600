"""A few milliseconds of the output where the change clips, in volts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import Circuit
from stagefx.circuit.limits import limits
from stagefx.circuit.response import Response
from stagefx.io.recording import Recording

if TYPE_CHECKING:
    from stagefx.render.report import RenderReport

Array = NDArray[np.float64]

HALF_S = 0.001
"""So much is shown on either side of the largest difference."""
MOMENT_S = 0.2
"""Length of a moment of a render's report."""


@dataclass(frozen=True)
class Waveform:
    """A stretch of the amplifier's output."""

    start_s: float
    rate_hz: int
    asked_v: Array
    given_v: Array
    clip_high_v: float
    clip_low_v: float

    @property
    def most_asked_v(self) -> float:
        """Largest magnitude that the music asks for here, V."""
        return float(np.abs(self.asked_v).max())


def waveform_of(
    first: Recording,
    second: Recording,
    report: RenderReport,
    circuit: Circuit,
    passage: tuple[float, float],
) -> Waveform | None:
    """The output round the worst moment of a change that clips."""
    found, source = limits(circuit), circuit.stage.source.level
    moments = [one for one in report.worst_moments if one.clipped_frames
               and passage[0] <= one.time_s < passage[1]]  # fmt: skip
    if not moments or source is None or found is None:
        return None
    if found.high_v is None or found.low_v is None:
        return None
    gain = np.abs(Response(circuit, np.array([1000.0])).to_amplifier_output).ravel()[0]
    volts = math.sqrt(2.0) * source.value * float(gain)
    rate_hz, frames = first.format.rate_hz, first.format.frames
    start = round(moments[0].time_s * rate_hz)
    stop = min(start + round(MOMENT_S * rate_hz), frames)
    one, other = first.read(start, stop), second.read(start, stop)
    place, channel = np.unravel_index(int(np.argmax(np.abs(one - other))), one.shape)
    begin = max(0, start + int(place) - round(HALF_S * rate_hz))
    end = min(frames, begin + 2 * round(HALF_S * rate_hz))
    return Waveform(
        begin / rate_hz,
        rate_hz,
        volts * first.read(begin, end)[:, channel],
        volts * second.read(begin, end)[:, channel],
        float(found.high_v.ravel()[0]),
        float(found.low_v.ravel()[0]),
    )
