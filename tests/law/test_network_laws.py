"""Laws of every network: scaling, reciprocity, passivity, Nyquist's noise, monotony."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, strategies as st

from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.network.ladder import BOLTZMANN_J_PER_K, Part, input_admittance, laplace, solve
from stagefx.circuit.response import Response
from tests.oracle.random_stages import random_stage

HZ = np.geomspace(1.0, 1e6, 13)
S = laplace(HZ)
SEEDS = st.integers(0, 100_000)
FACTORS = st.floats(0.01, 100.0)


@st.composite
def ladders(draw: st.DrawFn, *, kinds: tuple[str, ...] = ("resistor", "capacitor")) -> list[Part]:
    """Any ladder of one to eight parts."""
    parts = []
    for number in range(draw(st.integers(1, 8))):
        kind = draw(st.sampled_from(kinds))
        low, high = (1.0, 1e6) if kind == "resistor" else (1e-12, 1e-4)
        value = np.exp(draw(st.floats(np.log(low), np.log(high))))
        across = draw(st.booleans())
        parts.append(Part(f"part {number}", kind, np.array([[value]]), across=across))  # type: ignore[arg-type]
    return parts


def begun_with_a_resistor(parts: list[Part]) -> list[Part]:
    """So that the ladder has an impedance to its EMF."""
    return [Part("source", "resistor", np.array([[50.0]]), across=False), *parts]


def scaled(circuit: Circuit, *, ohm: float = 1.0, farad: float = 1.0) -> Circuit:
    """All resistances and all capacitances of the network times a factor each."""
    names = {f.name for f in fields(circuit)}
    changes = {}
    for name in names:
        value = getattr(circuit, name)
        factor = {"ohm": ohm, "f": farad}.get(name.rpartition("_")[2])
        if isinstance(value, np.ndarray) and factor is not None:
            changes[name] = value * factor
    device = circuit.device
    if device.open_loop_output_ohm is not None:
        device = replace(device, open_loop_output_ohm=device.open_loop_output_ohm * ohm)
    return replace(circuit, device=device, **changes)


# --- scaling ---


@given(seed=SEEDS, factor=FACTORS)
def test_impedances_that_scale_together_leave_the_transfer_alone(seed: int, factor: float) -> None:
    circuit = nominal(stage_from(random_stage(seed)))
    before = Response(circuit, HZ)
    after = Response(scaled(circuit, ohm=factor, farad=1.0 / factor), HZ)
    np.testing.assert_allclose(after.to_load, before.to_load, rtol=1e-10)
    np.testing.assert_allclose(
        after.input_impedance_ohm, factor * before.input_impedance_ohm, rtol=1e-10
    )
    np.testing.assert_allclose(
        after.output_impedance_ohm, factor * before.output_impedance_ohm, rtol=1e-10
    )


@given(seed=SEEDS, factor=FACTORS)
def test_smaller_capacitors_do_at_higher_frequencies_the_same(seed: int, factor: float) -> None:
    tables = random_stage(seed)
    for key in ("gain_bandwidth", "second_pole", "open_loop_gain"):
        del tables["amplifier"][key]
    circuit = nominal(stage_from(tables))
    before = Response(circuit, HZ).to_load
    after = Response(scaled(circuit, farad=1.0 / factor), HZ * factor).to_load
    np.testing.assert_allclose(after, before, rtol=1e-10)


# --- ladders ---


@given(parts=ladders())
def test_reciprocity(parts: list[Part]) -> None:
    """The short-circuit current is the same, whichever end is driven."""
    ladder = begun_with_a_resistor(parts)
    forward, backward = solve(ladder, S), solve(ladder[::-1], S, driven_from_ohm=None)
    there = forward.transfer / forward.impedance_ohm
    # driven from the other end, the short stands where the EMF was: at the 50 ohm
    before_last = solve(ladder[:0:-1], S)
    back = before_last.transfer / (before_last.impedance_ohm + 50.0)
    np.testing.assert_allclose(back, there, rtol=1e-9)
    np.testing.assert_allclose(back, backward.transfer / backward.impedance_ohm, rtol=1e-9)


@given(parts=ladders())
def test_a_ladder_seen_from_either_end(parts: list[Part]) -> None:
    """From its end with the EMF shorted is from its beginning, turned round."""
    ladder = begun_with_a_resistor(parts)
    short = np.zeros((1, HZ.size), dtype=np.complex128)
    seen = input_admittance(ladder[::-1], S, ended_by_ohm=short)
    np.testing.assert_allclose(1.0 / seen, solve(ladder, S).impedance_ohm, rtol=1e-10)


@given(parts=ladders())
def test_a_passive_network_gives_no_power_and_no_gain(parts: list[Part]) -> None:
    """Of resistors and capacitors in a ladder, no voltage exceeds the EMF."""
    ladder = begun_with_a_resistor(parts)
    found = solve(ladder, S)
    assert np.abs(found.transfer).max() <= 1.0 + 1e-12
    assert (found.impedance_ohm.real >= -1e-12 * np.abs(found.impedance_ohm)).all()
    admittance = input_admittance(ladder, S)
    assert (admittance.real >= -1e-12 * np.abs(admittance)).all()


@given(parts=ladders(), kelvin=st.floats(200.0, 400.0))
def test_noise_of_the_parts_is_that_of_the_impedance(parts: list[Part], kelvin: float) -> None:
    """4 k T Re Z, part by part: Nyquist, Physical Review 32 (1928), 110-113."""
    found = solve(begun_with_a_resistor(parts), S, temperature_k=kelvin)
    wanted = 4.0 * BOLTZMANN_J_PER_K * kelvin * found.impedance_ohm.real
    scale = 4.0 * BOLTZMANN_J_PER_K * kelvin * np.abs(found.impedance_ohm)
    assert (np.abs(sum(found.noise.values()) - wanted) <= 1e-9 * wanted + 1e-12 * scale).all()


@given(parts=ladders(kinds=("resistor",)))
def test_of_resistors_alone_no_frequency_matters(parts: list[Part]) -> None:
    found = solve(begun_with_a_resistor(parts), S)
    assert np.ptp(found.transfer.real) <= 1e-15
    assert np.abs(found.transfer.imag).max() == 0.0


def test_shorts_and_nothing_at_all() -> None:
    """A control at zero or at full is a short on one side: no division by nothing."""
    zero, thousand = np.zeros((1, 1)), np.full((1, 1), 1e3)
    at_zero = [
        Part("upper", "resistor", thousand, across=False),
        Part("lower", "resistor", zero, across=True),
    ]
    at_full = [
        Part("upper", "resistor", zero, across=False),
        Part("lower", "resistor", thousand, across=True),
    ]
    beyond = [Part("load", "resistor", thousand, across=True)]
    assert solve(at_zero, S).transfer.max() == 0.0
    assert solve(at_zero, S).impedance_ohm.max() == 0.0
    assert (input_admittance([*at_zero, *beyond], S) == 1e-3).all()
    assert (input_admittance([*at_full, *beyond], S) == 2e-3).all()
    assert np.isinf(input_admittance([at_zero[1]], S)).all()
    assert solve([], S).transfer.min() == 1.0
    assert input_admittance([], S).max() == 0.0


# --- the amplifier ---


@given(seed=SEEDS)
def test_closed_loop_over_ideal_gain_is_t_over_1_plus_t(seed: int) -> None:
    """Of non-inverting amplifiers and followers; an inverting one also feeds forward."""
    stage = stage_from(random_stage(seed - seed % 3 + (0, 2)[seed % 2]))
    amplifier = Amplifier(nominal(stage), S)
    assert amplifier.topology != "inverting"
    loop = amplifier.loop_gain
    np.testing.assert_allclose(
        amplifier.closed_loop_gain, amplifier.ideal_gain * loop / (1.0 + loop), rtol=1e-10
    )


@given(seed=SEEDS)
def test_a_better_device_comes_ever_nearer_to_the_ideal(seed: int) -> None:
    tables = random_stage(seed)
    ideal = {"open_loop_gain", "gain_bandwidth", "second_pole"}
    parts = {k: v for k, v in tables["amplifier"].items() if k not in ideal}
    wanted = Response(nominal(stage_from(tables | {"amplifier": parts})), HZ).to_load
    errors = []
    for megahertz in (10, 1_000, 100_000):
        device = {"gain_bandwidth": f"{megahertz} MHz"}
        found = Response(nominal(stage_from(tables | {"amplifier": parts | device})), HZ).to_load
        errors.append(np.abs(found[0, :9] / wanted[0, :9] - 1.0).max())
    assert errors[2] < 0.02 * errors[1] + 1e-9
    assert errors[1] < 0.02 * errors[0] + 1e-9


# --- monotony ---


def treble_db(**tables: dict[str, object]) -> float:
    curve = np.abs(Response(nominal(stage_from(tables)), np.array([2e4, 1e2])).to_load[0])
    return float(20.0 * np.log10(curve[0] / curve[1]))


def test_a_longer_cable_takes_more_treble() -> None:
    control = {"resistance": "50 kohm", "position": 0.5}
    losses = [
        treble_db(
            volume=control,
            output_cable={"length": f"{metres} m", "capacitance_per_metre": "100 pF/m"},
        )
        for metres in (0, 1, 3, 10, 30)
    ]
    assert losses[0] == pytest.approx(0.0, abs=1e-12)
    assert (np.diff(losses) < 0.0).all()


def test_a_control_turned_up_is_louder() -> None:
    for taper in ("linear", "audio 10 %", "audio 15 %", "exponential 60 dB"):
        volume = {"resistance": "10 kohm", "taper": taper, "position": 0.0}
        circuit = nominal(stage_from({"volume": volume, "load": {"resistance": "5 kohm"}}))
        kilohertz = np.array([1e3])
        levels = [
            abs(Response(circuit.at_position(p), kilohertz).to_load[0, 0])
            for p in np.linspace(0.0, 1.0, 41)
        ]
        assert (np.diff(levels) > 0.0).all()
