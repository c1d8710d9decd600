"""A stage from readings: the sample sheet, contradictions, what cannot be, remarks, results."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

import stagefx
from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.derivation import stage_from_readings
from stagefx.bench.readings.files import load_readings, readings_from
from stagefx.bench.readings.report import BenchStage
from stagefx.circuit.description.files import load_stage, read_stage, stage_from
from stagefx.figures.table import compute_figures

SAMPLES = Path(stagefx.__file__).parents[1] / "samples"
GAIN = {"of": "gain", "input": "0.5 V", "output": "2 V"}
RAIL = {"of": "rail", "positive": "15 V", "negative": "-15 V"}
EVEN = {"of": "balance", "left": "1 V", "right": "1 V"}
CROSSTALK = {"of": "crosstalk", "driven": "1 V", "undriven": "1 mV", "frequency": "10 kHz"}
TREBLE = {"of": "response", "frequency": "20 kHz", "level": "-0.5 dB"}


def found(
    *readings: dict[str, Any], like: dict[str, Any] | None = None, **sheet: Any
) -> BenchStage:
    stage = None if like is None else stage_from(like)
    return stage_from_readings(readings_from(sheet | {"reading": list(readings)}), like=stage)


def codes(told: BenchStage) -> set[str]:
    return {remark.code for remark in told.remarks}


@pytest.fixture(scope="module")
def board() -> BenchStage:
    return stage_from_readings(load_readings(SAMPLES / "readings" / "stock-board.toml"))


def test_the_sample_sheet_makes_a_stage_that_gives_every_reading(board: BenchStage) -> None:
    assert len({check.reading for check in board.checks}) == 9
    assert all(check.agrees for check in board.checks)
    assert "not-reproduced" not in codes(board)


def test_the_figures_of_the_sample_stage_are_the_readings(board: BenchStage) -> None:
    """Every reading of the sheet beside the figure on paper, within the sheet's uncertainty."""
    values = {key: figure.value for key, figure in compute_figures(board.stage).figures.items()}

    def given(key: str) -> float:
        value = values[key]
        assert value is not None, key
        return value

    assert given("gain_db") == pytest.approx(12.094, abs=0.087)
    assert given("response_20_hz_db") == pytest.approx(0.0, abs=0.05)
    assert given("high_corner_hz") == pytest.approx(605e3, rel=0.06)
    assert given("output_impedance_ohm") == pytest.approx(100.1, abs=2.2)
    direct = given("output_dc_v")
    assert direct == pytest.approx(35.5e-3, abs=0.5e-3)
    # the sheet's clip levels are counted from 0 V and behind the output resistor, into 10 kohm
    assert (given("clip_high_v") + direct) / 1.01 == pytest.approx(13.3, rel=0.03)
    assert (given("clip_low_v") + direct) / 1.01 == pytest.approx(-13.4, rel=0.03)
    assert given("slew_available_v_per_us") == pytest.approx(8.8, rel=0.05)
    assert given("noise_20k_v_rms") == pytest.approx(4.9e-6, rel=0.05)


def test_the_sample_sheet_and_the_drawing_agree() -> None:
    sheet = load_readings(SAMPLES / "readings" / "stock-board.toml")
    like = load_stage(SAMPLES / "stages" / "stock.toml")
    told = stage_from_readings(sheet, like=like)
    assert all(check.agrees for check in told.checks)
    assert told.stage.listening == like.listening
    assert told.stage.load == like.load
    assert told.stage.output_cable == like.output_cable
    assert told.stage.input == like.input  # the response is what the drawing gives anyway
    assert told.figure("feedback_resistance_ohm").value == pytest.approx(10e3, rel=0.01)


def test_the_stage_file_is_commented_and_reads_back(board: BenchStage) -> None:
    text = board.as_toml()
    assert read_stage(text) == board.stage
    assert text.startswith("# From the readings of stock board, as read.")
    assert "gain = 4.02" in text
    assert "# 4.024 ± 0.028, reading 1" in text
    assert 'resistance = "100.05 ohm 1.3 %" # 100.1 ± 1.3 ohm, reading 5' in text
    assert max(len(line) for line in text.splitlines() if line.startswith("#")) <= 100


def test_usual_uncertainties_are_said_to_be_such() -> None:
    text = found(GAIN).as_toml()
    assert "usual uncertainty, none stated" in text


def test_the_result_is_plain_json(board: BenchStage) -> None:
    plain = json.loads(json.dumps(board.as_json(), allow_nan=False))
    assert set(plain) == {"stage", "figures", "readings", "remarks"}
    gain = plain["figures"]["amplifier_gain"]
    assert gain["readings"] == [1]
    assert gain["part"] == "amplifier.gain"
    assert gain["low"] < gain["value"] < gain["high"]
    assert not gain["assumed"]
    assert plain["readings"][0]["agrees"] is True


