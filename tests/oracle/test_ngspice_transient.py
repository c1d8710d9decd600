"""Clipping, slewing and a charged reservoir in time against ngspice, a circuit simulator."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.limits import limits
from stagefx.circuit.supply.reservoirs import charged_through_resistance
from stagefx.effects.kind import Setup
from stagefx.render.chain import Chain
from stagefx.render.plan import stage_effects
from tests.oracle.ngspice import transient
from tests.played import LEAD_FRAMES, in_decibels

pytestmark = pytest.mark.simulator

Array = NDArray[np.float64]
Lines = NDArray[np.complex128]
RATE_HZ = 48000
FUNDAMENTAL_HZ = 1000.0
PAIR = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
SOURCE = {"level": "2.5 V rms", "resistance": "600 ohm"}
CABLE = {"length": "3 m", "capacitance_per_metre": "100 pF/m"}


def lines(volts: Array) -> Lines:
    """Harmonics 1 to 19 of one period of 1 ms, the last point left out."""
    return np.asarray(2j * np.fft.rfft(volts) / volts.size)[1:20]


def rendered(stage: Stage, tones: dict[float, float]) -> Lines:
    """Harmonics at the load, in volts, of tones of some peak EMF."""
    n = np.arange(-LEAD_FRAMES, RATE_HZ // 10 + LEAD_FRAMES)
    tone = sum(peak * np.sin(2.0 * np.pi * hz * n / RATE_HZ) for hz, peak in tones.items())
    effects = stage_effects(Setup(nominal(stage), RATE_HZ))
    keep = {effect.name for effect in effects} - {"noise"}
    with Chain(effects, RATE_HZ, 1, keep=keep) as chain:
        played = np.concatenate(list(chain.process([np.asarray(tone)[:, None]])))
        volts = played[LEAD_FRAMES:-LEAD_FRAMES, 0] * chain.unit_v
    return np.asarray(2j * np.fft.rfft(volts) / volts.size)[100 * np.arange(1, 20)]


def simulated(folder: Path, netlist: str, tones: dict[float, float], *, step_s: float) -> Lines:
    """The same by ngspice, from rest, of the fourth millisecond."""
    sources = "\n".join(
        f"Vt{k} t{k} {f't{k + 1}' if k + 1 < len(tones) else '0'} SIN(0 {peak!r} {hz!r})"
        for k, (hz, peak) in enumerate(tones.items())
    )
    drive = f"{sources}\nEemf emf 0 t0 0 1\nRt t0 0 1k"
    times, volts = transient(
        folder, f"{netlist}\n{drive}", node="load", start_s=2.9e-3, stop_s=4.1e-3, step_s=step_s
    )
    at = 3e-3 + np.arange(20000) * 5e-8
    return lines(np.interp(at, times, volts))


def worst_db(found: Lines, wanted: Lines) -> float:
    """Rms of the difference over rms of the whole, of all lines."""
    return float(in_decibels(np.linalg.norm(found - wanted) / np.linalg.norm(wanted)))


def test_uneven_clipping(tmp_path: Path) -> None:
    """Harmonics within 0.05 dB down to 60 dB, of a stage with rails of 12 and 10 V."""
    stage = stage_from(
        {
            "source": SOURCE,
            "input_cable": CABLE,
            "input": {"resistance": "100 kohm"},
            "amplifier": {**PAIR, "swing_loss_high": "1.5 V", "swing_loss_low": "2 V"},
            "supply": {"positive": "12 V", "negative": "-10 V"},
            "output": {"resistance": "100 ohm"},
            "output_cable": CABLE,
            "load": {"resistance": "10 kohm"},
        }
    )
    netlist = f"""
R1 emf socket 600
C1 socket 0 300p
R2 socket 0 100k
Bout out 0 V=min(max({1.0 + 10.0 / 3.3!r}*V(socket), -8), 10.5)
R3 out load 100
C2 load 0 300p
R4 load 0 10k
"""
    tones = {FUNDAMENTAL_HZ: 3.5}
    wanted, found = simulated(tmp_path, netlist, tones, step_s=2e-7), rendered(stage, tones)
    counted = in_decibels(wanted / wanted[0]) > -60.0
    assert np.count_nonzero(counted) > 10
    assert np.abs(in_decibels(found / wanted)[counted]).max() < 0.05
    assert worst_db(found, wanted) < -80.0


def two_stage(stage: Stage) -> str:
    """The textbook amplifier: a limited current into a capacitor, clamped where it stands."""
    found = limits(nominal(stage))
    assert found is not None
    assert found.slew_rise_v_per_s is not None
    slew = float(found.slew_rise_v_per_s[0])
    high = 1e3 if found.high_v is None else float(found.high_v[0])
    low = -1e3 if found.low_v is None else float(found.low_v[0])
    steering = slew * float(found.time_constant_s[0])
    per_us = slew * 1e-6
    drive = f"tanh((V(target)-V(out))/{steering!r})"
    below, above = f"V(out)<={low!r}", f"V(out)>={high!r}"
    kept = f"({above}) ? min({drive},0) : (({below}) ? max({drive},0) : {drive})"
    return f"""
