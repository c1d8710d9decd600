"""Clipping, noise, direct voltage and crosstalk read back: textbook worked examples."""

from __future__ import annotations

import math
from typing import Any

import pytest

from stagefx.bench.readings.derivation import stage_from_readings
from stagefx.bench.readings.files import readings_from
from stagefx.bench.readings.report import BenchStage
from stagefx.circuit.description.files import stage_from
from stagefx.figures.table import compute_figures
from tests.published.worked import agrees

PAIR = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
UNITY = {"of": "gain", "input": "1 V", "output": "1 V"}
FINE = {"uncertainty": "0.001 %"}


def found(*readings: dict[str, Any], like: dict[str, Any] | None = None) -> BenchStage:
    stage = None if like is None else stage_from(like)
    return stage_from_readings(readings_from({"reading": list(readings)}), like=stage)


def rails(volts: float) -> dict[str, Any]:
    return {"of": "rail", "positive": f"{volts} V", "negative": f"-{volts} V"} | FINE


@pytest.mark.parametrize(
    ("rail", "rms", "dbv", "dbu"),
    [
        (12.0, "7.424621", "17.41349", "19.63197"),
        (15.0, "9.545942", "19.59638", "21.81486"),
        (18.0, "11.667262", "21.33938", "23.55787"),
    ],
)
def test_e46_a_largest_clean_sine_tells_the_swing_loss(
    rail: float, rms: str, dbv: str, dbu: str
) -> None:
    for output in (f"{rms} V rms", f"{dbv} dBV", f"{dbu} dBu"):
        told = found(UNITY, rails(rail), {"of": "clip", "output": output} | FINE)
        for side in ("high", "low"):
            assert told.figure(f"swing_loss_{side}_v").value == pytest.approx(1.5, abs=2e-5)
        assert compute_figures(told.stage).figures["maximum_output_v_rms"].value == pytest.approx(
            float(rms), rel=2e-5
        )


def test_e47_direct_voltage_takes_from_the_nearer_limit() -> None:
    told = found(
        UNITY,
        rails(15.0),
        {"of": "offset", "output": "0.2 V"} | FINE,
        {"of": "clip", "high": "13.0 V", "low": "-13.9 V"} | FINE,
    )
    figures = compute_figures(told.stage).figures
    assert figures["clip_high_v"].value == pytest.approx(12.8, abs=1e-3)
    assert figures["clip_low_v"].value == pytest.approx(-14.1, abs=1e-3)
    assert figures["maximum_output_v_rms"].value == pytest.approx(9.050967, abs=1e-3)
    assert all(check.agrees for check in told.checks)


def test_behind_a_capacitor_the_peaks_are_counted_from_the_mean() -> None:
    """The same limits seen behind an output capacitor: 12.8 and -14.1 V."""
    told = found(
        rails(15.0),
        {"of": "clip", "high": "12.8 V", "low": "-14.1 V"} | FINE,
        like={
            "amplifier": {"topology": "follower", "offset_voltage": "0.2 V"},
            "output": {"resistance": "100 ohm", "coupling": "22 uF"},
        },
    )
    assert told.figure("swing_loss_high_v").value == pytest.approx(2.0, abs=1e-9)
    assert told.figure("swing_loss_low_v").value == pytest.approx(1.1, abs=1e-9)
    assert all(check.agrees for check in told.checks)


def test_e48_a_heavy_load_tells_the_output_current() -> None:
    told = found(
        UNITY,
        rails(15.0),
        {"of": "clip", "high": "13.5 V", "low": "-13.5 V"} | FINE,
        {"of": "clip", "output": "8.485281 V rms", "load": "600 ohm"} | FINE,
    )
    assert told.figure("output_current_a").value == pytest.approx(20e-3, rel=1e-5)
    assert told.figure("swing_loss_high_v").value == pytest.approx(1.5, abs=1e-9)
    assert all(check.agrees for check in told.checks)


@pytest.mark.parametrize(
    ("microvolts", "nanovolts", "picoamperes"),
    [
        pytest.param((4.730112, 6.061493, 10.68226, 15.98727), 5.0, 0.7, id="E52"),
        pytest.param((5.836417, 6.887424, 10.04629, 12.95347), 8.0, 0.001, id="E53"),
        pytest.param((4.616935, 6.315599, 14.76912, 25.97752), 3.0, 1.6, id="E54"),
    ],
)
def test_noise_back_to_both_densities(
    microvolts: tuple[float, ...], nanovolts: float, picoamperes: float
) -> None:
    """Noise of the reference stage with four source resistances."""
    readings = [
        {"of": "noise", "level": f"{level} uV rms", "source_resistance": ohm} | FINE
        for level, ohm in zip(
            microvolts, ("0 ohm", "2.5 kohm", "12.5 kohm", "25 kohm"), strict=True
        )
    ]
    told = found(*readings, like={"amplifier": PAIR})
    assert told.figure("voltage_noise_v_rthz").value == pytest.approx(
        1e-9 * nanovolts, rel=3e-6, abs=0.0
    )
    if picoamperes > 0.1:
        current = told.figure("current_noise_a_rthz").value
        assert current == pytest.approx(1e-12 * picoamperes, rel=3e-6, abs=0.0)
    one = found(readings[0], like={"amplifier": PAIR | {"current_noise": f"{picoamperes} pA/rtHz"}})
    assert one.figure("voltage_noise_v_rthz").value == pytest.approx(
        1e-9 * nanovolts, rel=1e-6, abs=0.0
    )


