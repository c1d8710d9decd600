"""What is not known of direct voltage is said beside the verdict, and no more than that."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from stagefx.audition.shortcuts import compare_stages
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.figures.table import compute_figures
from stagefx.hearing.rows.dc import DIRECT_VOLTAGE, DirectVoltage, direct_voltage, is_direct
from stagefx.report.text.interpretation import yardstick

CHAIN = {"amplifier_gain": 27, "speaker_sensitivity": "87 dB", "distance": "3 m"}
REAL = {"topology": "follower", "bias_current": "200 nA", "offset_voltage": "1 mV"}
INPUT = {"coupling": "1 uF", "resistance": "100 kohm"}


def said(coupling: str | None = "dc", **changed: Any) -> DirectVoltage:
    chain = CHAIN if coupling is None else CHAIN | {"amplifier_coupling": coupling}
    tables: dict[str, Any] = {
        "name": "board", "source": {"level": "2 V rms"}, "input": INPUT, "amplifier": REAL,
        "listening": chain,
    }  # fmt: skip
    made = {key: value for key, value in (tables | changed).items() if value is not None}
    return direct_voltage([nominal(stage_from(made))])


@pytest.mark.parametrize("coupling", ["dc", "ac"])
def test_where_all_is_known_nothing_is_said(coupling: str) -> None:
    assert said(coupling) == DirectVoltage((), judged=True)


def test_an_unstated_coupling_is_judged_both_ways() -> None:
    """1 mV and 200 nA through 100 kohm: 21 mV, and 27 times that at the loudspeaker."""
    (remark,) = said(None).remarks
    assert "if it is DC-coupled, the loudspeaker gets 567 mV behind 'board'" in remark
    assert "50 mV is the most there should be; if it is AC-coupled, none." in remark
    assert said(None).judged


@pytest.mark.parametrize("coupling", ["dc", None])
def test_without_an_input_resistance_the_reason_is_said(coupling: str | None) -> None:
    found = said(coupling, input={"coupling": "1 uF"})
    assert not found.judged
    assert "state [input] resistance" in found.remarks[0]
    assert said("ac", input={"coupling": "1 uF"}).judged


@pytest.mark.parametrize(
    ("amplifier", "missing"),
    [
        ({"topology": "follower"}, "offset_voltage and bias_current are"),
        ({"topology": "follower", "bias_current": "1 nA"}, "offset_voltage is"),
        ({"topology": "follower", "offset_voltage": "1 mV"}, "bias_current is"),
    ],
)
def test_an_unstated_device_figure_is_not_taken_for_none(
    amplifier: dict[str, str], missing: str
) -> None:
    found = said(amplifier=amplifier)
    assert not found.judged
    assert f"[amplifier] {missing} not stated" in found.remarks[0]


def test_without_a_listening_chain_what_arrives_is_not_known() -> None:
    found = said(listening=None)
    assert not found.judged
    assert "it has up to 21 mV at its output, and no [listening]" in found.remarks[0]


@pytest.mark.parametrize(
    "changed",
    [
        {"amplifier": None},
        {"output": {"coupling": "10 uF"}, "load": {"resistance": "10 kohm"}},
    ],
)
def test_what_makes_or_passes_none_needs_no_word(changed: dict[str, Any]) -> None:
    assert said(listening=None, **changed) == DirectVoltage((), judged=True)


def test_it_stands_beside_the_verdict(tmp_path: Path) -> None:
    noise = 0.1 * np.random.default_rng(1).standard_normal((44100, 1))
    soundfile.write(tmp_path / "noise.wav", noise, 44100, "PCM_24")
    tables: dict[str, Any] = {"name": "board", "source": {"level": "2 V rms"}, "input": INPUT}
    stage = stage_from(tables | {"amplifier": {"topology": "follower"}})
    found = compare_stages(stage, stage, tmp_path / "noise.wav")
    assert sum(map(is_direct, found.remarks)) == 1
    assert DIRECT_VOLTAGE in found.verdict.not_judged
    assert DIRECT_VOLTAGE in found.as_json()["verdict"]["not_judged"]


def test_the_figure_says_under_what_condition_it_holds() -> None:
    tables: dict[str, Any] = {"input": INPUT, "amplifier": REAL, "listening": CHAIN}
    figures = compute_figures(stage_from(tables))
    assert figures.figures["speaker_dc_v"].value == pytest.approx(0.567)
    assert "taken as DC-coupled where" in figures.figures["speaker_dc_v"].formula
    assert yardstick("speaker_dc_v", figures).endswith("none if the amplifier is AC-coupled")