Bt target 0 V={1.0 + 10.0 / 3.3!r}*V(emf)
Cc out 0 1u
Bc 0 out I={per_us!r}*({kept})
Vl out load 0
Rl load 0 1e12
"""


def slow_stage(**supply: Any) -> Stage:
    amplifier = {
        **PAIR,
        "gain_bandwidth": "1 MHz",
        "slew_rise": "0.5 V/us",
        "slew_fall": "0.5 V/us",
    }
    return stage_from({"source": {"level": "2 V rms"}, "amplifier": amplifier, **supply})


def test_slewing(tmp_path: Path) -> None:
    """A stage of 1 MHz and 0.5 V/us at 1.5 times its slew limit; the first and third harmonic."""
    stage = slow_stage()
    tones = {5000.0: 5.9}
    wanted = simulated(tmp_path, two_stage(stage), tones, step_s=5e-8)
    found = rendered(stage, tones)
    assert in_decibels(found[4] / wanted[4]) == pytest.approx(0.0, abs=0.01)
    assert in_decibels(found[14] / wanted[14]) == pytest.approx(0.0, abs=0.1)
    assert worst_db(found, wanted) < -60.0


def test_slewing_and_clipping_at_once(tmp_path: Path) -> None:
    """Two tones, within -54 dB where S T is 0.32 V."""
    stage = slow_stage(supply={"positive": "13.5 V", "negative": "-13 V"})
    tones = {7000.0: 9.0 / 4.0303, 8000.0: 9.0 / 4.0303}
    wanted = simulated(tmp_path, two_stage(stage), tones, step_s=5e-8)
    found = rendered(stage, tones)
    assert worst_db(found, wanted) < -54.0


RECTIFIERS = {
    "full": "Vu up 0 SIN(0 21.213203435596427 50)\nVd 0 dn SIN(0 21.213203435596427 50)",
    "half": "Vu up 0 SIN(0 21.213203435596427 50)",
}


@pytest.mark.parametrize("rectifier", RECTIFIERS)
def test_a_reservoir_behind_its_transformer(rectifier: str, tmp_path: Path) -> None:
    """Ripple and peak current within 1 %, valley within 10 mV; diodes of 0.8 V at any current."""
    supply = {
        "positive": "15 V",
        "negative": "-15 V",
        "secondary": "15 V rms",
        "transformer_resistance": "2.2 ohm",
        "rectifier": rectifier,
        "diode_drop": "0.8 V",
        "mains_frequency": "50 Hz",
        "reservoir": "1000 uF",
        "load_current": "50 mA",
    }
    found = charged_through_resistance(nominal(stage_from({"supply": supply})))
    assert found is not None
    branches = {"up": RECTIFIERS[rectifier]} | ({"dn": ""} if rectifier == "full" else {})
    netlist = "\n".join(
        f"{sources}\nRw{end} {end} w{end} 2.2\nVd{end} w{end} d{end} 0.8\nD{end} d{end} load ideal"
        for end, sources in branches.items()
    )
    netlist += "\n.model ideal D(is=1e-9 n=0.01)\nCr load 0 1000u ic=19\nIl load 0 50m"
    times, volts = transient(tmp_path, netlist, node="load", start_s=0.38, stop_s=0.4, step_s=2e-6)
    assert times[-1] == pytest.approx(0.4)
    assert float(found.lowest_v[0]) == pytest.approx(volts.min(), abs=0.01)
    assert float((found.highest_v - found.lowest_v)[0]) == pytest.approx(np.ptp(volts), rel=0.01)
    climb = np.gradient(volts, times).max()
    assert float(found.peak_a[0]) == pytest.approx(50e-3 + 1e-3 * climb, rel=0.01)
