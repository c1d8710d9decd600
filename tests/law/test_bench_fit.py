"""A stage fitted to a perfect measurement of another stage becomes that stage, where it can."""

from __future__ import annotations

from typing import Any

import pytest

from stagefx.bench.errors import MeasuringError
from stagefx.bench.fit.adjust import fit_stage
from stagefx.bench.fit.report import FittedStage
from stagefx.bench.fit.rounds import Round
from stagefx.bench.measure.measurement import Measurement
from stagefx.circuit.description.files import read_stage, stage_as_toml, stage_from
from tests.measured_on_paper import measured, noise_of, tone

OURS: dict[str, Any] = {
    "name": "ours",
    "source": {"level": "2 V rms", "resistance": "100 ohm"},
    "input": {
        "coupling": "2.2 uF",
        "resistance": "22 kohm",
        "series_resistance": "1 kohm",
        "shunt_capacitance": "220 pF",
    },
    "amplifier": {
        "device": "early bipolar",
        "feedback_resistance": "20 kohm",
        "gain_resistance": "2.2 kohm",
    },
    "supply": {"positive": "15 V", "negative": "-15 V"},
    "output": {"resistance": "100 ohm"},
    "load": {"resistance": "10 kohm"},
}
HIDDEN_AMPLIFIER = {
    "slew_rise": "0.7 V/us",
    "slew_fall": "0.35 V/us",
    "gain_bandwidth": "1.7 MHz",
    "swing_loss_high": "2.6 V",
    "swing_loss_low": "1.1 V",
    "voltage_noise": "33 nV/rtHz",
}


def changed(**tables: Any) -> dict[str, Any]:
    return OURS | {name: OURS.get(name, {}) | table for name, table in tables.items()}


def fitted(hidden: dict[str, Any], *loads: str, ours: Any = None, **others: Any) -> FittedStage:
    rounds = []
    for load in loads or ("10 kohm",):
        stage = stage_from(hidden | {"load": {"resistance": load}})
        assert stage.load is not None
        assert stage.load.resistance is not None
        rounds.append(Round(measured(stage, **others), stage.load.resistance.value))
    return fit_stage(stage_from(ours or OURS), rounds)


def test_every_figure_of_a_hidden_stage_is_found() -> None:
    hidden = changed(
        amplifier=HIDDEN_AMPLIFIER | {"gain_resistance": "2.3 kohm"},
        output={"resistance": "150 ohm"},
        input={"coupling": "1.5 uF"},
    )
    found = fitted(hidden, "10 kohm", "600 ohm")
    truth = {
        "amplifier.slew_rise": 0.7e6,
        "amplifier.slew_fall": 0.35e6,
        "amplifier.gain_bandwidth": 1.7e6,
        "amplifier.swing_loss_high": 2.6,
        "amplifier.swing_loss_low": 1.1,
        "amplifier.voltage_noise": 33e-9,
        "amplifier.gain_resistance": 2300.0,
        "output.resistance": 150.0,
        "input.coupling": 1.5e-6,
    }
    for key, value in truth.items():
        figure = found.figure(key)
        assert figure.state == "determined", key
        assert figure.value == pytest.approx(value, rel=0.01), key
        assert abs(figure.value - value) < 2.0 * figure.doubt, key
    assert all(row.agrees for row in found.rows)
    # and the description that is written gives the same figures
    again = read_stage(found.as_toml())
    assert again.amplifier is not None
    assert again.amplifier.slew_rise is not None
    assert again.amplifier.slew_rise.value == pytest.approx(0.7e6, rel=0.01)


def test_a_fit_to_its_own_measurement_changes_nothing() -> None:
    found = fitted(OURS, "10 kohm", "600 ohm")
    for figure in found.figures:
        if figure.value is not None and figure.before:
            assert figure.value == pytest.approx(figure.before, rel=2e-3), figure.key


def test_one_load_does_not_tell_an_output_resistor() -> None:
    hidden = changed(output={"resistance": "150 ohm"})
    found = fitted(hidden)
    figure = found.figure("output.resistance")
    assert figure.state in {"not seen", "not told apart"}
    assert figure.value is None
    assert any("One load alone does not tell an output" in one for one in found.remarks)
    assert found.adjusted.output == stage_from(OURS).output


def test_a_bandwidth_far_above_the_recording_is_not_told() -> None:
    ours = changed(amplifier={"device": "fast bipolar"})
    found = fitted(ours, ours=ours, rate_hz=48000)
    assert found.figure("amplifier.gain_bandwidth").state == "not seen"
    assert any("bandwidth lies too far above" in one for one in found.remarks)


def test_slewing_that_was_not_seen_bounds_the_slew_and_leaves_it() -> None:
    found = fitted(OURS, slews=False)
    figure = found.figure("amplifier.slew_rise")
    assert figure.state == "not seen"
    assert figure.at_least == pytest.approx(0.3e6)
    assert found.adjusted.amplifier is not None
    assert found.adjusted.amplifier.slew_rise is None


def test_a_bound_above_the_description_lifts_it() -> None:
    slow = changed(amplifier={"slew_rise": "0.1 V/us", "slew_fall": "0.1 V/us"})
    rows = fitted(OURS, ours=slow, slews=False).rows
    assert all(row.agrees for row in rows if row.kind.startswith("slew"))