def test_what_was_not_read_is_no_figure(board: BenchStage) -> None:
    with pytest.raises(KeyError):
        board.figure("coupling_capacitance_f")


def test_question_is_1_874_against_1_980_the_corner() -> None:
    """It is -0.48 dB; the corner is about 58 to 59 kHz if one pole makes all of the loss."""
    volts = {"of": "response", "frequency": "20 kHz", "output": "1.874 V", "reference": "1.980 V"}
    told = found(volts)
    assert told.figure("response_20_khz_db").value == pytest.approx(-0.478, abs=5e-4)
    assert 58e3 < told.figure("high_corner_hz").value < 59e3
    assert {"not-the-corner", "meter-roll-off", "generator-droop"} <= codes(told)


def test_question_what_a_square_wave_tells() -> None:
    told = found(
        GAIN,
        {"of": "rise-time", "time": "2.15 us", "generator": "1.2 us", "step": "0.2 V p-p"},
        {"of": "tilt", "percent": "9.99 %", "frequency": "50 Hz", "definition": "one top"},
        {"of": "overshoot", "percent": "25 %"},
    )
    assert told.figure("rise_time_s").value == pytest.approx(1.6e-6, rel=1e-3)
    assert "root-square" in told.figure("rise_time_s").note
    assert told.figure("high_corner_hz").value == pytest.approx(218.6e3, rel=1e-3)
    assert told.figure("tilt_corner_hz").value == pytest.approx(1.675, abs=1e-3)
    note = told.figure("tilt_corner_hz").note
    assert "1.591 Hz as half peak-to-peak" in note
    assert "1.59 Hz as rule" in note
    assert told.figure("phase_margin_deg").value == pytest.approx(43.46, abs=0.01)
    assert {"scope-coupling", "ringing-missing"} <= codes(told)


