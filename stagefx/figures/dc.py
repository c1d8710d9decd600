"""Figures of direct voltage."""

from __future__ import annotations

import numpy as np

from stagefx.circuit.dc import output_direct_v, speaker_direct_v
from stagefx.figures.definition import NO_AMPLIFIER, NO_CHAIN, Definition, Missing, Worked, Working

NO_BIAS_PATH = "no resistance leads the input's bias current to ground"


def _output(working: Working) -> Worked:
    if working.circuit.stage.amplifier is None:
        return Missing(NO_AMPLIFIER)
    return _bounded(output_direct_v(working.circuit))


def _speaker(working: Working) -> Worked:
    if working.circuit.stage.amplifier is None:
        return Missing(NO_AMPLIFIER)
    if working.circuit.stage.listening is None:
        return Missing(NO_CHAIN)
    found = speaker_direct_v(working.circuit)
    if found is None:
        return Missing("the power amplifier passes no direct voltage")
    return _bounded(found)


def _bounded(found: np.typing.NDArray[np.float64]) -> Worked:
    if np.all(np.isinf(found)):
        return Missing(NO_BIAS_PATH)
    return found


_CAUSES = (
    "amplifier.offset_voltage",
    "amplifier.bias_current",
    "volume",
    "amplifier.feedback_resistance",
    "source.offset",
)

DIRECT = (
    Definition(
        "output_dc_v", "V", "DC", "largest direct voltage at the amplifier's output",
        "N (offset + bias x |Rs - Rf || Rg|), worst sign, and the source's stated offset x gain",
        _CAUSES, _output,
    ),
    Definition(
        "speaker_dc_v", "V", "DC", "largest direct voltage at a loudspeaker",
        "the same x output network x power amplifier's gain, where that is DC-coupled; taken as "
        "DC-coupled where listening.amplifier_coupling is not stated",
        (*_CAUSES, "output.coupling", "listening.amplifier_coupling"), _speaker,
    ),
)  # fmt: skip
