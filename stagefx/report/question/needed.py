"""The values of a stage that a question needs, asked for by name where they are not stated."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.files import WIRE
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import set_knob
from stagefx.figures.dc import NO_BIAS_PATH
from stagefx.figures.definition import (
    NO_CHAIN,
    NO_LEVEL,
    NO_RATED_POWER,
    NO_SUPPLY,
    Missing,
    Working,
)
from stagefx.figures.table import DEFINITIONS

_ASKS_FOR = {
    NO_LEVEL: ("source.level",),
    NO_CHAIN: ("listening.amplifier_gain", "listening.speaker_sensitivity", "listening.distance"),
    NO_RATED_POWER: ("listening.rated_power", "listening.speaker_impedance"),
    NO_SUPPLY: ("supply.positive", "supply.negative"),
    NO_BIAS_PATH: ("input.resistance",),
    "no speaker_impedance is described": ("listening.speaker_impedance",),
    "no regulator is described": ("supply.regulator_dropout",),
    "infinite: no gain-bandwidth is stated": ("amplifier.gain_bandwidth",),
    "infinite: no slew rate is stated": ("amplifier.slew_rise",),
    "the device's supply_rejection is not stated": ("amplifier.supply_rejection",),
}
"""What would have to be stated, by the reason why a figure has no number."""
_DIRECT = frozenset({"output_dc_v", "speaker_dc_v"})


def needed(stage: Stage, figures: Sequence[str]) -> tuple[str, ...]:
    """Keys (``table.key``) that a stage does not state and that figures, or music, need.

    The ideal stage needs none; nor does a figure that a stage cannot have, like the slew of a
    stage without an amplifier.
    """
    if stage.model_copy(update={"source": WIRE.source}) == WIRE:
        return ()
    missing = [] if stage.source.level is not None else ["source.level"]
    circuit = set_knob(nominal(stage)).circuit
    working = Working(circuit)
    for definition in DEFINITIONS:
        if definition.key not in figures:
            continue
        found = definition.work(working)
        if isinstance(found, Missing):
            missing += _keys(found.reason)
        elif definition.key in _DIRECT:
            missing += _device_keys(circuit)
    return tuple(dict.fromkeys(missing))


def _keys(reason: str) -> tuple[str, ...]:
    """The keys behind a reason; none where the figure has no place in such a stage."""
    named = re.fullmatch(r"\[(\w+)\] (.+) (?:is|are) not stated", reason)
    if named is not None:
        return tuple(f"{named[1]}.{key}" for key in named[2].split(", "))
    return _ASKS_FOR.get(reason, ())


def _device_keys(circuit: Circuit) -> Iterator[str]:
    """What an ideal device would have none of, and no real one is without."""
    if circuit.device.offset_voltage_v is None:
        yield "amplifier.offset_voltage"
    if circuit.device.bias_current_a is None:
        yield "amplifier.bias_current"
