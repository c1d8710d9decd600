"""Single steps of working a circuit out: which parts stand where, direct current, supply, device.

What comes of them together is held against handbooks and other programs elsewhere.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from stagefx.circuit.amplifier.loop import feedback_loop
from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.dc import direct_path
from stagefx.circuit.description.devices import device_class
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.description.taper import setting_ratio
from stagefx.circuit.knob import rated_input_v
from stagefx.circuit.limits import current_reach_v, current_slope_v_per_s, rail_swing_v
from stagefx.circuit.network.ladder import Part, inverse
from stagefx.circuit.network.placement import leg_parts, load_parts, socket_parts, source_parts
from stagefx.circuit.network.rational import (
    UNIT_RAD_PER_S,
    Ratio,
    fast_admittance,
    fast_source_impedance,
)
from stagefx.circuit.supply.charging import Winding
from stagefx.circuit.supply.psrr import regulator_noise_density, ripple_lines
from stagefx.circuit.supply.reservoirs import crest_v, ripple_hz
from stagefx.circuit.values import chain_values, device_values, supply_values
from stagefx.effects.linear.bandwidth import feedback_parts, loop_speed
from stagefx.effects.linear.loading import loading_after, loading_before
from stagefx.errors import StageError
from stagefx.figures.definition import decibels_of

ONE = np.ones((1, 1))
RAILS = {"positive": "15 V", "negative": "-15 V"}
PAIR = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}


def circuit_of(**tables: Any) -> Circuit:
    return nominal(stage_from(tables))


def resistor(ohm: float, *, across: bool) -> Part:
    return Part("r", "resistor", ohm * ONE, across=across)


def capacitor(farad: float, *, across: bool) -> Part:
    return Part("c", "capacitor", farad * ONE, across=across)


def names(parts: list[Part]) -> list[str]:
    return [part.name for part in parts]


def test_a_stage_of_nothing_has_only_its_source() -> None:
    bare = circuit_of()
    assert names(source_parts(bare)) == ["source resistance"]
    assert socket_parts(bare) == []
    assert load_parts(bare) == []


def test_parts_stand_in_the_order_in_which_the_signal_meets_them() -> None:
    stage = {
        "resistance": "47 kohm", "coupling": "1 uF", "shunt_capacitance": "100 pF",
    }  # fmt: skip
    assert names(socket_parts(circuit_of(input=stage))) == [
        "input coupling",
        "input shunt capacitance",
        "input resistance",
    ]


def test_the_load_hangs_across_the_output() -> None:
    load = {"resistance": "10 kohm", "capacitance": "220 pF"}
    parts = load_parts(circuit_of(load=load))
    assert {part.kind for part in parts} == {"resistor", "capacitor"}
    assert all(part.across for part in parts)


def test_only_an_inverting_amplifier_is_fed_through_its_gain_leg() -> None:
    assert leg_parts(circuit_of(amplifier=PAIR)) == []
    turned = circuit_of(amplifier=PAIR | {"topology": "inverting"})
    assert names(leg_parts(turned)) == ["gain resistance"]


def test_an_impedance_turned_over_twice_is_itself_and_a_short_is_infinite() -> None:
    value = np.array([2.0 + 0.0j, 3.0 - 4.0j])
    np.testing.assert_allclose(inverse(inverse(value)), value)
    assert np.isinf(inverse(np.array([0.0j]))[0])


def worth(ratio: Ratio, hz: float) -> complex:
    """What a ratio of polynomials comes to at a frequency."""
    s = 2j * np.pi * hz / UNIT_RAD_PER_S
    above, below = (np.polyval(row[0][::-1], s) for row in (ratio.above, ratio.below))
    return complex(above / below)


@pytest.mark.parametrize("hz", [100.0, 20e3, 3e6])
def test_a_ladder_s_admittance_as_a_ratio_is_that_of_complex_arithmetic(hz: float) -> None:
    """47 ohm, then 1 nF with 10 kohm across."""
    parts = [resistor(47.0, across=False), capacitor(1e-9, across=True),
             resistor(10e3, across=True)]  # fmt: skip
    s = 2j * np.pi * hz
    expected = 1.0 / (47.0 + 1.0 / (s * 1e-9 + 1e-4))
    assert worth(fast_admittance(parts, 1), hz) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("hz", [100.0, 20e3, 3e6])
def test_a_ladder_s_source_impedance_as_a_ratio_is_that_of_complex_arithmetic(hz: float) -> None:
    parts = [resistor(600.0, across=False), capacitor(1e-9, across=True)]
    expected = 1.0 / (1.0 / 600.0 + 2j * np.pi * hz * 1e-9)
    assert worth(fast_source_impedance(parts, 1), hz) == pytest.approx(expected, rel=1e-9)


def test_direct_current_ends_at_a_capacitor_in_series_and_passes_by_one_across() -> None:
    stopped = [capacitor(1e-6, across=False), resistor(47e3, across=True)]
    transfer, ohm = direct_path(stopped, 1)
    assert (transfer[0], ohm[0]) == (0.0, 47e3)
    passed = [resistor(1e3, across=False), capacitor(1e-6, across=True),
              resistor(3e3, across=True)]  # fmt: skip
    transfer, ohm = direct_path(passed, 1)
    assert (transfer[0], ohm[0]) == pytest.approx((0.75, 750.0))


def test_a_capacitor_at_the_end_of_a_ladder_leaves_no_way_for_direct_current() -> None:
    transfer, ohm = direct_path([capacitor(1e-6, across=False)], 1)
    assert transfer[0] == 0.0
    assert np.isinf(ohm[0])


def test_a_current_charges_a_capacitor_at_i_over_c_until_a_resistor_keeps_them_apart() -> None:
    """20 mA into 10 nF: 2 V/us."""
    amplifier = {"topology": "follower", "output_current": "20 mA"}
    load = {"capacitance": "10 nF"}
    slope = current_slope_v_per_s(circuit_of(amplifier=amplifier, load=load))
    assert slope is not None
    assert slope[0, 0] == pytest.approx(2e6)
    apart = circuit_of(amplifier=amplifier, load=load, output={"resistance": "100 ohm"})
    assert current_slope_v_per_s(apart) is None


@pytest.mark.parametrize("ohm", [32.0, 600.0])
def test_a_current_reaches_as_far_as_ohm_s_law_lets_it(ohm: float) -> None:
    amplifier = {"topology": "follower", "output_current": "20 mA"}
    reach = current_reach_v(circuit_of(amplifier=amplifier, load={"resistance": f"{ohm:g} ohm"}))
    assert reach is not None
    assert reach[0, 0] == pytest.approx(0.02 * ohm, rel=1e-9)


def test_without_a_stated_current_no_reach_is_known() -> None:
    assert current_reach_v(circuit_of(amplifier={"topology": "follower"})) is None


def test_rails_leave_the_output_what_the_device_does_not_keep() -> None:
    amplifier = {"gain": 4.0, "swing_loss_high": "1.5 V", "swing_loss_low": "2 V"}
    swing = rail_swing_v(circuit_of(amplifier=amplifier, supply=RAILS))
    assert swing is not None
    assert (float(swing[0][0, 0]), float(swing[1][0, 0])) == (13.5, -13.0)
    assert rail_swing_v(circuit_of(amplifier={"gain": 4.0})) is None


def test_figures_are_drawn_where_the_pick_says() -> None:
    """The line stage's gain-bandwidth product runs to 12 MHz, its reservoir is 1000 uF."""
    stage = load_stage("line-stage")

    def pick(place: int) -> Any:
        return lambda _key, spread: np.array([[float(spread[place])]])

    low, usual, high = (
        float(device_values(stage, pick(n)).gain_bandwidth_hz[0, 0]) for n in range(3)
    )
    assert low < usual < high == 12e6
    supply, chain = supply_values(stage, pick(1)), chain_values(stage, pick(1))
    assert supply is not None
    assert supply.reservoir_f is not None
    assert float(supply.reservoir_f[0, 0]) == pytest.approx(1e-3)
    assert chain is not None
    assert chain.distance_m is not None
    assert float(chain.distance_m[0, 0]) == 3.0


