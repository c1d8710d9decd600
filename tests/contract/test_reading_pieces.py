"""What a single reading of a bench says, and the circuit it was taken on."""

from __future__ import annotations

import math
from typing import Any

import pytest

from stagefx.bench.readings.builder import Draft, as_quantity
from stagefx.bench.readings.closed_forms.crosstalk import two_paths
from stagefx.bench.readings.closed_forms.levels import curve_db
from stagefx.bench.readings.closed_forms.overshoot import loop_of_ringing, second_pole_hz
from stagefx.bench.readings.conditions import gain_of, on_bench, output_share
from stagefx.bench.readings.derivation import stage_from_readings
from stagefx.bench.readings.files import readings_from
from stagefx.bench.readings.inference.channels import ended_impedance_ohm
from stagefx.bench.readings.inference.corner_parts import bass_part, treble_part
from stagefx.bench.readings.inference.corner_places import (
    noise_gain,
    output_load_ohm,
    output_ohm,
)
from stagefx.bench.readings.inference.dc import direct_reach
from stagefx.bench.readings.inference.gain import with_gain
from stagefx.bench.readings.inference.loading import through_share
from stagefx.bench.readings.inference.noise import noise_bench
from stagefx.bench.readings.inference.stability import overshoot_on_bench
from stagefx.bench.readings.inference.swing import clip_bench, rail_for
from stagefx.bench.readings.remarks import with_misses
from stagefx.bench.readings.report import Checked
from stagefx.bench.readings.sheet import Sheet, wave_of
from stagefx.bench.readings.solving import solve_for
from stagefx.bench.readings.unit_mistakes import slip_code
from stagefx.bench.uncertainty import stated
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from

RAIL = {"of": "rail", "positive": "15 V"}
GAIN = {"of": "gain", "input": "1 V", "output": "4 V"}


def draft_of(reading: dict[str, Any], *, described: bool = True, **stage: Any) -> Draft:
    """A description begun from one reading and a stage."""
    return Draft(
        Sheet(readings_from({"reading": [reading]})), stage_from(stage), described=described
    )


def test_a_gain_is_that_of_the_amplifier_where_nothing_takes_from_it() -> None:
    assert gain_of(on_bench(stage_from({"amplifier": {"gain": 4.0}}))) == 4.0


def test_the_load_gets_its_share_of_the_output() -> None:
    """900 ohm of 1000."""
    stage = stage_from({"amplifier": {"gain": 4.0}, "output": {"resistance": "100 ohm"}})
    assert output_share(on_bench(stage, load_ohm=900.0)) == pytest.approx(0.9, rel=1e-12)


@pytest.mark.parametrize(("series_ohm", "share"), [(10e3, 0.75), (30e3, 0.5), (0.0, 1.0)])
def test_a_resistor_in_series_leaves_its_share_at_the_input(
    series_ohm: float, share: float
) -> None:
    bench = on_bench(stage_from({"input": {"resistance": "30 kohm"}}))
    assert through_share(bench, series_ohm, 1e3) == pytest.approx(share, rel=1e-9)


@pytest.mark.parametrize(
    ("ratio", "code"),
    [
        (10.0, "factor-of-ten"), (0.1, "factor-of-ten"),
        (2.0 * math.sqrt(2.0), "peak-to-peak-for-rms"), (0.35, "peak-to-peak-for-rms"),
        (math.sqrt(2.0), "peak-for-rms"), (0.5, "peak-to-peak-for-peak"),
        (1.0, ""), (1.2, ""), (3.3, ""), (0.0, ""), (-2.0, ""), (math.nan, ""), (math.inf, ""),
    ],
)  # fmt: skip
def test_slips_are_known_by_their_ratio_either_way_round(ratio: float, code: str) -> None:
    assert slip_code(ratio) == code


@pytest.mark.parametrize("start", [1e-9, 1.0, 900.0, 1e9])
def test_a_law_is_solved_from_anywhere(start: float) -> None:
    """r / (r + 100) is 0.9 at 900."""
    assert solve_for(lambda r: r / (r + 100.0), 0.9, start) == pytest.approx(900.0, rel=1e-9)


