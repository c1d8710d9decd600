"""The networks before and after the amplifier: source, control, cables, coupling, load."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from stagefx.circuit.circuit import Circuit
from stagefx.circuit.network.ladder import Part, coupling_poles, laplace, solve
from stagefx.circuit.network.placement import input_parts, load_parts, output_parts
from stagefx.dsp.fir_design import Array, Complex
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.effects.linear.sections import Corner, Linear

NAME = "loading"


def loading_before(circuit: Circuit) -> Linear:
    """From the source's EMF to the amplifier's input; without an amplifier, to the load."""
    parts = input_parts(circuit)
    if circuit.stage.amplifier is None:
        parts = [*parts, *output_parts(circuit), *load_parts(circuit)]
    return _network(parts)


def loading_after(circuit: Circuit) -> Linear:
    """From the amplifier's output to the load."""
    return _network([*output_parts(circuit), *load_parts(circuit)])


def _network(parts: list[Part]) -> Linear:
    def response(hz: Array) -> Complex:
        return np.asarray(solve(parts, laplace(hz)).transfer[0])

    gain = float(abs(response(np.array([1000.0]))[0]))
    corners = tuple(Corner(float(pole)) for pole in coupling_poles(parts))
    return Linear(NAME, response, gain, corners)


def _pieces(setup: Setup) -> Iterator[Piece]:
    yield Place.INPUT_NETWORK, loading_before(setup.circuit)
    if setup.circuit.stage.amplifier is not None:
        yield Place.OUTPUT_NETWORK, loading_after(setup.circuit)


EFFECT = EffectKind(
    NAME, "source, control, cables, coupling and load", (), lambda _stage: True, _pieces
)