def test_what_a_stage_does_not_have_has_no_figures() -> None:
    def none_asked(key: str, spread: object) -> Any:
        raise AssertionError(f"{key} was drawn: {spread}")

    bare = stage_from({})
    assert device_values(bare, none_asked).gain_bandwidth_hz is None
    assert supply_values(bare, none_asked) is None
    assert chain_values(bare, none_asked) is None


def test_rated_power_asks_for_the_root_of_power_times_impedance_over_the_gain() -> None:
    """50 W into 8 ohm is 20 V; a gain of 27 asks for 0.7407 V."""
    chain = {"amplifier_gain": 27, "speaker_sensitivity": "87 dB", "distance": "3 m"}
    rated = {"rated_power": "50 W", "speaker_impedance": "8 ohm"}
    volts = rated_input_v(circuit_of(listening=chain | rated))
    assert volts is not None
    assert float(volts[0]) == pytest.approx(20.0 / 27.0)
    assert rated_input_v(circuit_of(listening=chain)) is None
    assert rated_input_v(circuit_of()) is None


def test_an_unknown_class_of_device_is_refused() -> None:
    slew = device_class("fast bipolar").usual.slew_rise
    assert slew is not None
    assert slew.value == 20e6
    with pytest.raises(StageError, match=r"no device class 'fast bipolr'.*fast bipolar"):
        device_class("fast bipolr")


@pytest.mark.parametrize(
    ("setting", "share"), [("-20 dB", 0.1), ("0 dB", 1.0), ("-6.0206 dB", 0.5)]
)
def test_a_setting_in_decibels_is_a_ratio_of_voltages(setting: str, share: float) -> None:
    assert setting_ratio(setting) == pytest.approx(share, rel=1e-5)


