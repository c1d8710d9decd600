"""What holds for every noise figure: worst is worst, weighting is the meter's, parts add up."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, ready_made, stage_from
from stagefx.circuit.noise import noise_bands
from stagefx.circuit.noise_budget import noise_budget, noisiest_position
from stagefx.dsp.weighting import a_weighting_db
from stagefx.figures.table import compute_figures

PAIR = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
SUPPLY = {
    "positive": "15 V",
    "negative": "-15 V",
    "mains_frequency": "50 Hz",
    "reservoir": "1000 uF",
    "load_current": "50 mA",
}


def value(name: str, key: str) -> float:
    found = compute_figures(load_stage(name)).figures[key].value
    assert found is not None
    return found


def test_a_weighted_white_noise() -> None:
    """Against adaptive integration of the weighting's power over 20 kHz."""
    tables = {"source": {"resistance": "10 kohm"}}
    figures = compute_figures(stage_from(tables)).figures
    power = quad(lambda hz: 10.0 ** (float(a_weighting_db(hz)) / 10.0), 0.1, 20e3, limit=400)[0]
    flat, weighted = (figures[key].value for key in ("noise_20k_v_rms", "noise_a_v_rms"))
    assert flat is not None
    assert weighted == pytest.approx(flat * np.sqrt(power / 20e3), rel=1e-5)


@pytest.mark.parametrize("name", ready_made())
def test_the_worst_knob_is_worse_than_any(name: str) -> None:
    stage = load_stage(name)
    worst = value(name, "noise_worst_knob_20k_v_rms")
    assert worst >= value(name, "noise_20k_v_rms") * (1.0 - 1e-9)
    if stage.volume is not None:
        for position in np.linspace(0.0, 1.0, 41):
            here = noise_budget(nominal(stage).at_position(float(position))).total[0]
            assert here <= worst * (1.0 + 1e-7)


def test_the_worst_knob_is_where_the_wiper_is_highest() -> None:
    """(R + Rs)/2 on either side of the wiper: at 0.51 of a linear 50 kohm behind 1 kohm."""
    stage = stage_from({"source": {"resistance": "1 kohm"}, "volume": {"resistance": "50 kohm"}})
    assert noisiest_position(stage) == pytest.approx(0.51, abs=2e-4)


def test_the_worst_step_of_a_switched_control() -> None:
    stage = stage_from(
        {"volume": {"resistance": "10 kohm", "taper": ["-40 dB", "-6 dB", "-3 dB", "0 dB"]}}
    )
    assert noisiest_position(stage) == pytest.approx(1.0 / 3.0)


def test_no_control_has_one_worst_position() -> None:
    figures = compute_figures(load_stage("thin-coupling")).figures
    assert noisiest_position(load_stage("thin-coupling")) is None
    assert figures["noise_worst_knob_20k_v_rms"].value == figures["noise_20k_v_rms"].value


@pytest.mark.parametrize("name", ready_made())
def test_contributors_add_up(name: str) -> None:
    found = compute_figures(load_stage(name))
    powers = [volts**2 for _, volts, _ in found.noise_budget]
    total = found.figures["noise_20k_v_rms"].value
    assert np.sqrt(sum(powers)) == pytest.approx(total, rel=1e-12)
    assert sum(share for *_, share in found.noise_budget) == pytest.approx(1.0, rel=1e-12)


def unregulated(**changed: Any) -> Any:
    amplifier = {"gain": 4.0, "supply_rejection": "40 dB"}
    return nominal(stage_from({"supply": SUPPLY | changed, "amplifier": amplifier}))


def test_ripple_lands_in_its_bands() -> None:
    """100 Hz and its multiples, nothing at 50 Hz; all but the lines over 18 kHz in the bands."""
    hz, volts = noise_bands(unregulated())
    lines = volts > 0.0
    assert hz[lines][0] == pytest.approx(100.0)
    total = noise_budget(unregulated()).contributors["supply ripple"][0]
    assert np.sqrt(np.sum(volts**2)) == pytest.approx(total, rel=1e-2)
    half = noise_bands(unregulated(rectifier="half"))
    assert half[0][half[1] > 0.0][0] == pytest.approx(50.1187, rel=1e-4)


def test_ripple_once_weighted() -> None:
    """Against the spectrum of a sampled sawtooth, each line weighed by the meter: 1 %."""
    rate_hz = 192_000
    sawtooth = (100.0 * np.arange(rate_hz) / rate_hz) % 1.0 - 0.5
    power = np.abs(np.fft.rfft(sawtooth)) ** 2
    hz = np.fft.rfftfreq(rate_hz, 1.0 / rate_hz)
    heard = (hz > 0.0) & (hz <= 20e3)
    weighed = np.sum(power[heard] * 10.0 ** (a_weighting_db(hz[heard]) / 10.0)) / np.sum(power[1:])
    circuit = unregulated()
    flat = noise_budget(circuit).contributors["supply ripple"][0]
    found = noise_budget(circuit, weighting=a_weighting_db).contributors["supply ripple"][0]
    assert found / flat == pytest.approx(np.sqrt(weighed), rel=1e-2)


def test_more_microfarads_are_less_ripple() -> None:
    volts = [
        noise_budget(unregulated(reservoir=f"{size} uF")).contributors["supply ripple"][0]
        for size in (470, 1000, 2200, 4700)
    ]
    assert np.all(np.diff(volts) < 0.0)
    assert volts[0] / volts[3] == pytest.approx(10.0, rel=1e-12)
