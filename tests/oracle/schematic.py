"""A stage drawn as a list of elements between nodes, and two solvers that know nothing of ladders.

Written from the description of a stage alone, so that it shares no line with the network it
checks.  Nodes: ``emf``, ``socket`` (input), ``plus`` and ``minus`` (the device's inputs), ``out``
(the amplifier's output), ``load`` (the output socket); ground is ``0``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

import numpy as np

from stagefx.circuit.description.devices import device_figure
from stagefx.circuit.description.stage import Cable, Stage
from stagefx.units import Quantity, parse, ratio


@dataclass(frozen=True)
class Element:
    """A resistor, a capacitor, a controlled voltage, or the device (A0, w_t and w_2)."""

    kind: str
    name: str
    nodes: tuple[str, ...]
    values: tuple[float, ...]


@dataclass
class Schematic:
    """Elements as they are drawn, from left to right."""

    elements: list[Element] = field(default_factory=list)
    node: str = "emf"

    def add(self, kind: str, name: str, nodes: tuple[str, ...], *values: float) -> None:
        if kind == "R" and values[0] == 0.0:
            kind, values = "W", ()
        self.elements.append(Element(kind, name, nodes, values))

    def along(self, kind: str, name: str, value: Quantity | float | None) -> None:
        if value is not None:
            following = f"n{len(self.elements)}"
            self.add(kind, name, (self.node, following), float(value))
            self.node = following

    def across(self, kind: str, name: str, value: Quantity | float | None) -> None:
        if value is not None:
            self.add(kind, name, (self.node, "0"), float(value))

    def name_node(self, name: str) -> None:
        self.add("W", "wire", (self.node, name))
        self.node = name


def _cable_f(cable: Cable | None) -> float | None:
    if cable is None:
        return None
    if cable.capacitance is not None:
        return cable.capacitance.value
    assert cable.length is not None
    assert cable.capacitance_per_metre is not None
    return cable.length.value * cable.capacitance_per_metre.value


def _control(drawn: Schematic, stage: Stage, place: str) -> None:
    volume = stage.volume
    if volume is None or volume.place != place:
        return
    if volume.setting is not None:
        share = ratio(parse(volume.setting, "dB").value)
    else:
        share = float(volume.law.ratio(1.0 if volume.position is None else volume.position))
    drawn.along("R", "volume control", volume.resistance.value * (1.0 - share))
    drawn.across("R", "volume control", volume.resistance.value * share)


def _source(drawn: Schematic, stage: Stage) -> None:
    drawn.along("R", "source resistance", stage.source.resistance)
    drawn.along("C", "source coupling", stage.source.coupling)
    drawn.across("C", "input cable", _cable_f(stage.input_cable))


def _input(drawn: Schematic, stage: Stage) -> None:
    _control(drawn, stage, "before")
    if stage.input is not None:
        drawn.along("C", "input coupling", stage.input.coupling)
        drawn.along("R", "input series resistance", stage.input.series_resistance)
        drawn.across("C", "input shunt capacitance", stage.input.shunt_capacitance)
        drawn.across("R", "input resistance", stage.input.resistance)
        drawn.across("C", "input capacitance", stage.input.capacitance)


def _device(drawn: Schematic, stage: Stage, driven_by: tuple[str, str] | None) -> None:
    amplifier = stage.amplifier
    assert amplifier is not None

    def figure(key: str, ideal: float) -> float:
        found = device_figure(amplifier, key)
        return ideal if found is None else float(found[1])

    values = (
        figure("open_loop_gain", np.inf),
        2.0 * np.pi * figure("gain_bandwidth", np.inf),
        2.0 * np.pi * figure("second_pole", np.inf),
    )
    drawn.add("device", "device", ("inside", "0", *(driven_by or ("plus", "minus"))), *values)
    drawn.add("R", "device output", ("inside", "out"), figure("open_loop_output_resistance", 0.0))


def _feedback(drawn: Schematic, stage: Stage) -> None:
    amplifier = stage.amplifier
    assert amplifier is not None
    inverting = amplifier.topology == "inverting"
    if amplifier.gain is not None:
        # a gain without its parts: the same share fed back, and nothing loaded by it
        around = amplifier.gain + (1.0 if inverting else 0.0)
        if inverting:
            drawn.add("E", "ideal feedback", ("fed", "0", "out", "0"), 1.0 / around)
            drawn.add("E", "ideal input", ("minus", "fed", drawn.node, "0"), 1.0 - 1.0 / around)
            drawn.add("W", "wire", ("plus", "0"))
        else:
            drawn.add("E", "ideal feedback", ("minus", "0", "out", "0"), 1.0 / around)
            drawn.name_node("plus")
        return
    resistance = amplifier.feedback_resistance
    drawn.add("R", "feedback", ("out", "minus"), 0.0 if resistance is None else resistance.value)
    if amplifier.feedback_capacitance is not None and resistance is not None:
        drawn.add("C", "feedback C", ("out", "minus"), amplifier.feedback_capacitance.value)
    if amplifier.topology == "follower":
        drawn.name_node("plus")
        return
    if inverting:
        drawn.add("W", "wire", ("plus", "0"))
    else:
        drawn.name_node("plus")
        drawn.node = "minus"
    drawn.along("C", "gain leg capacitor", amplifier.gain_leg_capacitance)
    assert amplifier.gain_resistance is not None
    end = "minus" if inverting else "0"
    drawn.add("R", "gain resistance", (drawn.node, end), amplifier.gain_resistance.value)


def draw(
    stage: Stage,
    *,
    source: bool = True,
    load: bool = True,
    device_driven_by: tuple[str, str] | None = None,
) -> list[Element]:
    """Draw a stage.

    Without its source it begins at the socket; without its load it ends there; and the device
    may be driven from other nodes than its inputs, which opens the loop.
    """
    drawn = Schematic(node="emf" if source else "socket")
    if source:
        _source(drawn, stage)
        drawn.name_node("socket")
    _input(drawn, stage)
    if stage.amplifier is not None:
        _device(drawn, stage, device_driven_by)
        _feedback(drawn, stage)
        drawn.node = "out"
    if stage.output is not None:
        drawn.along("R", "output resistance", stage.output.resistance)
        drawn.along("C", "output coupling", stage.output.coupling)
    _control(drawn, stage, "after")
    drawn.name_node("load")
    if load:
        drawn.across("C", "output cable", _cable_f(stage.output_cable))
        if stage.load is not None:
            drawn.across("R", "load", stage.load.resistance)
            drawn.across("C", "load capacitance", stage.load.capacitance)
    return drawn.elements


# --- lcapy ---


def _exact(value: float) -> str:
    """A number that the symbolic library takes without rounding it."""
    return f"{{{Fraction(repr(float(value)))}}}"


def lcapy_netlist(elements: list[Element]) -> str:
    """Write the elements as a netlist, the device's poles made of resistors and capacitors."""
    lines: list[str] = []
    for number, element in enumerate(elements, start=1):
        nodes = " ".join(element.nodes)
        if element.kind == "W":
            lines.append(f"W{number} {nodes}")
        elif element.kind == "device":
            gain, unity, second = element.values
            end, ground, plus, minus = element.nodes
            lines += [
                f"E{number}a p1 {ground} {plus} {minus} {_exact(gain)}",
                f"R{number}a p1 p2 1",
                f"C{number}a p2 {ground} {_exact(gain / unity)}",
                f"E{number}b p3 {ground} p2 {ground} 1",
                f"R{number}b p3 p4 1",
                f"C{number}b p4 {ground} {_exact(1.0 / second)}",
                f"E{number}c {end} {ground} p4 {ground} 1",
            ]
        else:
            lines.append(f"{element.kind}{number} {nodes} {_exact(element.values[0])}")
    return "\n".join(lines) + "\n"