def test_magnitudes_are_twenty_logarithms_and_nothing_is_minus_infinity() -> None:
    np.testing.assert_allclose(
        decibels_of(np.array([10.0, 1.0, 0.5])), [20.0, 0.0, -6.0206], atol=1e-4
    )
    assert float(decibels_of(np.array(0.0))) == -np.inf


def test_only_a_device_of_finite_speed_has_a_loop_and_it_settles_at_the_gain() -> None:
    assert feedback_loop(circuit_of(amplifier=PAIR)) is None
    found = feedback_loop(circuit_of(amplifier=PAIR | {"gain_bandwidth": "10 MHz"}))
    assert found is not None
    assert abs(worth(found.closed, 10.0)) == pytest.approx(1.0 + 10.0 / 3.3, rel=1e-5)
    assert abs(worth(found.closed, 100e6)) < 0.2


def test_the_crest_is_that_of_the_secondary_less_the_diodes() -> None:
    """15 V rms is 21.2 V of crest; the winding's own wave is the same at its top."""
    supply = RAILS | {"secondary": "15 V rms", "diode_drop": "0.8 V", "reservoir": "1000 uF",
                      "mains_frequency": "50 Hz", "load_current": "20 mA"}  # fmt: skip
    crest = crest_v(circuit_of(amplifier={"gain": 4.0}, supply=supply))
    assert crest is not None
    assert float(crest[0]) == pytest.approx(15.0 * np.sqrt(2.0) - 0.8)
    one = [np.array([x]) for x in (15.0 * np.sqrt(2.0), 0.8, 1.0, 1e-3, 0.05, 50.0, 100.0)]
    top, crossing = Winding(*one).wave_v(np.array([0.0, np.pi / 2.0]))
    assert top == pytest.approx(float(crest[0]))
    assert crossing == pytest.approx(-0.8)


@pytest.mark.parametrize(("rectifier", "hz"), [("full", 100.0), ("half", 50.0)])
def test_a_reservoir_is_filled_twice_or_once_a_period(rectifier: str, hz: float) -> None:
    supply = RAILS | {"secondary": "15 V rms", "rectifier": rectifier, "mains_frequency": "50 Hz",
                      "reservoir": "1000 uF", "load_current": "20 mA"}  # fmt: skip
    circuit = circuit_of(amplifier={"gain": 4.0}, supply=supply)
    found = ripple_hz(circuit)
    assert found is not None
    assert float(found[0]) == hz
    lines, _ = ripple_lines(circuit, 20e3)
    assert lines[0] == hz
    assert lines[-1] <= 20e3


def test_the_lines_of_a_sawtooth_share_its_whole_power() -> None:
    """6 / (pi n)^2, which adds up to one; 400 lines leave 6 / (pi^2 400)."""
    supply = RAILS | {"secondary": "15 V rms", "rectifier": "half", "mains_frequency": "50 Hz",
                      "reservoir": "1000 uF", "load_current": "20 mA"}  # fmt: skip
    _, share = ripple_lines(circuit_of(amplifier={"gain": 4.0}, supply=supply), 20e3)
    assert share[0] == pytest.approx(6.0 / np.pi**2)
    assert share.sum() == pytest.approx(1.0 - 6.0 / (np.pi**2 * 400.0), abs=1e-5)


def test_regulators_noise_falls_by_the_rejection_and_both_rails_add() -> None:
    """150 uV in 20 kHz is 1.06 uV per root hertz; 90 dB under it, of two rails."""
    density = regulator_noise_density(
        circuit_of(
            amplifier={"gain": 4.0, "supply_rejection": "90 dB"},
            supply=RAILS | {"regulator_noise": "150 uV rms"},
        )
    )
    assert density is not None
    one = 150e-6 / np.sqrt(20e3) * 10.0 ** (-90.0 / 20.0)
    assert np.sqrt(density[0, 0]) == pytest.approx(np.sqrt(2.0) * one, rel=1e-3)


def test_loading_before_and_after_are_dividers_of_impedances() -> None:
    """At 1 kHz, by hand: 100 ohm and 100 nF into 47 kohm; 100 ohm and 470 nF into 10 kohm with
    220 pF across."""
    circuit, s = nominal(load_stage("thin-coupling")), 2j * np.pi * 1000.0
    before = 47e3 / (47e3 + 100.0 + 1.0 / (s * 100e-9))
    load = 1.0 / (1e-4 + s * 220e-12)
    after = load / (load + 100.0 + 1.0 / (s * 470e-9))
    assert loading_before(circuit).gain == pytest.approx(abs(before), rel=1e-6)
    assert loading_after(circuit).gain == pytest.approx(abs(after), rel=1e-6)


def test_the_gain_is_the_feedback_pair_s_and_a_fast_loop_takes_nothing_from_it() -> None:
    circuit = circuit_of(amplifier=PAIR | {"gain_bandwidth": "10 MHz"})
    assert feedback_parts(circuit).gain == pytest.approx(1.0 + 10.0 / 3.3)
    assert loop_speed(circuit).gain == pytest.approx(1.0, abs=1e-4)