def test_a_value_that_a_law_never_takes_is_no_number() -> None:
    assert math.isnan(solve_for(lambda r: r / (r + 100.0), 1.5, 1.0))


@pytest.mark.parametrize(
    ("reading", "wave"),
    [
        ({"of": "noise", "level": "10 uV"}, "noise"), (GAIN, "sine"),
        (GAIN | {"wave": "square"}, "square"),
    ],
)  # fmt: skip
def test_a_reading_was_taken_with_a_sine_unless_it_says_or_is_noise(
    reading: dict[str, Any], wave: str
) -> None:
    assert wave_of(readings_from({"reading": [reading]}).reading[0]) == wave


def test_a_value_has_no_more_digits_than_its_uncertainty_bears_out() -> None:
    """1.521 of 49.318 is 3.1 %."""
    found = as_quantity(stated(49.317943, 1.521))
    assert (found.value, found.tolerance) == (49.32, 0.031)


def test_a_value_without_doubt_or_of_nothing_has_no_tolerance() -> None:
    assert as_quantity(stated(0.0, 0.1)).tolerance is None
    assert as_quantity(stated(12.5, 0.0), size=2.0).value == 25.0
    assert as_quantity(stated(12.5, 0.0)).tolerance is None


@pytest.mark.parametrize("damping", [0.1, 0.25, 0.6])
def test_a_ringing_loop_has_its_two_frequencies_back(damping: float) -> None:
    """s^2 + f2 s + f1 f2: natural frequency sqrt(f1 f2), damping sqrt(f2 / f1) / 2."""
    unity, second = loop_of_ringing(damping, 1e6)
    assert 0.5 * math.sqrt(second / unity) == pytest.approx(damping, rel=1e-12)
    ringing = math.sqrt(unity * second) * math.sqrt(1.0 - damping**2)
    assert ringing == pytest.approx(1e6, rel=1e-12)
    assert second_pole_hz(damping, unity) == pytest.approx(second, rel=1e-12)


@pytest.mark.parametrize(("through", "ground"), [(1e-7, 1e-4), (1e-7, 0.0), (0.0, 1e-4)])
def test_crosstalk_is_split_into_the_two_paths_it_was_made_of(
    through: float, ground: float
) -> None:
    hz = [1e3, 10e3]
    shares = [math.hypot(through * each, ground) for each in hz]
    assert two_paths(shares, hz, [1.0, 1.0]) == pytest.approx((through, ground), abs=1e-12)


def test_crosstalk_steeper_or_flatter_than_both_paths_is_put_down_to_the_nearer() -> None:
    """Neither path has a power below nothing."""
    through, ground = two_paths([1e-5, 1e-3], [1e3, 10e3], [1.0, 1.0])
    assert ground == 0.0
    assert 1e-8 < through < 1e-7
    through, ground = two_paths([2e-4, 1e-4], [1e3, 10e3], [1.0, 1.0])
    assert through == 0.0
    assert 1e-4 < ground < 2e-4


def test_crosstalk_at_one_frequency_is_put_down_to_one_path() -> None:
    assert two_paths([1e-3], [10e3], [1.0]) == (0.0, pytest.approx(1e-3))


CURVE = [(20.0, -0.4), (1e3, 0.0), (10e3, -1.0)]


@pytest.mark.parametrize(
    ("hz", "level_db"),
    [
        (1e3, 0.0), (10e3, -1.0), (1e3 * math.sqrt(10.0), -0.5), (5.0, -0.4),
        (20.0, -0.4), (10.1e3, None),
    ],
)  # fmt: skip
def test_an_instrument_is_known_between_its_points_and_below_but_not_above(
    hz: float, level_db: float | None
) -> None:
    """Straight over the logarithm of frequency."""
    found = curve_db(CURVE, hz)
    assert found is None if level_db is None else found == pytest.approx(level_db, abs=1e-9)