def test_two_parts_at_one_place_are_named_as_not_told_apart() -> None:
    # a capacitor before and one behind the same resistance: only their series value is heard
    parts = {"source": {"coupling": "3.3 uF"}, "input": {"coupling": "3.3 uF"}}
    ours = changed(**parts)
    hidden = changed(source={"coupling": "1.5 uF"}, input={"coupling": "3.3 uF"})
    found = fitted(hidden, ours=ours)
    pair = [found.figure("source.coupling"), found.figure("input.coupling")]
    assert sorted(one.state for one in pair) in (
        ["not told apart", "others held"],
        ["not told apart", "not told apart"],
    )
    assert pair[0].others == ("input.coupling",)
    assert pair[1].others == ("source.coupling",)


def test_an_inverting_stage_has_its_limits_the_right_way_up() -> None:
    turned = changed(amplifier={"topology": "inverting"})
    hidden = changed(amplifier=HIDDEN_AMPLIFIER | {"topology": "inverting"})
    found = fitted(hidden, "10 kohm", "600 ohm", ours=turned)
    assert found.figure("amplifier.swing_loss_high").value == pytest.approx(2.6, rel=0.02)
    assert found.figure("amplifier.slew_fall").value == pytest.approx(0.35e6, rel=0.02)


def test_where_the_knob_stood_is_found_and_not_written() -> None:
    control = {"volume": {"resistance": "10 kohm", "taper": "audio 15 %"}}
    ours = OURS | control
    hidden = changed(amplifier=HIDDEN_AMPLIFIER) | control
    hidden["volume"] = control["volume"] | {"position": 0.62}
    found = fitted(hidden, "10 kohm", "600 ohm", ours=ours)
    assert found.figure("volume.position").value == pytest.approx(0.62, abs=0.01)
    assert "position" not in found.as_toml(like=stage_as_toml(stage_from(ours)))
    assert found.figure("amplifier.gain_bandwidth").value == pytest.approx(1.7e6, rel=0.05)


def test_hum_and_the_recorders_own_noise_are_taken_out() -> None:
    hidden = stage_from(changed(amplifier=HIDDEN_AMPLIFIER))
    clean = measured(hidden).noise
    assert clean is not None
    assert clean.unweighted_v_rms is not None
    own = 0.8 * clean.unweighted_v_rms
    both = (clean.unweighted_v_rms**2 + own**2) ** 0.5
    floor = Measurement("bench measure", 96000, noise=noise_of(own, hum_share=0.5))
    noisy = measured(hidden, noise=noise_of(both, hum_share=0.6), floor={"loopback": floor})
    found = fit_stage(stage_from(OURS), [Round(noisy, 10e3)])
    assert found.figure("amplifier.voltage_noise").value == pytest.approx(33e-9, rel=0.03)


def test_harmonics_are_taken_over_at_the_output_they_were_measured_at() -> None:
    row = tone(5.0, (-75.0, -90.0, -128.0))
    found = fitted(OURS, harmonics=(row,))
    amplifier = found.adjusted.amplifier
    assert amplifier is not None
    assert amplifier.harmonics is not None
    assert amplifier.harmonics_level is not None
    assert [one.value for one in amplifier.harmonics] == [-75.0, -90.0]
    # 5 V at 10 kohm behind 100 ohm
    assert amplifier.harmonics_level.value == pytest.approx(5.05, rel=1e-3)


def test_comments_and_order_of_the_file_stay() -> None:
    text = "# the desk\n" + stage_as_toml(stage_from(OURS)).replace(
        'resistance = "100 ohm"\n\n[load]', 'resistance = "100 ohm"  # guessed\n\n[load]'
    )
    hidden = changed(output={"resistance": "150 ohm"})
    rounds = [
        Round(measured(stage_from(hidden | {"load": {"resistance": load}})), ohm)
        for load, ohm in (("10 kohm", 10e3), ("600 ohm", 600.0))
    ]
    written = fit_stage(read_stage(text), rounds).as_toml(like=text)
    assert written.startswith("# the desk\n")
    assert "# guessed; fitted; was 100 ohm" in written
    kept = [line for line in text.splitlines() if line.startswith("[")]
    assert [line for line in written.splitlines() if line.startswith("[")] == kept


def test_nothing_in_volts_still_tells_the_response() -> None:
    bare = measured(stage_from(changed(input={"coupling": "1 uF"})), levels=(), noise=None,
                    clip=None, slew=None)  # fmt: skip
    found = fit_stage(stage_from(OURS), [Round(bare, 10e3)])
    assert found.figure("input.coupling").value == pytest.approx(1e-6, rel=0.05)
    assert any(one.startswith("Nothing was measured in volts") for one in found.remarks)


def test_an_empty_measurement_is_refused() -> None:
    with pytest.raises(MeasuringError, match="nothing to fit to"):
        fit_stage(stage_from(OURS), [Round(Measurement("bench measure", 48000))])
    with pytest.raises(MeasuringError, match="no figure that a measurement could adjust"):
        fit_stage(stage_from({"name": "bare"}), [Round(measured(stage_from(OURS)))])


def test_a_description_that_lacks_a_part_is_said_to() -> None:
    dull = changed(load={"resistance": "10 kohm", "capacitance": "47 nF"})
    bare = Round(measured(stage_from(dull)), None)
    found = fit_stage(stage_from(OURS), [bare])
    assert "numbers are not met: the description lacks a part" in found.remarks[0]


def test_a_cable_longer_than_described_is_found() -> None:
    ours = changed(output={"resistance": "2.2 kohm"}, output_cable={"capacitance": "2 nF"})
    hidden = changed(output={"resistance": "2.2 kohm"}, output_cable={"capacitance": "3 nF"})
    figure = fitted(hidden, "10 kohm", "5 kohm", ours=ours).figure("output_cable.capacitance")
    assert figure.value == pytest.approx(3e-9, rel=0.05)
