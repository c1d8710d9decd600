"""The worst position of a volume control is where a textbook says, and said with its grade."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from stagefx.audition.shortcuts import compare_files, compare_stages
from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.response import Response
from stagefx.hearing.grades import Grade
from stagefx.hearing.rows.noise import noise_change
from stagefx.hearing.rows.stage_noise import noise_at_seat
from stagefx.hearing.rows.worst_knob import (
    NO_CONTROL,
    WorstKnob,
    _noise_rows,
    _positions,
    worst_knob,
)
from tests.cli.running import one_object, run_here

RATE_HZ = 44100
HIGH_HZ = 10.0**4.2


def control(position: float, *, name: str = "box", source: str = "1 ohm", **more: Any) -> Stage:
    tables: dict[str, Any] = {
        "name": name,
        "source": {"level": "2 V rms", "resistance": source},
        "volume": {"resistance": "20 kohm", "taper": "linear", "position": position},
        "output_cable": {"capacitance": "1.2 nF"},
    }
    return stage_from(tables | more)


def turned(first: Stage, second: Stage, grade: Grade = Grade.SHOULD_NOT) -> WorstKnob:
    return worst_knob(
        nominal(first), nominal(second), full_scale_spl_db=105.0, room_noise_dba=30.0,
        grade_in_use=grade,
    )  # fmt: skip


@pytest.mark.parametrize("source_ohm", [1.0, 2000.0])
def test_a_passive_control_is_worst_at_half_volts(source_ohm: float) -> None:
    """The wiper's resistance is largest, (R + Rs)/4, at half of the source's volts (textbook)."""
    found = turned(load_stage("wire"), control(0.05, source=f"{source_ohm} ohm"))
    total = 20e3 + source_ohm
    assert found.grade is Grade.MAY
    assert found.position == pytest.approx(0.5 * total / 20e3, abs=0.011)
    assert found.setting_db == pytest.approx(20.0 * math.log10(0.5 * total / 20e3), abs=0.2)

    def loss_db(hz: float) -> float:
        return 10.0 * math.log10(1.0 + (2.0 * math.pi * hz * total / 4.0 * 1.2e-9) ** 2)

    middle = np.median([loss_db(10.0 ** (n / 10.0)) for n in range(23, 38)])
    assert f"{loss_db(HIGH_HZ) - middle:.1f} dB down at 16 kHz: may be heard" in found.sentence
    assert "(5 % in use)" in found.sentence


def test_the_position_in_use_may_be_the_worst() -> None:
    found = turned(load_stage("wire"), control(0.5))
    assert found.as_json() == {
        "value": None,
        "reason": "no position of the control is worse than the one in use",
    }


def test_where_no_position_brings_it_near_the_verdict_is_the_same() -> None:
    short = {"output_cable": {"capacitance": "50 pF"}}
    found = turned(load_stage("wire"), control(0.05, **short))
    assert found.grade is None
    at = "position of the control; at the worst, 50 % of travel"
    assert found.reason.startswith(f"the difference should not be heard at any {at}")
    found = turned(load_stage("wire"), control(0.05, **short), Grade.MAY)
    assert found.reason.startswith(f"the verdict is the same at every {at}")


def test_without_a_control_there_is_no_worst() -> None:
    assert turned(load_stage("wire"), load_stage("wire")).reason == NO_CONTROL


def test_what_is_heard_in_use_is_not_unheard_elsewhere() -> None:
    found = turned(load_stage("wire"), control(0.05), Grade.WILL)
    assert found.grade is Grade.WILL
    assert found.sentence.endswith("may be heard by itself; the verdict stays 'will be heard'.")


def gain_db(circuit: Circuit) -> np.ndarray[Any, np.dtype[np.float64]]:
    return 20.0 * np.log10(np.abs(Response(circuit, np.array([1000.0])).to_load[:, 0]))


def test_the_second_control_plays_as_loud_as_the_first_wherever_it_stands() -> None:
    follower = {"amplifier": {"topology": "follower"}}
    amplified = {"amplifier": {"gain": 4.0}}
    first, second = control(0.4, **follower), control(0.9, name="other", **amplified)
    positions = _positions(nominal(first), nominal(second))
    apart = gain_db(positions.turned[1]) - gain_db(positions.turned[0])
    np.testing.assert_allclose(apart, apart[0], atol=5e-3)
    assert (
        20 < apart.size < 101
    )  # 12 + 6 dB apart: over much of the travel the second is at its end


def test_switched_steps_are_the_positions_there_are() -> None:
    steps = [f"{level} dB" for level in (-40, -30, -20, -10, -6, -3, 0)]
    volume = {"resistance": "20 kohm", "taper": steps, "position": 0.0}
    found = turned(load_stage("wire"), control(0.0, volume=volume))
    assert found.setting_db == pytest.approx(-6.0)


SEAT = {
    "amplifier_gain": 27, "speaker_sensitivity": "87 dB", "distance": "3 m",
    "room_noise": "30 dBA",
}  # fmt: skip


@pytest.mark.parametrize("seat", [{}, {"listening": SEAT}])
def test_noise_keeps_its_volts_while_the_knob_turns(seat: dict[str, Any]) -> None:
    """Thermal noise of R/4 against R x 0.05 x 0.95: 10 lg(0.25 / 0.0475) more at half."""
    quiet = {"output_cable": {"capacitance": "1 pF"}} | seat
    still = stage_from({"source": {"level": "2 V rms"}} | seat)
    positions = _positions(nominal(still), nominal(control(0.05, **quiet)))
    (rows,) = _noise_rows(positions, 105.0, 30.0)
    half = int(np.argmin(np.abs(positions.travel - 0.5)))
    assert rows[half].value is not None
    assert rows[0].value is not None
    expected = 10.0 * math.log10(0.25 / 0.0475)
    assert rows[half].value - rows[0].value == pytest.approx(expected, abs=0.01)
    hz, *levels = noise_at_seat(*positions.in_use, full_scale_spl_db=105.0)
    in_use = noise_change(hz, *levels, room_noise_dba=30.0).over_db
    assert rows[0].value == pytest.approx(in_use, abs=1e-9)


BIASED = {"gain": 1.0 + 10.0 / 3.3, "bias_current": "200 nA", "offset_voltage": "0 V"}
CHAIN = {"amplifier_gain": 27, "speaker_sensitivity": "87 dB", "distance": "3 m"}


@pytest.mark.parametrize(("coupling", "said"), [("dc", "speaker."), (None, "is DC-coupled.")])
def test_direct_voltage_at_the_worst_position_is_said(coupling: str | None, said: str) -> None:
    """200 nA through 5 kohm at half volts, 4.03 and 27 times: 109 mV (by hand)."""
    chain = CHAIN if coupling is None else CHAIN | {"amplifier_coupling": coupling}
    stage = control(0.02, amplifier=BIASED, listening=chain, output_cable={"capacitance": "1 pF"})
    found = turned(stage, stage)
    assert "at 50 % of travel up to 109 mV of direct voltage" in found.sentence
    assert found.sentence.endswith(said)
    assert found.position == pytest.approx(0.5)
    assert found.grade is Grade.SHOULD_NOT


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("knob")
    noise = 0.1 * np.random.default_rng(1).standard_normal((2 * RATE_HZ, 1))
    soundfile.write(place / "noise.wav", noise, RATE_HZ, "PCM_24")
    from stagefx.circuit.description.files import stage_as_toml

    (place / "box.toml").write_text(stage_as_toml(control(0.02)), encoding="utf-8")
    return place


def test_the_verdict_stands_at_the_knob_in_use_and_beside_it_at_the_worst(folder: Path) -> None:
    found = compare_stages(load_stage("wire"), control(0.02), folder / "noise.wav")
    assert found.verdict.grade.rank <= Grade.SHOULD_NOT.rank
    assert found.worst_knob.grade is Grade.MAY
    beside = found.as_json()["verdict_at_worst_knob"]
    assert set(beside) == {"position", "setting_db", "grade", "sentence"}
    assert json.loads(json.dumps(beside)) == beside


def test_the_command_says_both(folder: Path) -> None:
    words = ("compare", "wire", "box.toml", "--music", "noise.wav")
    said = " ".join(run_here(*words, cwd=folder).stdout.split())
    assert "In this set-up the difference should not be heard." in said
    assert "At the worst position of the control, 50 % of travel, -6.0 dB (2 % in use)" in said
    plain = one_object(run_here(*words, "--json", cwd=folder).stdout)
    assert plain["verdict_at_worst_knob"]["grade"] == "may be heard"


def test_files_have_no_knob(folder: Path) -> None:
    found = compare_files(folder / "noise.wav", folder / "noise.wav")
    assert found.as_json()["verdict_at_worst_knob"] == {"value": None, "reason": NO_CONTROL}