def test_an_amplifier_without_a_loop_does_not_overshoot() -> None:
    draft = draft_of({"of": "overshoot", "percent": "5 %"}, amplifier={"gain": 4.0})
    reading: Any = draft.sheet.readings.reading[0]
    overshoot, ringing_hz = overshoot_on_bench(draft, reading)
    assert overshoot == 0.0
    assert math.isnan(ringing_hz)


@pytest.mark.parametrize(
    ("place", "part"),
    [("input", "input.shunt_capacitance"), ("amplifier", "amplifier.gain_bandwidth")],
)
def test_a_treble_corner_is_put_down_to_the_part_of_its_place(place: str, part: str) -> None:
    draft = draft_of(RAIL, described=False, amplifier={"gain": 4.0})
    assert treble_part(draft, 57e3, place, ())[1].part == part


def test_an_amplifier_with_a_feedback_capacitor_has_its_corner_there() -> None:
    amplifier = {
        "feedback_resistance": "10 kohm",
        "gain_resistance": "3.3 kohm",
        "feedback_capacitance": "100 pF",
    }
    found = treble_part(draft_of(RAIL, amplifier=amplifier), 159e3, "amplifier", ())[1]
    assert found.part == "amplifier.feedback_capacitance"


def test_a_bass_corner_of_a_bare_stage_is_put_down_to_an_input_of_100_kohm() -> None:
    draft = draft_of(RAIL, described=False, amplifier={"gain": 4.0})
    stage = bass_part(draft, 5.0, ())[0].stage
    assert stage.input is not None
    assert stage.input.resistance is not None
    assert stage.input.resistance.value == 100e3


@pytest.mark.parametrize("source_ohm", [0, 10_000])
def test_offset_and_bias_reach_the_output_through_the_gain(source_ohm: int) -> None:
    """A volt of offset by the gain; an ampere of bias through the source's resistance first."""
    reading = {"of": "offset", "output": "1 mV", "source_resistance": f"{source_ohm} ohm"}
    draft = draft_of(reading, amplifier={"gain": 4.0})
    found: Any = draft.sheet.readings.reading[0]
    offset, bias = direct_reach(draft, found)
    assert offset == 4.0
    assert abs(bias) == pytest.approx(4.0 * source_ohm)


def test_an_inverting_amplifier_has_more_noise_gain_than_gain() -> None:
    """1 + R2 / R1 where its gain is R2 / R1."""
    pair = {"feedback_resistance": "20 kohm", "gain_resistance": "10 kohm"}
    straight = noise_gain(draft_of(RAIL, amplifier={"gain": 4.0}))
    turned = noise_gain(draft_of(RAIL, amplifier=pair | {"topology": "inverting"}))
    assert (straight, turned) == pytest.approx((4.0, 3.0))


def test_what_stands_at_the_output_is_as_described_or_usual() -> None:
    bare = draft_of(RAIL, amplifier={"gain": 4.0})
    assert output_ohm(bare) == 0.0
    assert output_load_ohm(bare) == 10e3
    told = draft_of(
        RAIL,
        amplifier={"gain": 4.0},
        output={"resistance": "100 ohm"},
        load={"resistance": "600 ohm"},
    )
    assert output_ohm(told) == pytest.approx(100.0)
    assert output_load_ohm(told) == 600.0


def test_the_undriven_input_is_ended_by_what_the_reading_says_beside_its_own() -> None:
    """600 ohm, and half of it where the input has 600 ohm of its own."""
    reading = {"of": "crosstalk", "driven": "1 V", "undriven": "1 mV", "frequency": "10 kHz"}
    for stage, ohm in (({}, 600.0), ({"input": {"resistance": "600 ohm"}}, 300.0)):
        draft = draft_of(reading | {"source_resistance": "600 ohm"}, **stage)
        found: Any = draft.sheet.readings.reading[0]
        assert ended_impedance_ohm(draft, found) == pytest.approx(ohm)


def test_a_clip_reading_was_taken_on_the_load_it_names() -> None:
    draft = draft_of({"of": "clip", "high": "9 V", "load": "1 kohm"}, amplifier={"gain": 4.0})
    reading: Any = draft.sheet.readings.reading[0]
    load_ohm = clip_bench(draft, reading).load_ohm
    assert load_ohm is not None
    assert load_ohm[0, 0] == 1000.0