def evaluate(expression: Any, hz: np.ndarray) -> np.ndarray:
    """A rational function of s on the frequency axis, in exact arithmetic until the last step."""
    import sympy

    (symbol,) = expression.sympy.free_symbols or {sympy.Symbol("s")}
    above, below = sympy.fraction(sympy.cancel(expression.sympy))
    rows = [
        [Fraction(int(c.p), int(c.q)) for c in reversed(sympy.Poly(side, symbol).all_coeffs())]
        for side in (above, below)
    ]
    return np.array([_at(rows[0], f) / _at(rows[1], f) for f in 2.0 * np.pi * hz])


def _at(rising: list[Fraction], omega: float) -> complex:
    """Polynomial at j omega; scaled so that huge numbers fit into floats."""
    exact = Fraction(omega)
    signs = (1, 1, -1, -1)
    terms = [signs[k % 4] * c * exact**k for k, c in enumerate(rising)]
    size = max(abs(c) for c in rising)
    return complex(float(sum(terms[0::2]) / size), float(sum(terms[1::2]) / size)) * float(size)


# --- nodal analysis ---


def nodal(elements: list[Element], drive: str, omega: float) -> Callable[..., np.ndarray]:
    """Modified nodal analysis at one frequency; `drive` is held by a voltage source.

    Returns a function from the source's voltage and injected currents (node to amperes) to the
    voltages of named nodes.
    """
    s = 1j * omega
    names = sorted({n for e in elements for n in e.nodes} - {"0"} | {drive})
    index = {name: i for i, name in enumerate(names)}
    branches = [e for e in elements if e.kind in {"W", "E", "device"}]
    size = len(names) + len(branches) + 1
    matrix = np.zeros((size, size), dtype=np.complex128)

    def put(row: int, node: str, value: complex) -> None:
        if node != "0":
            matrix[row, index[node]] += value

    for element in elements:
        if element.kind in {"R", "C"}:
            value = element.values[0]
            admittance = 1.0 / value if element.kind == "R" else s * value
            for a, b in (element.nodes, element.nodes[::-1]):
                if a != "0":
                    put(index[a], a, admittance)
                    put(index[a], b, -admittance)
    for k, element in enumerate(branches, start=len(names)):
        a, b = element.nodes[:2]
        for node, sign in ((a, 1.0), (b, -1.0)):
            if node != "0":
                matrix[index[node], k] += sign
        # the branch's own law, over its gain: v(a, b)/A - v(controlling) = 0
        over = 1.0 if element.kind == "W" else _inverse_gain(element, s)
        put(k, a, over)
        put(k, b, -over)
        if element.kind != "W":
            put(k, element.nodes[2], -1.0)
            put(k, element.nodes[3], 1.0)
    matrix[index[drive], -1] += 1.0
    matrix[-1, index[drive]] += 1.0

    def solved(
        volts: complex, currents: dict[str, complex], *wanted: str, device_volts: float = 0.0
    ) -> np.ndarray:
        right = np.zeros(size, dtype=np.complex128)
        right[-1] = volts
        for k, element in enumerate(branches, start=len(names)):
            if element.kind == "device":
                right[k] = device_volts
        for node, amperes in currents.items():
            if node != "0":
                right[index[node]] += amperes
        found = np.linalg.solve(matrix, right)
        return np.array([0.0 if name == "0" else found[index[name]] for name in wanted])

    return solved


def _inverse_gain(element: Element, s: complex) -> complex:
    if element.kind == "E":
        return 1.0 / element.values[0]
    gain, unity, second = element.values
    return (1.0 / gain + s / unity) * (1.0 + s / second)
