"""Gain, sensitivity and clip levels: textbook worked examples, to the digits given."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.limits import limits
from stagefx.units import decibels, parse
from tests.published.worked import agrees, figure, gain

REFERENCE = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
CHAIN = {
    "amplifier_gain": 27,
    "rated_power": "50 W",
    "speaker_impedance": "8 ohm",
    "speaker_sensitivity": "87 dB",
    "distance": "3 m",
}


def test_e01_e02_decibels_re_a_volt_and_re_a_milliwatt() -> None:
    assert agrees(decibels(2.0), "6.0206")
    assert agrees(decibels(2.0 / parse("0 dBu", "V rms").value), "8.2391")
    consumer, studio = parse("-10 dBV", "V rms").value, parse("+4 dBu", "V rms").value
    assert agrees(consumer, "0.316228")
    assert agrees(studio, "1.227653")
    assert agrees(decibels(studio / consumer), "11.7815")
    assert not agrees(decibels(studio / consumer), "14"), "dBu and dBV have different zeros"


def test_e04_peak_and_peak_to_peak() -> None:
    assert agrees(parse("2 V rms", "V peak").value, "2.82843")
    assert parse("5.656854249 V p-p", "V rms").value == pytest.approx(2.0, rel=1e-9)


@pytest.mark.parametrize(
    ("dbu", "volts"), [("+18", "6.153"), ("+20", "7.746"), ("+24", "12.277"), ("+4", "1.2277")]
)
def test_levels_of_studio_practice(dbu: str, volts: str) -> None:
    assert agrees(parse(f"{dbu} dBu", "V rms").value, volts)


def test_e41_gain_of_the_reference_stage() -> None:
    assert agrees(gain(amplifier=REFERENCE), "4.030303")
    assert agrees(figure("gain_db", amplifier=REFERENCE), "12.10675")


def test_e41_worst_balance_of_one_percent_parts() -> None:
    levels = []
    for feedback, leg in itertools.product((9900, 10100), (3267, 3333)):
        parts = {
            "feedback_resistance": f"{feedback} ohm",
            "gain_resistance": f"{leg} ohm",
        }
        levels.append(figure("gain_db", amplifier=parts))
    assert agrees(max(levels) - min(levels), "0.261236")


def test_e42_gain_less_a_control() -> None:
    tables = {
        "volume": {"resistance": "10 kohm", "setting": "-20 dB"},
        "amplifier": {"gain": 11},
    }
    assert agrees(gain(**tables), "1.1000")
    assert agrees(figure("gain_db", **tables), "0.8279")


def test_e43_sensitivity_of_a_power_amplifier() -> None:
    found = figure("sensitivity_v_rms", listening=CHAIN)
    assert agrees(found, "0.740741")
    assert agrees(found * 27.0, "20.0000")
    assert agrees(decibels(2.0 / found), "8.627275")


def test_e44_a_line_stage_drives_it_far_over() -> None:
    tables = {"source": {"level": "2 V rms"}, "amplifier": REFERENCE}
    volts = 2.0 * gain(**tables)
    assert agrees(volts, "8.060606")
    assert agrees(volts * math.sqrt(2.0), "11.39942")
    at_full = figure("sensitivity_v_rms", **tables, listening=CHAIN)
    assert agrees(decibels(2.0 / at_full), "20.73403")


def clip(rail: float, **amplifier: Any) -> dict[str, Any]:
    return {
        "amplifier": {"topology": "follower", **amplifier},
        "supply": {"positive": f"{rail} V", "negative": f"-{rail} V"},
    }


LOSS = {"swing_loss_high": "1.5 V", "swing_loss_low": "1.5 V"}


@pytest.mark.parametrize(
    ("rail", "volts", "dbv", "dbu"),
    [
        (12.0, "7.424621", "17.41349", "19.63197"),
        (15.0, "9.545942", "19.59638", "21.81486"),
        (18.0, "11.667262", "21.33938", "23.55787"),
    ],
)
def test_e46_clip_level_of_three_supplies(rail: float, volts: str, dbv: str, dbu: str) -> None:
    found = figure("maximum_output_v_rms", **clip(rail, **LOSS))
    assert agrees(found, volts)
    assert agrees(decibels(found), dbv)
    assert agrees(decibels(found / parse("0 dBu", "V rms").value), dbu)


def test_e46_steps_between_supplies() -> None:
    levels = [figure("maximum_output_v_rms", **clip(rail, **LOSS)) for rail in (12.0, 15.0, 18.0)]
    assert agrees(decibels(levels[1] / levels[0]), "2.182889")
    assert agrees(decibels(levels[2] / levels[1]), "1.743004")


def test_e47_an_offset_costs_headroom() -> None:
    """Limits of +13.0 V and -13.9 V with the output standing at +0.2 V."""
    tables = clip(15.0, swing_loss_high="2 V", swing_loss_low="1.1 V", offset_voltage="0.2 V")
    found = limits(nominal(stage_from(tables)))
    assert found is not None
    assert found.high_v is not None
    assert found.low_v is not None
    assert np.allclose([found.high_v[0], found.low_v[0]], [12.8, -14.1], rtol=1e-12)
    volts = figure("maximum_output_v_rms", **tables)
    assert agrees(volts, "9.050967")
    centred = (found.high_v[0] - found.low_v[0]) / 2.0
    assert agrees(centred, "13.45")
    assert agrees(decibels(centred / 12.8), "0.430246")


def test_e47_the_same_from_the_source() -> None:
    by_source = clip(15.0, swing_loss_high="2 V", swing_loss_low="1.1 V")
    by_source["source"] = {"offset": "0.2 V"}
    assert agrees(figure("maximum_output_v_rms", **by_source), "9.050967")
    by_source["input"] = {"coupling": "1 uF", "resistance": "100 kohm"}
    assert figure("clip_high_v", **by_source) == pytest.approx(13.0), "a capacitor blocks it"


def test_e48_output_current_into_600_ohm() -> None:
    tables = clip(15.0, output_current="20 mA") | {"load": {"resistance": "600 ohm"}}
    assert agrees(figure("clip_high_v", **tables), "12.0000")
    assert agrees(figure("maximum_output_v_rms", **tables), "8.485281")
