"""The knob stands where the stage says, or where the music plays at the listening level."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.knob import Knob, full_scale_spl_db, set_knob
from stagefx.errors import StageError
from stagefx.figures.table import compute_figures

CHAIN = {"amplifier_gain": 27, "speaker_sensitivity": "87 dB", "distance": "3 m"}
VOLUME = {"resistance": "10 kohm", "taper": "audio 15 %", "setting": "listening"}
TABLES: dict[str, Any] = {
    "source": {"level": "2 V rms"},
    "volume": VOLUME,
    "amplifier": {"gain": 4},
    "load": {"resistance": "10 kohm"},
    "listening": CHAIN,
}


def knob(level_db: float = 85.0, **changed: Any) -> Knob:
    return set_knob(nominal(stage_from(TABLES | changed)), listening_level_db=level_db)


@pytest.mark.parametrize("level_db", [45.0, 60.0, 85.0, 95.0])
@pytest.mark.parametrize("taper", ["linear", "audio 15 %", "exponential 60 dB"])
@pytest.mark.parametrize("place", ["before", "after"])
def test_the_programme_plays_at_the_listening_level(
    level_db: float, taper: str, place: str
) -> None:
    found = knob(level_db, volume=VOLUME | {"taper": taper, "place": place})
    assert found.level_at_seat_db == pytest.approx(level_db, abs=1e-6)
    assert found.remark == ""
    # a programme at -18 LUFS lies 18 dB under full scale
    assert full_scale_spl_db(found.circuit)[0] - 18.0 == pytest.approx(level_db, abs=1e-6)


def test_turning_it_up_turns_the_knob_up() -> None:
    positions = [knob(level).position for level in (40.0, 60.0, 80.0, 90.0)]
    assert positions == sorted(set(positions))  # type: ignore[type-var]


def test_a_louder_programme_needs_less_knob() -> None:
    circuit = nominal(stage_from(TABLES))
    soft, loud = (set_knob(circuit, programme_db=db).position for db in (-24.0, -12.0))
    assert soft is not None
    assert loud is not None
    assert loud < soft


def test_a_level_out_of_reach_is_said() -> None:
    found = knob(130.0)
    assert found.position == pytest.approx(1.0)
    assert found.level_at_seat_db is not None
    assert found.remark == (
        f"the knob at 100% plays the programme at {found.level_at_seat_db:.1f} dB, not at 130 dB"
    )


def test_an_exponential_control_does_not_go_down_to_nothing() -> None:
    """60 dB down is as low as it gets, which here is 40.1 dB at the seat."""
    found = knob(30.0, volume=VOLUME | {"taper": "exponential 60 dB"})
    assert found.position == pytest.approx(0.0, abs=1e-9)
    assert found.remark == "the knob at 0% plays the programme at 40.1 dB, not at 30 dB"


def test_a_switched_control_takes_the_nearest_step() -> None:
    steps = [f"{db} dB" for db in range(-60, 1, 2)]
    found = knob(85.0, volume=VOLUME | {"taper": steps})
    assert found.position is not None
    assert (found.position * 30.0) == pytest.approx(round(found.position * 30.0))
    assert found.level_at_seat_db == pytest.approx(85.0, abs=1.0 + 1e-9)
    assert found.remark == ""


def test_a_stated_position_stands_and_its_level_is_told() -> None:
    found = knob(85.0, volume={"resistance": "10 kohm", "position": 0.5})
    assert found.position == 0.5
    # 2 V at half of 10 k, times 4, times 27, over 2.83 V, 87 dB, 3 m, two speakers, less 18 dB
    gain = 0.5 * 4 * 27
    wanted = 20.0 * np.log10(2.0 * gain / 8.0**0.5 / 3.0) + 10.0 * np.log10(2.0) + 87.0 - 18.0
    assert found.level_at_seat_db == pytest.approx(wanted, abs=1e-9)


def test_neither_stated_it_listens_where_there_is_a_chain() -> None:
    volume = {key: value for key, value in VOLUME.items() if key != "setting"}
    assert knob(volume=volume).position == knob().position
    alone = set_knob(nominal(stage_from({"volume": volume})))
    assert (alone.position, alone.level_at_seat_db) == (1.0, None)


@pytest.mark.parametrize(
    ("tables", "missing"),
    [
        ({"source": {"level": "2 V rms"}, "volume": VOLUME}, r"\[listening\]"),
        ({"volume": VOLUME, "listening": CHAIN}, r"\[source\] level"),
    ],
)
def test_listening_without_a_chain_or_a_level(tables: dict[str, Any], missing: str) -> None:
    words = (
        rf'^\[volume\] setting = "listening" needs {missing}; describe it, or give a position '
        r'between 0 and 1 or a setting like "-12 dB"$'
    )
    with pytest.raises(StageError, match=words):
        set_knob(nominal(stage_from(tables)))


def test_no_control_no_knob() -> None:
    found = set_knob(nominal(load_stage("thin-coupling")))
    assert found.position is None


@pytest.mark.parametrize("place", ["before", "after"])
@pytest.mark.parametrize("amplified", [True, False])
def test_at_zero_nothing_comes_through_and_nothing_breaks(place: str, amplified: bool) -> None:
    """Every figure is a number or says why there is none; what does not pass the knob stays."""
    tables: dict[str, Any] = TABLES | {
        "source": {"level": "2 V rms", "resistance": "100 ohm"},
        "volume": {"resistance": "10 kohm", "position": 0, "place": place},
        "output": {"resistance": "47 ohm"},
    }
    if not amplified:
        del tables["amplifier"]
    figures = compute_figures(stage_from(tables)).figures
    assert figures["gain_db"].reason == "minus infinity"
    for key in ("low_corner_hz", "high_corner_hz", "response_20_khz_db", "load_loss_db"):
        assert figures[key].reason == "the knob stands at zero"
    assert figures["wiper_resistance_ohm"].value == 0.0
    if place == "before":
        assert figures["input_impedance_ohm"].value == pytest.approx(10e3)
        assert figures["source_loss_db"].value == pytest.approx(20.0 * np.log10(10e3 / 10.1e3))
    for key, figure in figures.items():
        assert (figure.value is None) == bool(figure.reason), key
        assert figure.value is None or np.isfinite(figure.value), key
