"""What any practitioner expects of an ordinary line stage: common practice, no source."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage
from stagefx.circuit.network.ladder import laplace
from stagefx.figures.table import compute_figures
from stagefx.units import decibels
from tests.published.worked import figure

DUAL_BIPOLAR = {
    "device": "general-purpose bipolar",
    "feedback_resistance": "10 kohm",
    "gain_resistance": "3.3 kohm",
}


def on_rails(volts: float, load: str = "10 kohm") -> dict[str, dict[str, str]]:
    return {
        "amplifier": DUAL_BIPOLAR,
        "supply": {"positive": f"{volts} V", "negative": f"-{volts} V"},
        "load": {"resistance": load},
    }


@pytest.mark.parametrize("load", ["2 kohm", "10 kohm", "47 kohm"])
def test_15_volt_rails_give_about_10_volts_rms(load: str) -> None:
    assert 9.0 < figure("maximum_output_v_rms", **on_rails(15.0, load)) < 10.0


def test_and_the_two_sides_clip_nearly_alike() -> None:
    tables = on_rails(15.0)
    high, low = figure("clip_high_v", **tables), figure("clip_low_v", **tables)
    assert abs(decibels(high / -low)) < 0.5


def test_the_ready_made_line_stage_does_so_too() -> None:
    found = compute_figures(load_stage("line-stage")).figures["maximum_output_v_rms"].value
    assert found is not None
    assert 9.0 < found < 10.0


def test_a_gain_of_6_makes_3_volts_of_half_a_volt() -> None:
    tables = {"source": {"level": "0.5 V rms"}, "amplifier": {"gain": 6}}
    assert 0.5 * 10.0 ** (figure("gain_db", **tables) / 20.0) == pytest.approx(3.0, rel=1e-9)


@pytest.mark.parametrize("rail", [14.0, 15.0, 16.0])
def test_a_volt_more_on_each_rail_buys_about_0_6_db(rail: float) -> None:
    before = figure("maximum_output_v_rms", **on_rails(rail))
    after = figure("maximum_output_v_rms", **on_rails(rail + 1.0))
    assert decibels(after / before) == pytest.approx(0.6, abs=0.08)


@pytest.mark.parametrize("name", ["line-stage", "line-stage-quick"])
def test_its_own_response_is_flat_to_hundreds_of_kilohertz(name: str) -> None:
    hz = np.array([1e3, 2e4, 1e5, 2e5])
    gain = np.abs(Amplifier(nominal(load_stage(name)), laplace(hz)).closed_loop_gain[0])
    assert np.abs(20.0 * np.log10(gain / gain[0])).max() < 0.5


def test_a_faster_device_does_not_move_the_audio_band() -> None:
    stock, quick = (
        compute_figures(load_stage(n)).figures for n in ("line-stage", "line-stage-quick")
    )
    for key in ("response_20_hz_db", "response_10_khz_db", "response_20_khz_db"):
        first, second = stock[key].value, quick[key].value
        assert first is not None
        assert second is not None
        assert math.isclose(first, second, abs_tol=0.01)
