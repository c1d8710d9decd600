"""Volume controls: textbook worked examples, to the digits given."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.circuit.description.taper import read_taper
from stagefx.circuit.network.ladder import Part, laplace, solve
from tests.published.worked import agrees, figure, gain

HALF = 0.5


def control(resistance: str, **more: object) -> dict[str, object]:
    return {"resistance": resistance, "taper": "linear", **more}


def wiper(resistance: str, source: str = "0 ohm", **more: object) -> float:
    tables = {"source": {"resistance": source}, "volume": control(resistance, **more)}
    return figure("wiper_resistance_ohm", **tables)


@pytest.mark.parametrize(
    ("resistance", "most"), [("10 kohm", "2500"), ("50 kohm", "12500"), ("100 kohm", "25000")]
)
def test_e12_the_wiper_peaks_at_a_quarter_at_half_volts(resistance: str, most: str) -> None:
    assert agrees(wiper(resistance, position=HALF), most)
    for position in (0.0, 0.1, 0.4, 0.49, 0.51, 0.6, 0.9, 1.0):
        assert wiper(resistance, position=position) < float(most)


def test_e13_the_source_adds_a_quarter_of_itself() -> None:
    peak = max(wiper("50 kohm", "1 kohm", position=p) for p in np.linspace(0.0, 1.0, 101))
    assert agrees(peak, "12750")


@pytest.mark.parametrize(("setting", "ohm"), [("-20 dB", "4500"), ("-40 dB", "495")])
def test_e14_dullest_at_half_volts_not_at_low_settings(setting: str, ohm: str) -> None:
    assert agrees(wiper("50 kohm", setting=setting), ohm)


def test_e17_a_loaded_control_at_half_is_not_6_db_down() -> None:
    tables = {"volume": control("50 kohm", position=HALF), "load": {"resistance": "22 kohm"}}
    assert agrees(gain(**tables), "0.318841")
    found = figure("gain_db", **tables)
    assert agrees(found, "-9.92853")
    assert not agrees(found, "-6.02")
    unloaded = figure("gain_db", volume=control("50 kohm", position=HALF))
    assert agrees(found - unloaded, "-3.90793")


def test_e18_a_control_set_to_20_db_and_loaded() -> None:
    tables = {"volume": control("50 kohm", setting="-20 dB"), "load": {"resistance": "10 kohm"}}
    assert agrees(gain(**tables), "0.0689655")
    assert agrees(figure("gain_db", **tables), "-23.22736")


@pytest.mark.parametrize(
    ("position", "level_db"), [(0.25, "-21.21396"), (0.5, "-16.90196"), (0.75, "-11.67153")]
)
def test_e19_a_resistor_from_wiper_to_ground_bends_a_linear_law(
    position: float, level_db: str
) -> None:
    tables = {"volume": control("100 kohm", position=position), "input": {"resistance": "10 kohm"}}
    assert agrees(figure("gain_db", **tables), level_db)


@pytest.mark.parametrize(("position", "ohm"), [(1.0, "9090.91"), (0.5, "58333.3")])
def test_e19_and_the_input_resistance_swings(position: float, ohm: str) -> None:
    tables = {"volume": control("100 kohm", position=position), "input": {"resistance": "10 kohm"}}
    assert agrees(figure("input_impedance_ohm", **tables), ohm)


@pytest.mark.parametrize(
    ("taper", "position", "level_db"),
    [
        ("audio 15 %", 0.25, "-22.49877"),
        ("audio 15 %", 0.5, "-16.47817"),
        ("audio 15 %", 0.75, "-4.80664"),
        ("audio 10 %", 0.25, "-26.02060"),
        ("audio 10 %", 0.5, "-20.00000"),
        ("audio 10 %", 0.75, "-5.19275"),
        ("exponential 60 dB", 0.5, "-30.0000"),
    ],
)
def test_e20_tapers(taper: str, position: float, level_db: str) -> None:
    volume = {"resistance": "10 kohm", "taper": taper, "position": position}
    assert agrees(figure("gain_db", volume=volume), level_db)


@pytest.mark.parametrize(
    ("position", "level_db"),
    [(0.1, "-40.74853"), (0.25, "-25.57507"), (0.5, "-13.97940"), (0.75, "-6.49022")],
)
def test_e20b_two_linear_gangs_in_series(position: float, level_db: str) -> None:
    """The second gang loads the first; without that, half travel would read -12.04 dB."""
    whole = np.array([[10e3]])
    gang = [
        Part("upper", "resistor", whole * (1.0 - position), across=False),
        Part("lower", "resistor", whole * position, across=True),
    ]
    found = 20.0 * np.log10(abs(solve([*gang, *gang], laplace(np.array([1e3]))).transfer[0, 0]))
    assert agrees(found, level_db)
    assert not agrees(found, f"{40.0 * np.log10(position):.5f}")


@pytest.mark.parametrize(
    ("load", "balance_db"), [("3.3 kohm", "0.718251"), ("47 kohm", "0.087296")]
)
def test_e21_unlike_gangs_and_a_load(load: str, balance_db: str) -> None:
    first, second = (
        figure(
            "gain_db",
            volume=control(resistance, position=HALF),
            load={"resistance": load},
        )
        for resistance in ("10 kohm", "12 kohm")
    )
    assert agrees(first - second, balance_db)


def test_e21_three_degrees_of_three_hundred_between_gangs() -> None:
    law = read_taper("audio 15 %")
    assert agrees(20.0 * np.log10(float(law.ratio(0.11) / law.ratio(0.10))), "0.827854")


def test_e45_the_knob_where_the_power_amplifier_just_clips() -> None:
    law = read_taper("audio 15 %")
    after_gain = 0.740741 / (2.0 * (1.0 + 10.0 / 3.3))
    assert agrees(after_gain, "0.0918964")
    assert agrees(100.0 * law.position(after_gain), "30.6321")
    assert agrees(100.0 * law.position(0.740740741 / 2.0), "62.9630")


@pytest.mark.parametrize("taper", ["linear", "audio 10 %", "audio 15 %", "exponential 60 dB"])
@pytest.mark.parametrize("wanted", [0.002, 0.1, 0.5, 0.99, 1.0])
def test_a_law_and_its_inverse(taper: str, wanted: float) -> None:
    law = read_taper(taper)
    assert float(law.ratio(law.position(wanted))) == pytest.approx(wanted, rel=1e-12)
