"""Netlists for ngspice, a general-purpose circuit simulator, and the numbers it gives back.

Small-signal netlists are written from `schematic.draw`, which knows a stage's description alone.
Noise comes from resistors only, as ngspice has no other generator: a resistor of en²/(4 k T) stands
for the device's voltage noise, and a transconductance turns another's into its current noise.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.oracle.schematic import Element

Array = NDArray[np.float64]
BOLTZMANN_J_PER_K = 1.380649e-23
KELVIN = 298.15
QUIET = " noisy=0"
_GENERATOR_OHM = 1e3


def elements_as_netlist(
    elements: list[Element],
    *,
    voltage_noise: float = 0.0,
    current_noise: float = 0.0,
    grounded_input: bool = False,
) -> str:
    """A drawn stage; the device's poles are made of quiet resistors and capacitors.

    The current noise of an input that stands on ground has nowhere to go.
    """
    lines: list[str] = []
    for number, element in enumerate(elements, start=1):
        nodes = " ".join(element.nodes)
        if element.kind == "W":
            lines.append(f"V{number} {nodes} 0")
        elif element.kind == "device":
            lines += _device(element, voltage_noise, current_noise, grounded_input=grounded_input)
        else:
            quiet = QUIET if element.name == "device output" else ""
            lines.append(f"{element.kind}{number} {nodes} {element.values[0]!r}{quiet}")
    return "\n".join(lines)


def _device(
    element: Element, voltage_noise: float, current_noise: float, *, grounded_input: bool
) -> list[str]:
    gain, unity, second = element.values
    end, ground, plus, minus = element.nodes
    lines = [
        f"Bd p1 0 V={gain!r}*(V({plus})-V({minus})+V(en))",
        f"Rd1 p1 p2 1{QUIET}",
        f"Cd1 p2 0 {gain / unity!r}",
        "Ed p3 0 p2 0 1",
        f"Rd2 p3 {end} 1{QUIET}" if np.isinf(second) else f"Rd2 p3 p4 1{QUIET}",
    ]
    if not np.isinf(second):
        lines += [f"Cd2 p4 0 {1.0 / second!r}", f"Ee {end} {ground} p4 0 1"]
    four_kt = 4.0 * BOLTZMANN_J_PER_K * KELVIN
    lines.append(f"Ren en 0 {max(voltage_noise**2 / four_kt, 1e-6)!r}")
    if current_noise > 0.0:
        per_volt = float(current_noise / np.sqrt(four_kt * _GENERATOR_OHM))
        inputs = [minus] if grounded_input else [plus, minus]
        for node in inputs:
            lines += [
                f"Rin{node} in{node} 0 {_GENERATOR_OHM!r}",
                f"Gin{node} 0 {node} in{node} 0 {per_volt!r}",
            ]
    return lines


def run(folder: Path, netlist: str, analysis: str, vectors: str) -> Array:
    """Columns that ngspice writes for some vectors after one analysis."""
    out = folder / "out.data"
    text = f"""* made by the tests
.options temp={KELVIN - 273.15} tnom={KELVIN - 273.15} reltol=1e-5 abstol=1e-12 vntol=1e-9
{netlist}
.control
set numdgt=14
{analysis}
wrdata {out} {vectors}
.endc
.end
"""
    deck = folder / "deck.cir"
    deck.write_text(text, encoding="ascii")
    done = subprocess.run(
        ["ngspice", "-b", str(deck)],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        timeout=60,
    )
    assert out.exists(), done.stdout + done.stderr
    return np.loadtxt(out)


def response(folder: Path, netlist: str, *, low_hz: float, high_hz: float) -> tuple[Array, Array]:
    """Frequencies, and what 1 V at `emf` makes of `load`, complex."""
    found = run(
        folder,
        f"{netlist}\nVemf emf 0 AC 1",
        f"ac dec 5 {low_hz!r} {high_hz!r}",
        "v(load)",
    )
    return found[:, 0], found[:, 1] + 1j * found[:, 2]


def noise(folder: Path, netlist: str, *, low_hz: float, high_hz: float) -> tuple[Array, Array]:
    """Frequencies, and the noise density at `load`, V/sqrt(Hz)."""
    found = run(
        folder,
        f"{netlist}\nVemf emf 0 AC 1",
        f"noise v(load) Vemf dec 5 {low_hz!r} {high_hz!r}\nsetplot noise1",
        "onoise_spectrum",
    )
    return found[:, 0], found[:, 1]


def transient(
    folder: Path, netlist: str, *, node: str, start_s: float, stop_s: float, step_s: float
) -> tuple[Array, Array]:
    """Times, and the voltage of a node, from when it has settled on."""
    found = run(
        folder,
        netlist,
        f"tran {step_s!r} {stop_s!r} {start_s!r} {step_s!r} uic",
        f"v({node})",
    )
    return found[:, 0], found[:, 1]