def test_a_rail_is_the_one_described_until_one_is_read() -> None:
    supply = {"positive": "12 V", "negative": "-12 V"}
    draft = draft_of({"of": "clip", "high": "9 V"}, supply=supply)
    assert rail_for(draft, "negative").value == -12.0
    read = stage_from_readings(readings_from({"reading": [RAIL | {"negative": "-14.9 V"}]}))
    assert read.stage.supply is not None
    assert (read.stage.supply.positive.value, read.stage.supply.negative.value) == (15.0, -14.9)


@pytest.mark.parametrize(
    ("said", "hz", "weighted", "one_pole"),
    [
        ({"bandwidth": "80 kHz"}, 80e3, False, False),
        ({"bandwidth": "80 kHz", "filter": "one pole"}, 80e3, False, True),
        ({"weighting": "A"}, None, True, False),
    ],
)
def test_a_noise_reading_says_what_its_meter_counts(
    said: dict[str, str], hz: float | None, weighted: bool, one_pole: bool
) -> None:
    draft = draft_of({"of": "noise", "level": "5 uV"} | said, amplifier={"gain": 4.0})
    reading: Any = draft.sheet.readings.reading[0]
    band = noise_bench(draft, reading)[1]
    assert (band.weighted, band.one_pole) == (weighted, one_pole)
    assert hz is None or band.bandwidth_hz == hz


def test_another_gain_is_made_by_the_feedback_resistor_where_there_is_one() -> None:
    """1 + 3.3 k / 3.3 k is two."""
    pair = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
    found = with_gain(nominal(stage_from({"amplifier": pair})), 2.0).feedback_ohm
    assert found is not None
    assert found[0, 0] == pytest.approx(3300.0)
    stated_gain = with_gain(nominal(stage_from({"amplifier": {"gain": 4.0}})), 2.0).gain
    assert stated_gain is not None
    assert stated_gain[0, 0] == 2.0


@pytest.mark.parametrize(("left", "right"), [("1.000 V", "0.980 V"), ("0.5 V", "0.5 V")])
def test_a_balance_is_the_right_channel_over_the_left(left: str, right: str) -> None:
    found = stage_from_readings(
        readings_from({"reading": [{"of": "balance", "left": left, "right": right}]})
    )
    ratio = float(right.split(maxsplit=1)[0]) / float(left.split(maxsplit=1)[0])
    assert found.figure("balance_db").value == pytest.approx(20.0 * math.log10(ratio), abs=1e-9)


def test_the_quiescent_current_is_the_mean_of_both_rails() -> None:
    current = {"of": "supply-current", "positive": "4.2 mA", "negative": "-4.0 mA"}
    found = stage_from_readings(readings_from({"reading": [GAIN, current]}))
    assert found.stage.amplifier is not None
    assert found.stage.amplifier.quiescent_current is not None
    assert found.stage.amplifier.quiescent_current.value == pytest.approx(4.1e-3)


def test_slew_rates_up_and_down_are_kept_apart() -> None:
    slew = {"of": "slew", "rise": "9 V/us", "fall": "8 V/us", "step": "20 V p-p"}
    amplifier = stage_from_readings(readings_from({"reading": [GAIN, slew]})).stage.amplifier
    assert amplifier is not None
    assert amplifier.slew_rise is not None
    assert amplifier.slew_fall is not None
    assert amplifier.slew_rise.value == pytest.approx(9e6)
    assert amplifier.slew_fall.value == pytest.approx(8e6)


def test_a_reading_that_the_stage_does_not_give_is_remarked_with_both_values() -> None:
    met = Checked(1, "rail positive", stated(15.0, 0.1), 15.05, "V")
    missed = Checked(1, "rail positive", stated(15.0, 0.1), 14.0, "V")
    assert with_misses(draft_of(RAIL), (met,)).remarks == ()
    (remark,) = with_misses(draft_of(RAIL), (met, missed)).remarks
    assert remark.code == "not-reproduced"
    assert "gives 14 V where 15 V was read" in remark.sentence