@pytest.mark.parametrize(
    ("readings", "said"),
    [
        (
            [GAIN, GAIN | {"output": "2.2 V"}],
            "contradict each other: an amplifier gain of 4 (3.921 to 4.081) and 4.4 (4.313 to",
        ),
        ([GAIN, GAIN | {"output": "5.657 V"}], "is one peak-to-peak and the other rms?"),
        ([GAIN, GAIN | {"output": "20 V"}], "a probe that the instrument was not told of?"),
        (
            [GAIN, TREBLE, TREBLE | {"level": "-2 dB"}],
            "reading 2 (response) and reading 3 (response) contradict each other: a treble corner",
        ),
        (
            [GAIN, TREBLE, {"of": "rise-time", "time": "1 us", "generator": "10 ns"}],
            "reading 2 (response) and reading 3 (rise-time) contradict each other: a treble corner",
        ),
        (
            [
                GAIN,
                {"of": "rise-time", "time": "0.5 us", "generator": "10 ns", "step": "10 V p-p"},
                {"of": "slew", "rise": "9 V/us"},
            ],
            "reading 2 (rise-time) and reading 3 (slew) contradict each other",
        ),
        (
            [GAIN, RAIL, {"of": "clip", "high": "16.5 V", "low": "-13 V"}],
            "reading 3 (clip) and reading 2 (rail) contradict each other: a peak of 16.5 V",
        ),
        ([RAIL, RAIL | {"positive": "18 V"}], "reading 1 (rail) and reading 2 (rail) contradict"),
        (
            [
                GAIN,
                RAIL,
                {"of": "clip", "high": "9 V", "low": "-9 V", "load": "10 kohm"},
                {"of": "clip", "output": "8 V rms", "load": "600 ohm"},
            ],
            "reading 4 (clip) and reading 3 (clip) contradict each other: the output swings",
        ),
        (
            [
                GAIN,
                {"of": "overshoot", "percent": "5 %", "ringing": "1 MHz"},
                {"of": "overshoot", "percent": "30 %"},
            ],
            "contradict each other: an overshoot with one load of 5 % (3 % to 7 %) and 30 %",
        ),
        (
            [
                GAIN,
                {"of": "noise", "level": "90 uV", "source_resistance": "0 ohm"},
                {"of": "noise", "level": "100 uV", "source_resistance": "10 kohm"},
                {"of": "noise", "level": "200 uV", "source_resistance": "11 kohm"},
            ],
            "contradict each other: no noise voltage and noise current give all of them",
        ),
        (
            [EVEN, EVEN | {"right": "0.9 V"}],
            "reading 1 (balance) and reading 2 (balance) contradict",
        ),
    ],
)
def test_readings_that_contradict_each_other_are_named(
    readings: list[dict[str, Any]], said: str
) -> None:
    with pytest.raises(ReadingsError) as caught:
        found(*readings)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("readings", "said"),
    [
        (
            [{"of": "output-loading", "open": "1 V", "loaded": "1.1 V", "load": "1 kohm"}],
            "reading 1 (output-loading): 1.1 V loaded is above 1 V open",
        ),
        (
            [{"of": "input-loading", "direct": "1 V", "through": "1.1 V", "resistance": "1 kohm"}],
            "1.1 V through the resistance is above 1 V straight on",
        ),
        ([GAIN | {"output": "0.4 V"}], "reading 1 (gain): 0.8 is below the 1 that reach"),
        (
            [GAIN, {"of": "noise", "level": "1 uV", "source_resistance": "10 kohm"}],
            "1 uV is less than the 7.26 uV of thermal noise that the resistances alone make",
        ),
        (
            [GAIN, TREBLE | {"level": "0.5 dB"}],
            "+0.5 dB at 20 kHz is above the level at 1 kHz, which no corner makes",
        ),
        ([TREBLE | {"frequency": "1 kHz"}], "-0.5 dB at 1 kHz, but levels are counted from 1 kHz"),
        (
            [{"of": "rise-time", "time": "1 us", "generator": "2 us"}],
            "shorter than the generator's own 2 us",
        ),
        (
            [GAIN | {"meter": [["1 kHz", "0 dB"]], "frequency": "20 kHz"}],
            "meter is not known at 20 kHz, only up to 1 kHz; add its level there",
        ),
        (
            [{"of": "crosstalk", "driven": "1 V", "undriven": "1 V", "frequency": "1 kHz"}],
            "the undriven channel is as loud as the driven one",
        ),
    ],
)
def test_readings_that_cannot_be(readings: list[dict[str, Any]], said: str) -> None:
    with pytest.raises(ReadingsError) as caught:
        found(*readings)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("readings", "said"),
    [
        ([GAIN, {"of": "clip", "high": "13 V", "low": "-13 V"}], "a rail reading is missing"),
        ([{"of": "slew", "rise": "9 V/us"}], "a gain reading is missing"),
        ([{"of": "noise", "level": "5 uV"}], "a gain reading is missing"),
        ([{"of": "offset", "output": "1 mV"}], "a gain reading is missing"),
        ([{"of": "overshoot", "percent": "5 %"}], "a gain reading is missing"),
        ([{"of": "supply-current", "positive": "4 mA"}], "a gain reading is missing"),
        ([TREBLE | {"place": "amplifier"}], "a gain reading is missing"),
        ([GAIN, TREBLE | {"place": "output"}], "an output-loading reading is missing"),
    ],
)
def test_what_is_not_determined_says_which_reading_is_missing(
    readings: list[dict[str, Any]], said: str
) -> None:
    with pytest.raises(ReadingsError) as caught:
        found(*readings)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("code", "readings"),
    [
        ("factor-of-ten", [GAIN, RAIL, {"of": "clip", "high": "1.35 V", "low": "-1.35 V"}]),
        ("peak-to-peak-for-rms", [{"of": "balance", "left": "1 V", "right": "2.83 V"}]),
        (
            "peak-to-peak-for-rms",
            [TREBLE | {"level": None, "output": "0.7 V", "reference": "1.98 V"}],
        ),
        (
            "average-reading-meter",
            [{"of": "balance", "left": "1 V", "right": "1 V", "wave": "square"}],
        ),
        ("average-reading-meter", [GAIN, {"of": "noise", "level": "5 uV"}]),
        ("input-taken-as-shorted", [GAIN, {"of": "noise", "level": "5 uV"}]),
        ("brick-wall-assumed", [GAIN, {"of": "noise", "level": "5 uV", "bandwidth": "80 kHz"}]),
        ("meter-roll-off", [TREBLE]),
        ("generator-droop", [TREBLE]),
        (
            "all-of-it-the-generator",
            [TREBLE | {"generator": [["1 kHz", "0 dB"], ["20 kHz", "-0.5 dB"]]}],
        ),
        ("corner-not-seen", [TREBLE | {"level": "-0.05 dB"}]),
        ("generator-unknown", [{"of": "rise-time", "time": "1 us"}]),
        ("generator-too-slow", [{"of": "rise-time", "time": "1 us", "generator": "1 us"}]),
        (
            "supply-currents-unequal",
            [GAIN, {"of": "supply-current", "positive": "9 mA", "negative": "4 mA"}],
        ),
        ("no-control-for-balance", [{"of": "balance", "left": "1 V", "right": "0.99 V"}]),
        ("source-resistance-missing", [CROSSTALK]),
        ("one-frequency", [CROSSTALK]),
        ("rail-missing", [{"of": "rail", "negative": "-15 V"}]),
    ],
)
def test_remarks_on_what_looks_odd(code: str, readings: list[dict[str, Any]]) -> None:
    told = found(*({k: v for k, v in r.items() if v is not None} for r in readings))
    assert code in codes(told)


