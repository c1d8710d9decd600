"""The listening chain: textbook worked examples, to the digits given."""

from __future__ import annotations

from typing import Any

import pytest

from stagefx.circuit.description.files import stage_from
from stagefx.figures.table import compute_figures
from tests.published.worked import agrees, figure

CHAIN: dict[str, Any] = {
    "amplifier_gain": 27,
    "rated_power": "50 W",
    "speaker_impedance": "8 ohm",
    "speaker_sensitivity": "87 dB",
    "distance": "3 m",
    "speakers": 2,
}
TEN_MICROVOLTS = {"resistance": f"{1e-10 / (4.0 * 1.380649e-23 * 298.15 * 20e3):.15g} ohm"}
"""Its thermal noise over 20 kHz at 25 degC: sqrt(4 k T R B) = 10 uV."""


@pytest.mark.parametrize(
    ("wiper", "device", "signal_to_noise_db"),
    [
        ("2.5 kohm", {"voltage_noise": "5 nV/rtHz", "current_noise": "0.7 pA/rtHz"}, "110.3690"),
        ("2.5 kohm", {"voltage_noise": "8 nV/rtHz", "current_noise": "1 fA/rtHz"}, "109.2595"),
        ("2.5 kohm", {"voltage_noise": "3 nV/rtHz", "current_noise": "1.6 pA/rtHz"}, "110.0123"),
    ],
    ids=["general purpose", "FET", "fast"],
)
def test_e55_signal_to_noise(wiper: str, device: dict[str, str], signal_to_noise_db: str) -> None:
    pair = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
    tables = {"source": {"resistance": wiper}, "amplifier": pair | device}
    assert agrees(figure("signal_to_noise_2v_db", **tables), signal_to_noise_db)


def test_e57_noise_as_sound() -> None:
    tables = {"source": TEN_MICROVOLTS, "listening": CHAIN | {"speakers": 1}}
    assert figure("noise_20k_v_rms", **tables) == pytest.approx(10e-6, rel=1e-9)
    assert agrees(figure("noise_spl_1m_db", **tables), "6.596375")
    assert agrees(figure("noise_spl_seat_db", **tables), "-2.946050")
    near = {"source": TEN_MICROVOLTS, "listening": CHAIN | {"speakers": 1, "distance": "10 cm"}}
    assert agrees(figure("noise_spl_seat_db", **near), "26.59638")


def test_e57_two_speakers_add_their_powers() -> None:
    both = figure("noise_spl_seat_db", source=TEN_MICROVOLTS, listening=CHAIN)
    one = figure("noise_spl_seat_db", source=TEN_MICROVOLTS, listening=CHAIN | {"speakers": 1})
    assert both - one == pytest.approx(3.0103, abs=1e-4)  # and not 6.02
    at_1m = figure("noise_spl_1m_db", source=TEN_MICROVOLTS, listening=CHAIN)
    assert agrees(at_1m, "6.596375")  # of one speaker, however many there are


def test_e67_level_at_the_seat() -> None:
    """20 V into the speaker: 20 / 27 V from the stage."""
    full = {"level": f"{20.0 / 27.0:.15g} V rms"}
    one = CHAIN | {"speakers": 1}
    at_1m = figure("listening_spl_db", source=full, listening=one | {"distance": "1 m"})
    assert agrees(at_1m, "103.9897")
    assert agrees(figure("listening_spl_db", source=full, listening=one), "94.44727")
    assert agrees(figure("listening_spl_db", source=full, listening=CHAIN), "97.45757")


def test_e70_what_75_db_takes() -> None:
    """A programme with 14 dB of crest lies 10.99 dB under the rms of a full-scale sine."""
    stage = stage_from(
        {
            "source": {"level": "2 V rms"},
            "volume": {"resistance": "10 kohm", "setting": "listening"},
            "amplifier": {"gain": 1.0 + 10.0 / 3.3},
            "listening": CHAIN,
        }
    )
    programme_db = -(14.0 - 3.010299956639812)
    figures = compute_figures(stage, listening_level_db=75.0, programme_db=programme_db).figures
    programme_v = figures["programme_v_rms"].value
    assert programme_v is not None
    assert agrees(1e3 * programme_v, "55.820")
    assert agrees(27.0 * programme_v, "1.507132")
    assert agrees((27.0 * programme_v) ** 2 / 8.0, "0.283931")
    assert agrees(1e3 * programme_v * 10.0**0.7, "279.761")
    slope = figures["slew_needed_v_per_us"].value
    assert slope is not None
    assert agrees(slope, "0.035156")
    assert figures["programme_spl_db"].value == pytest.approx(75.0, abs=1e-9)


@pytest.mark.parametrize(
    ("level", "frequency", "bandwidth", "volts", "watts"),
    [
        ("0.6 V p-p", "1.8 MHz", "100 kHz", "0.317708", "0.012617"),
        ("6 V p-p", "200 kHz", "100 kHz", "25.61445", "82.0125"),
    ],
)
def test_e72_an_oscillation_in_the_tweeter(
    level: str, frequency: str, bandwidth: str, volts: str, watts: str
) -> None:
    tables = {
        "oscillation": {"level": level, "frequency": frequency},
        "listening": CHAIN | {"amplifier_bandwidth": bandwidth},
    }
    assert agrees(figure("ultrasonic_v_rms", **tables), volts)
    assert agrees(figure("ultrasonic_w", **tables), watts)


def test_e72_wrong_peak_to_peak_taken_for_rms() -> None:
    chain = CHAIN | {"amplifier_bandwidth": "100 kHz"}
    tone = {"level": "6 V p-p", "frequency": "200 kHz"}
    found = figure("ultrasonic_w", oscillation=tone, listening=chain)
    assert found < 82.1  # eight times as much if the reading were rms


@pytest.mark.parametrize(
    ("amplifier", "percent"),
    [({"gain": 1.0 + 10.0 / 3.3}, "30.6321"), ({"topology": "follower"}, "62.9630")],
    ids=["gain of four", "unity"],
)
def test_e45_where_the_power_amplifier_is_at_rated_power(
    amplifier: dict[str, Any], percent: str
) -> None:
    tables = {
        "source": {"level": "2 V rms"},
        "volume": {"resistance": "10 kohm", "taper": "audio 15 %"},
        "amplifier": amplifier,
        "listening": CHAIN,
    }
    assert agrees(100.0 * figure("knob_at_rated_power", **tables), percent)


def test_e43_and_e44_source_over_sensitivity() -> None:
    tables = {"source": {"level": "2 V rms"}, "listening": CHAIN}
    assert agrees(figure("source_over_sensitivity_db", **tables), "8.627275")
    four = {"gain": 1.0 + 10.0 / 3.3}
    found = figure("source_over_sensitivity_db", **tables, amplifier=four)
    assert agrees(found, "20.73403")
