"""What a verdict has to say of direct voltage: it is no sound, and not always known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from stagefx.circuit.circuit import Circuit
from stagefx.circuit.dc import (
    bias_path_missing,
    coupling_unknown,
    direct_path,
    output_direct_v,
    speaker_direct_v,
)
from stagefx.circuit.network.placement import load_parts, output_parts
from stagefx.figures.faults import MOST_SPEAKER_DIRECT_V
from stagefx.units import show

DIRECT_VOLTAGE = "direct voltage"
"""Its name among what was not judged."""
_UNJUDGED, _EITHER = "Direct voltage behind ", "The power amplifier's coupling is not stated"


@dataclass(frozen=True)
class DirectVoltage:
    """What is to be said of two stages' direct voltage, and whether both were judged."""

    remarks: tuple[str, ...]
    judged: bool


def direct_voltage(circuits: Sequence[Circuit]) -> DirectVoltage:
    """Say what is not known of the direct voltage that reaches the loudspeakers."""
    remarks, reaching = [], []
    for circuit in circuits:
        name, why = circuit.stage.name, _unknown(circuit)
        if why:
            remarks.append(f"{_UNJUDGED}'{name}' was not judged: {why}.")
        elif coupling_unknown(circuit) and circuit.stage.amplifier is not None:
            at_speaker = speaker_direct_v(circuit)
            assert at_speaker is not None
            reaching.append(f"{_volts(float(at_speaker[0]))} behind '{name}'")
    judged = not remarks
    if reaching:
        remarks.append(
            f"{_EITHER} ([listening] amplifier_coupling), so direct voltage was judged for both: "
            "if it is DC-coupled, the loudspeaker gets "
            f"{' and '.join(dict.fromkeys(reaching))}, where {_volts(MOST_SPEAKER_DIRECT_V)} is "
            "the most there should be; if it is AC-coupled, none."
        )
    return DirectVoltage(tuple(dict.fromkeys(remarks)), judged)


def _unknown(circuit: Circuit) -> str:
    """Why the direct voltage at the loudspeaker cannot be known; empty where it can."""
    if circuit.stage.amplifier is None or not _passes(circuit):
        return ""
    chain, device = circuit.stage.listening, circuit.device
    if chain is not None and chain.amplifier_coupling == "ac":
        return ""
    if bias_path_missing(circuit):
        return "nothing leads the input's bias current to ground; state [input] resistance"
    unstated = [
        key
        for key, value in (
            ("offset_voltage", device.offset_voltage_v),
            ("bias_current", device.bias_current_a),
        )
        if value is None
    ]
    if unstated:
        are = "is" if len(unstated) == 1 else "are"
        return f"[amplifier] {' and '.join(unstated)} {are} not stated"
    if chain is None:
        at_output = _volts(float(output_direct_v(circuit)[0]))
        return f"it has up to {at_output} at its output, and no [listening] chain is described"
    return ""


def _passes(circuit: Circuit) -> bool:
    """Whether direct voltage gets from the amplifier's output to the load."""
    transfer, _ = direct_path([*output_parts(circuit), *load_parts(circuit)], circuit.draws)
    return bool(transfer[0] > 0.0)


def _volts(value: float) -> str:
    return show(value, "V", digits=3)


def is_direct(remark: str) -> bool:
    """Whether a remark is about direct voltage."""
    return remark.startswith((_UNJUDGED, _EITHER))