@pytest.mark.parametrize(
    ("code", "device", "readings"),
    [
        ("slower-than-its-class", "fast bipolar", [{"of": "slew", "rise": "0.5 V/us"}]),
        (
            "swings-less-than-its-class",
            "general-purpose bipolar",
            [RAIL, {"of": "clip", "high": "10 V", "low": "-10 V"}],
        ),
        (
            "noisier-than-its-class",
            "low-noise bipolar",
            [{"of": "noise", "level": "20 uV", "source_resistance": "0 ohm"}],
        ),
        ("offset-unlike-its-class", "fast bipolar", [{"of": "offset", "output": "-40 mV"}]),
        ("current-unlike-its-class", "FET-input", [{"of": "supply-current", "positive": "1 mA"}]),
    ],
)
def test_a_device_out_of_its_class_is_remarked(
    code: str, device: str, readings: list[dict[str, Any]]
) -> None:
    told = found(GAIN, *readings, device=device)
    sentences = [remark.sentence for remark in told.remarks if remark.code == code]
    assert sentences
    assert all("worth checking that it is what its marking says" in said for said in sentences)
    other = found(GAIN, *readings)
    assert code not in codes(other)


def test_a_described_gain_shows_the_slip() -> None:
    like = {"amplifier": {"gain": 4.0}}
    assert "factor-of-ten" in codes(found(GAIN | {"output": "20 V"}, like=like))
    assert "peak-to-peak-for-rms" in codes(found(GAIN | {"output": "5.657 V"}, like=like))
    assert codes(found(GAIN | {"output": "2.02 V"}, like=like)) == set()


def test_a_follower_gives_one_or_is_refused() -> None:
    like = {"amplifier": {"topology": "follower"}}
    told = found(GAIN | {"output": "0.501 V"}, like=like)
    assert told.stage.amplifier == stage_from(like).amplifier
    with pytest.raises(ReadingsError, match="but a follower gives 1 with the knob at 1"):
        found(GAIN, like=like)


def test_a_passive_stage_has_no_device_to_read() -> None:
    like = {"volume": {"resistance": "10 kohm"}}
    with pytest.raises(ReadingsError, match="the stage that was described has no amplifier"):
        found({"of": "slew", "rise": "9 V/us"}, like=like)


def test_an_inverting_stage_may_have_any_gain() -> None:
    told = found(GAIN | {"output": "0.25 V"}, topology="inverting")
    assert told.stage.amplifier is not None
    assert told.stage.amplifier.topology == "inverting"
    assert told.stage.amplifier.gain == pytest.approx(0.5)


def test_a_gain_of_almost_one_is_one() -> None:
    told = found(GAIN | {"output": "0.499 V"})
    assert told.stage.amplifier is not None
    assert told.stage.amplifier.gain == 1.0
    assert told.figure("amplifier_gain").value == 1.0
    assert all(check.agrees for check in told.checks)


def test_the_control_takes_the_difference_between_channels() -> None:
    like = {"volume": {"resistance": "10 kohm"}, "amplifier": {"gain": 2.0}}
    told = found({"of": "balance", "left": "1 V", "right": "0.9 V"}, like=like)
    assert told.stage.volume is not None
    assert told.stage.volume.mismatch is not None
    assert told.stage.volume.mismatch.value == pytest.approx(-0.9151, abs=1e-4)


def test_parts_not_read_stay_as_described() -> None:
    like = load_stage("line-stage")
    told = stage_from_readings(
        readings_from({"reading": [{"of": "slew", "rise": "8 V/us", "fall": "7 V/us"}]}), like=like
    )
    assert told.stage.amplifier is not None
    assert told.stage.amplifier.slew_fall is not None
    assert told.stage.amplifier.slew_fall.value == pytest.approx(7e6)
    assert told.stage.amplifier.slew_fall.tolerance == pytest.approx(0.05)
    unchanged = told.stage.amplifier.model_copy(update={"slew_rise": None, "slew_fall": None})
    assert unchanged == like.amplifier
    assert told.stage.model_copy(update={"amplifier": None}) == like.model_copy(
        update={"amplifier": None}
    )


def test_the_library_of_readings_loads_nothing_compiled() -> None:
    import subprocess
    import sys

    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys, stagefx.bench.readings.derivation; print(*sys.modules)",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    assert not {"numba", "scipy.signal", "scipy.optimize"} & set(done.stdout.split())