def test_e52_without_the_resistances_it_would_be_far_off() -> None:
    """Level over gain and bandwidth alone says 8.3 nV, and 2.5 kohm makes that worse."""
    naive = 4.730112e-6 / (4.030303 * math.sqrt(20e3))
    assert naive > 1.6 * 5e-9


def test_e56_a_wide_meter_reads_more_noise() -> None:
    gain = {"of": "gain", "input": "1 V", "output": "4 V"} | FINE
    wide = {"bandwidth": "100 kHz", "filter": "one pole", "source_resistance": "0 ohm"}
    told = found(gain, {"of": "noise", "level": "10 uV rms"} | wide)
    narrow = told.figure("noise_20k_v_rms").value
    assert agrees(20.0 * math.log10(10e-6 / narrow), "8.950899")
    density = told.figure("voltage_noise_v_rthz").value
    assert agrees((10e-6 / (4.0 * density)) ** 2, "157079.6")
    assert all(check.agrees for check in told.checks)


def test_e57b_a_small_difference_is_fragile() -> None:
    """12 less 8 is 8.944272; 12 less 11.5 is 3.427827, and unsure."""
    gain = {"of": "gain", "input": "1 V", "output": "1 V"} | FINE
    kelvin = (11.5e-6) ** 2 / (4.0 * 1.380649e-23 * 298.15 * 20e3)
    for other, left, fragile in ((8e-6, "8.944272", False), (11.5e-6, "3.427827", True)):
        ohm = kelvin * (other / 11.5e-6) ** 2
        noise = {"of": "noise", "level": "12 uV rms", "source_resistance": f"{ohm!r} ohm"}
        told = found(gain, noise | {"uncertainty": "1 %"})
        density = told.figure("voltage_noise_v_rthz").value
        assert agrees(1e6 * density * math.sqrt(20e3), left)
        codes = {remark.code for remark in told.remarks}
        assert ("noise-difference-fragile" in codes) == fragile


def test_e65_offset_and_bias_told_apart() -> None:
    """200 nA and 0.5 mV: 10.09091 mV from 12.5 kohm, 2.015152 mV where both inputs see alike."""
    told = found(
        {"of": "offset", "output": "10.09091 mV", "source_resistance": "12.5 kohm"} | FINE,
        {"of": "offset", "output": "2.015152 mV", "source_resistance": "2481.203 ohm"} | FINE,
        like={"amplifier": PAIR},
    )
    assert told.figure("bias_current_a").value == pytest.approx(200e-9, rel=1e-5)
    assert told.figure("offset_voltage_v").value == pytest.approx(0.5e-3, rel=1e-5)
    assert all(check.agrees for check in told.checks)


@pytest.mark.parametrize(
    ("ohm", "level_db"),
    [("12.5 kohm", -48.11887), ("2.5 kohm", -62.09821), ("100 ohm", -90.05700)],
)
def test_e76_crosstalk_tells_a_capacitance(ohm: str, level_db: float) -> None:
    undriven = 10.0 ** (level_db / 20.0)
    reading = {"of": "crosstalk", "driven": "1 V", "undriven": f"{undriven!r} V"}
    told = found(reading | {"frequency": "10 kHz", "source_resistance": ohm})
    assert told.figure("coupling_capacitance_f").value == pytest.approx(5e-12, rel=1e-5, abs=0.0)
    assert "one-frequency" in {remark.code for remark in told.remarks}


@pytest.mark.parametrize(("load", "level_db"), [("1 kohm", -86.02060), ("10 kohm", -106.0206)])
def test_e77_flat_crosstalk_tells_a_shared_ground(load: str, level_db: float) -> None:
    undriven = 10.0 ** (level_db / 20.0)
    readings = [
        {
            "of": "crosstalk",
            "driven": "1 V",
            "undriven": f"{undriven!r} V",
            "frequency": hz,
            "load": load,
            "source_resistance": "100 ohm",
        }
        for hz in ("100 Hz", "1 kHz", "10 kHz")
    ]
    told = found(*readings)
    assert told.figure("shared_ground_resistance_ohm").value == pytest.approx(0.05, rel=1e-6)
    assert told.stage.crosstalk is not None
    assert told.stage.crosstalk.coupling_capacitance is None
    assert all(check.agrees for check in told.checks)


def test_e76_and_e77_told_apart_by_three_frequencies() -> None:
    def share(hz: float) -> float:
        through = 2j * math.pi * hz * 5e-12 * 12.5e3
        return abs(through / (1.0 + through) + 0.05 / 1e3)

    readings = [
        {
            "of": "crosstalk",
            "driven": "1 V",
            "undriven": f"{share(hz)!r} V",
            "frequency": f"{hz} Hz",
            "load": "1 kohm",
            "source_resistance": "12.5 kohm",
        }
        for hz in (100.0, 1e3, 10e3)
    ]
    told = found(*readings)
    assert told.figure("coupling_capacitance_f").value == pytest.approx(5e-12, rel=1e-3, abs=0.0)
    assert told.figure("shared_ground_resistance_ohm").value == pytest.approx(0.05, rel=1e-3)
    assert all(check.agrees for check in told.checks)
