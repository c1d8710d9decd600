"""The level plan: how much room the signal has at every station from the source to the speaker."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.knob import ASSUMED_PROGRAMME_DB
from stagefx.circuit.limits import limits
from stagefx.circuit.response import Response
from stagefx.figures.table import Figures
from stagefx.units import decibels


@dataclass(frozen=True)
class Station:
    """One place on the signal's way."""

    name: str
    full_scale_v_rms: float
    limit_v_rms: float | None = None
    limit_name: str = ""

    @property
    def programme_v_rms(self) -> float:
        """A programme at -18 LUFS, as it arrives here, V rms."""
        return float(self.full_scale_v_rms * 10.0 ** (ASSUMED_PROGRAMME_DB / 20.0))

    @property
    def headroom_db(self) -> float | None:
        """What a full-scale source leaves below the limit, dB; negative where it is over it."""
        if self.limit_v_rms is None or self.full_scale_v_rms == 0.0:
            return None
        return decibels(self.limit_v_rms / self.full_scale_v_rms)


def level_plan(figures: Figures) -> tuple[Station, ...]:
    """Follow a full-scale sine from the source to the speaker."""
    stage = figures.stage
    if stage.source.level is None:
        return ()
    circuit = nominal(stage)
    if figures.knob_position is not None:
        circuit = circuit.at_position(figures.knob_position)
    source_v = stage.source.level.value
    response = Response(circuit, np.array([1000.0]))
    stations = [Station("source", source_v)]
    if stage.amplifier is not None:
        there_v = source_v * abs(complex(response.to_amplifier_output[0, 0]))
        limit_v = _clip_v_rms(circuit)
        stations.append(Station("amplifier output", there_v, limit_v, "clips"))
    load_v = source_v * abs(complex(response.to_load[0, 0]))
    chain = stage.listening
    if chain is None:
        return (*stations, Station("load", load_v))
    gain = chain.amplifier_gain
    rated_v = None
    if chain.rated_power is not None and chain.speaker_impedance is not None:
        rated_v = math.sqrt(chain.rated_power.value * chain.speaker_impedance.value)
    needed_v = None if rated_v is None else rated_v / gain
    stations.append(Station("power amplifier input", load_v, needed_v, "rated power"))
    stations.append(Station("speaker", load_v * gain, rated_v, "rated power"))
    return tuple(stations)


def _clip_v_rms(circuit: Circuit) -> float | None:
    found = limits(circuit)
    if found is None or found.high_v is None or found.low_v is None:
        return None
    return float(min(found.high_v[0], -found.low_v[0]) / math.sqrt(2.0))
