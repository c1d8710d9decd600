"""Stage files that cannot be used: one line each, that says what, where, and what would do."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from stagefx.circuit.description.devices import device_classes
from stagefx.circuit.description.files import read_stage, stage_text
from stagefx.errors import StageError
from tests.contract.full_stage import KEYS


def complaint(text: str) -> str:
    with pytest.raises(StageError) as caught:
        read_stage(text, where="box.toml")
    message = str(caught.value)
    assert message.startswith("box.toml: ")
    assert "\n" not in message
    return message.removeprefix("box.toml: ")


# --- misspelt names ---


@pytest.mark.parametrize("table", KEYS)
def test_a_misspelt_table_suggests_the_nearest(table: str) -> None:
    typed = table[:-2] + table[-1] + table[-2]
    found = complaint(f"[{typed}]\n")
    assert found == f"unknown table or key '{typed}'; did you mean '{table}'?"


@pytest.mark.parametrize(
    ("table", "key"), [(t, k) for t, keys in KEYS.items() for k in keys.split()]
)
def test_a_misspelt_key_suggests_the_nearest(table: str, key: str) -> None:
    typed = f"{key}z"
    found = complaint(f'[{table}]\n{typed} = "1 ohm"\n')
    assert found == f"[{table}] unknown key '{typed}'; did you mean '{key}'?"


def test_a_name_like_no_other_lists_them_all() -> None:
    assert complaint("[load]\nzzz = 1\n") == (
        "[load] unknown key 'zzz'; known are: capacitance, resistance"
    )


def test_a_misspelt_key_is_named_before_a_bad_value() -> None:
    assert "unknown key 'gian'" in complaint('[source]\nlevel = "2"\n[amplifier]\ngian = 2\n')


# --- values that cannot be ---


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            '[source]\nresistance = "600 pF"',
            '[source] resistance: "600 pF" is no value in ohm; write it like "4.7 kohm"',
        ),
        (
            "[source]\nresistance = 600",
            '[source] resistance: 600 has no unit; write it in ohm, like "4.7 kohm"',
        ),
        (
            "[source]\nresistance = true",
            '[source] resistance: it must be a text with its unit, like "4.7 kohm"',
        ),
        (
            '[source]\nresistance = "-600 ohm"',
            "[source] resistance: -600 ohm is out of range; it must be at least 0 ohm",
        ),
        (
            '[load]\nresistance = "-10 kohm 1 %"',
            "[load] resistance: -10 kohm is out of range; it must be at least 0 ohm",
        ),
        (
            '[volume]\nresistance = "0 ohm"',
            (
                "[volume] resistance: a control of 0 ohm would short its source; it must be "
                "more than 0 ohm"
            ),
        ),
        (
            '[source]\nresistance = "1e13 ohm"',
            "[source] resistance: 10 Tohm is out of range; it must be at most 1 Tohm",
        ),
        (
            '[output]\ncoupling = "0 F"',
            ("[output] coupling: 0 F is out of range; it must be more than 0 F"),
        ),
        (
            '[source]\nlevel = "-2 V rms"',
            "[source] level: -2 V is out of range; it must be more than 0 V",
        ),
        (
            'temperature = "300 degC"',
            "temperature: 300 degC is out of range; it must be at most 226.9 degC",
        ),
        ("name = 5", "name: 5: it must be a text in quotes"),
        ("source = 5", "'source' is a table; write [source], and its keys below it"),
        ("[[source]]", "'source' is a table; write [source], and its keys below it"),
        ("[volume]\nposition = 0.5", "[volume] resistance is missing"),
        ('[hum]\nlevel = "1 mV rms"', "[hum] frequency is missing"),
        (
            '[input_cable]\nlength = "1 m"',
            "[input_cable] a cable needs either length and capacitance_per_metre, or capacitance",
        ),
    ],
)
def test_values_that_cannot_be(text: str, message: str) -> None:
    assert complaint(text) == message


VOLUME = '[volume]\nresistance = "10 kohm"\n'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            'position = 0.5\nsetting = "-12 dB"',
            "[volume] position and setting cannot both be given; leave one of them out",
        ),
        ("position = 1.5", "[volume] position: 1.5: it must be at most 1"),
        ('position = "half"', "[volume] position: 'half': it must be a number"),
        ("position = true", "[volume] position: True: it must be a number"),
        (
            'setting = "6 dB"',
            '[volume] setting: "6 dB" is more than the control can pass; it must be at most 0 dB',
        ),
        ('setting = "loud"', '[volume] setting: "loud" is no value in dB; write it like "-12 dB"'),
        ('place = "middle"', "[volume] place: 'middle': it must be 'before' or 'after'"),
        (
            'taper = "log"',
            (
                '[volume] taper: \'log\' is no taper; write "linear", "audio 10 %", "audio 15 %", '
                '"exponential 60 dB" or a list of steps in dB'
            ),
        ),
        (
            'taper = ["-60 dB", "-70 dB"]',
            "[volume] taper: steps must rise from the lowest to at most 0 dB",
        ),
    ],
)
def test_controls_that_cannot_be(text: str, message: str) -> None:
    assert complaint(VOLUME + text) == message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "gain = 0.5",
            (
                "a non-inverting gain of 0.5 (-6.0 dB) cannot be; it is at least 1. Use topology = "
                '"inverting", or a control after the amplifier'
            ),
        ),
        (
            "gain = -4",
            (
                "gain: a gain of -4 cannot be; write a ratio above zero like 4.03, or "
                'decibels like "12.1 dB"'
            ),
        ),
        (
            "gain = 0",
            (
                "gain: a gain of 0 cannot be; write a ratio above zero like 4.03, or "
                'decibels like "12.1 dB"'
            ),
        ),
        (
            'gain = "10000 dB"',
            (
                "gain: a gain of 10000 dB cannot be; write a ratio above zero like 4.03, or "
                'decibels like "12.1 dB"'
            ),
        ),
        (
            'gain = 2\nfeedback_resistance = "10 kohm"\ngain_resistance = "10 kohm"',
            "gain and feedback parts cannot both be given; leave one of them out",
        ),
        (
            'gain = 2\nfeedback_capacitance = "22 pF"',
            (
                "feedback_capacitance and gain_leg_capacitance act on the feedback resistors; give "
                "feedback_resistance and gain_resistance instead of gain"
            ),
        ),
        (
            'feedback_resistance = "10 kohm"',
            "gain_resistance is missing; or give gain instead of the two",
        ),
        (
            'topology = "inverting"',
            "an inverting amplifier needs feedback_resistance and gain_resistance, or gain",
        ),
        (
            'device = "fast bipolar"',
            "a non-inverting amplifier needs feedback_resistance and gain_resistance, or gain",
        ),
        (
            'feedback_resistance = "10 kohm"\ngain_resistance = "0 ohm"',
            'gain_resistance must be more than 0 ohm; for a gain of 1 use topology = "follower"',
        ),
        (
            'topology = "inverting"\nfeedback_resistance = "0 ohm"\ngain_resistance = "1 kohm"',
            (
                "with a feedback_resistance of 0 ohm an inverting amplifier's gain is 0; "
                "it must be more than 0 ohm"
            ),
        ),
        (
            'topology = "inverter"\ngain = 2',
            "topology: 'inverter': it must be 'non-inverting', 'inverting' or 'follower'",
        ),
        ('topology = "follower"\ngain = 2', "a follower's gain is 1, not 2; leave gain out"),
        (
            'topology = "follower"\ngain_resistance = "1 kohm"',
            "a follower has no gain leg; leave out gain_resistance and gain_leg_capacitance",
        ),
        (
            'topology = "follower"\nfeedback_capacitance = "22 pF"',
            "feedback_capacitance stands across feedback_resistance; give that too",
        ),
        (
            'gain = 2\nharmonics = ["-90 dB"]',
            "harmonics need harmonics_level, the output they were measured at",
        ),
        (
            'gain = 2\nharmonics = ["-90 dB", "-100"]',
            'harmonics, item 2: "-100" has no unit; write it in dB, like "-12 dB"',
        ),
        (
            'gain = 2\ndevice = "fast bipolr"',
            "device: no device class 'fast bipolr'; did you mean 'fast bipolar'?",
        ),
    ],
)
def test_amplifiers_that_cannot_be(text: str, message: str) -> None:
    assert complaint(f"[amplifier]\n{text}\n") == f"[amplifier] {message}"


def test_an_unknown_device_class_lists_the_classes() -> None:
    found = complaint('[amplifier]\ngain = 2\ndevice = "valve"\n')
    for name in device_classes():
        assert name in found


@pytest.mark.parametrize(
    ("positive", "negative", "message"),
    [
        ("-15 V", "15 V", "positive: -15 V is out of range; it must be more than 0 V"),
        ("-15 V", "-15 V", "positive: -15 V is out of range; it must be more than 0 V"),
        ("15 V", "15 V", "negative: 15 V is out of range; it must be at most 0 V"),
    ],
)
def test_swapped_rails_are_called_so(positive: str, negative: str, message: str) -> None:
    found = complaint(f'[supply]\npositive = "{positive}"\nnegative = "{negative}"\n')
    assert found == f"[supply] {message}; are the rails swapped?"


# --- files that are no stage files ---


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[amplifier", "expected ']' at the end of a table declaration (at end of document)"),
        ("[source]\n[source]", "cannot declare [source] twice (at line 2, column 8)"),
        ('[source]\nlevel = "2 V\n', "(at line 2, column 13)"),
        ("level = \n", "invalid value (at line 1, column 9)"),
        ("<html>", "(at line 1, column 1)"),
        ('name = "a"\x00', "(at line 1, column 11)"),
        ("name = " + "[" * 10_000, "too deep"),
        ("name = 1" + "0" * 5000, "4300 digits"),
    ],
)
def test_what_is_not_toml(text: str, message: str) -> None:
    found = complaint(text)
    assert found.startswith("not TOML: ")
    assert message in found


WHOLE = stage_text("line-stage")


@given(place=st.integers(0, len(WHOLE) - 1), removed=st.integers(0, 12), put=st.text(max_size=6))
def test_a_damaged_file_is_a_stage_or_one_clear_error(place: int, removed: int, put: str) -> None:
    damaged = WHOLE[:place] + put + WHOLE[place + removed :]
    try:
        read_stage(damaged)
    except StageError as error:
        assert str(error).startswith("the stage: ")  # noqa: PT017 (both ways are right)
