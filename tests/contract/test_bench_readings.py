"""Readings files that cannot be used: one line each, that says what, where, and what would do."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.files import KINDS, load_readings, read_readings, readings_from

ALL_KINDS = {
    "gain", "response", "clip", "output-loading", "input-loading", "rise-time", "slew", "tilt",
    "overshoot", "noise", "offset", "rail", "supply-current", "balance", "crosstalk",
}  # fmt: skip


def refused(text: str) -> str:
    with pytest.raises(ReadingsError) as caught:
        read_readings(text, where="bench.toml")
    message = str(caught.value)
    assert message.startswith("bench.toml: ")
    assert "\n" not in message
    return message


def one(**reading: Any) -> str:
    rows = "\n".join(f"{key} = {value}" for key, value in reading.items())
    return f"[[reading]]\n{rows}"


def test_every_kind_is_known() -> None:
    assert set(KINDS) == ALL_KINDS


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "there is no reading"),
        ("reading = 3", "there is no reading"),
        ("name =", "not TOML"),
        ('nmae = "x"', "unknown table or key 'nmae'; did you mean 'name'?"),
        ("knob = 2\n" + one(of='"rail"', positive='"15 V"'), "knob: 2: it must be at most 1"),
        (one(of='"gian"'), "reading 1: no kind of reading 'gian'; did you mean 'gain'?"),
        (one(input='"1 V"'), "reading 1: of, its kind, is missing"),
        (one(of='"gain"', input='"1 V"'), "reading 1 (gain): output is missing"),
        (
            one(of='"gain"', input='"1 V"', output='"2 V"', ouput='"2 V"'),
            "reading 1 (gain): unknown key 'ouput'; did you mean 'output'?",
        ),
        (
            one(of='"gain"', input='"1 V"', output="2.0"),
            "reading 1 (gain), output: 2.0 has no unit; write it in V",
        ),
        (
            one(of='"gain"', input='"1 V"', output='"2 mA"'),
            'reading 1 (gain), output: "2 mA" is no value in V',
        ),
        (
            one(of='"gain"', input='"1 V"', output='"2 V"', uncertainty='"1 mA"'),
            'reading 1 (gain): uncertainty "1 mA" is no value in V',
        ),
        (
            one(of='"gain"', input='"1 V"', output='"2 V"', uncertainty='{load = "1 %"}'),
            "uncertainty is of what was read (input, output), not of 'load'",
        ),
        (
            one(of='"response"', frequency='"20 kHz"', output='"1 V"'),
            "reading 1 (response): reference, the volts at 1 kHz, is missing",
        ),
        (
            one(of='"response"', frequency='"20 kHz"', level='"-1 dB"', output='"1 V"'),
            "level and volts cannot both be given",
        ),
        (one(of='"clip"', high='"9 V"', low='"9 V"'), "the low peak is negative"),
        (one(of='"clip"'), "give the peaks high and low, or output"),
        (
            one(of='"output-loading"', open='"1 V"', loaded='"0.9 V"'),
            "load is missing, the resistance that was connected",
        ),
        (
            one(of='"tilt"', percent='"5 %"', frequency='"50 Hz"'),
            'definition is missing; it is "one top"',
        ),
        (one(of='"slew"', step='"10 V p-p"'), "rise is missing, or fall, or both"),
        (one(of='"slew"', rise='"9 V/us"', step='"7 V rms"'), "a step is from bottom to top"),
        (one(of='"overshoot"', percent='"100 %"'), "an oscillation, not an overshoot"),
        (
            one(of='"noise"', level='"5 uV"', weighting='"A"', bandwidth='"20 kHz"'),
            "weighting and bandwidth cannot both be given",
        ),
        (one(of='"noise"', level='"5 uV"', filter='"one pole"'), "give bandwidth too"),
        (one(of='"rail"', positive='"-15 V"'), "are the rails swapped?"),
        (one(of='"rail"'), "positive is missing, or negative, or both"),
        (
            one(of='"rail"', positive='"15 V"', meter='[["1 kHz"]]'),
            'meter: it must be pairs like [["1 kHz", "0 dB"]',
        ),
        (
            one(of='"rail"', positive='"15 V"', meter='[["1 kHz","0 dB"],["20 Hz","0 dB"]]'),
            "frequencies must rise",
        ),
        (one(of='"rail"', positive='"15 V"', probe="0"), "probe: 0: it must be more than 0"),
        ('device = "fast bipolr"\n' + one(of='"rail"'), "did you mean 'fast bipolar'?"),
    ],
)
def test_a_sheet_that_cannot_be_used(text: str, said: str) -> None:
    assert said in refused(text)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(ReadingsError, match="there is no such file"):
        load_readings(tmp_path / "none.toml")
    (tmp_path / "sound.toml").write_bytes(b"\xff\xfe\x00RIFF")
    with pytest.raises(ReadingsError, match="no text file"):
        load_readings(tmp_path / "sound.toml")
    with pytest.raises(ReadingsError, match="cannot be read"):
        load_readings(tmp_path)


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    place = tmp_path / "bench.toml"
    place.write_text(one(of='"rail"', positive='"15 V"'), encoding="utf-8-sig")
    assert load_readings(place).reading[0].of == "rail"


@pytest.mark.parametrize(
    ("text", "volts"), [("10 V", 10.0), ("10 V p-p", 10.0), ("5 V peak", 10.0)]
)
def test_a_step_is_from_bottom_to_top(text: str, volts: float) -> None:
    sheet = readings_from({"reading": [{"of": "slew", "rise": "9 V/us", "step": text}]})
    assert sheet.reading[0].step.value == volts


@pytest.mark.parametrize(
    ("uncertainty", "half_width", "assumed"),
    [
        ("1 %", 0.02, False),
        ("± 10 mV", 0.01, False),
        ("0.1 dB", 2.0 * (10.0**0.005 - 1.0), False),
        ({"output": "2 %"}, 0.04, False),
        ({"input": "2 %"}, 0.02, True),
        (None, 0.02, True),
    ],
)
def test_uncertainties_in_all_notations(uncertainty: Any, half_width: float, assumed: bool) -> None:
    reading = {"of": "gain", "input": "1 V", "output": "2 V", "uncertainty": uncertainty}
    gain = readings_from({"reading": [reading]}).reading[0]
    assert gain.half_width("output") == (pytest.approx(half_width), assumed)


def test_a_values_own_tolerance_comes_first() -> None:
    reading = {"of": "gain", "input": "1 V", "output": "2 V 5 %", "uncertainty": "1 %"}
    gain = readings_from({"reading": [reading]}).reading[0]
    assert gain.half_width("output") == (pytest.approx(0.1), False)
    assert gain.half_width("input") == (pytest.approx(0.01), False)
