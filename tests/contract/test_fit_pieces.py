"""What a measurement of a bench may adjust of a stage, number by number."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stagefx.bench.bench_setting import with_knob, with_load
from stagefx.bench.errors import MeasuringError
from stagefx.bench.expectation import loads_of
from stagefx.bench.fit.determined import determined, freed
from stagefx.bench.fit.paper import predicted
from stagefx.bench.fit.parts import free_parts
from stagefx.bench.fit.report import FittedFigure
from stagefx.bench.fit.rounds import Round, Seen, seen_in, slewless_hz, sweep_emf_v
from stagefx.bench.measure.measurement import Measurement
from stagefx.bench.measure.rows import Level
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.errors import StageError
from stagefx.report.text.fit_wording import figure_name, figure_note, figure_value, key_name

NOTHING = Measurement("bench measure", 48000)


def test_a_knob_is_put_in_the_place_of_the_described_one() -> None:
    stage = load_stage("line-stage")
    turned = with_knob(stage, 0.5)
    assert turned.volume is not None
    assert turned.volume.position == 0.5
    assert with_knob(stage, None) is stage


def test_a_stage_without_a_control_has_no_knob_to_be_set() -> None:
    with pytest.raises(StageError, match="no volume control to be set; leave --knob out"):
        with_knob(stage_from({}), 0.5)


def test_another_load_is_driven_whether_one_was_described_or_not() -> None:
    for stage in (load_stage("line-stage"), stage_from({})):
        loaded = with_load(stage, 600.0).load
        assert loaded is not None
        assert loaded.resistance is not None
        assert loaded.resistance.value == 600.0
        assert with_load(stage, None) is stage


@pytest.mark.parametrize(
    ("plain", "ohm"),
    [
        ({"load_resistance_ohm": 600.0}, 600.0), ({"load_resistance_ohm": 47000}, 47e3),
        ({}, None), ({"load_resistance_ohm": 0.0}, None), ({"load_resistance_ohm": "600"}, None),
    ],
)  # fmt: skip
def test_the_load_of_a_measurement_is_a_number_above_nothing_or_unknown(
    plain: dict[str, object], ohm: float | None
) -> None:
    assert loads_of(plain) == ohm


def test_of_two_figures_that_do_the_same_the_better_seen_is_free() -> None:
    alike = np.array([[50.0, 50.0], [50.0, 50.1]])
    assert freed(alike, determined(alike)) == (1,)


def test_figures_that_do_different_things_are_both_free_and_an_unseen_one_is_not() -> None:
    jacobian = np.diag([50.0, 50.0, 0.0])
    assert freed(jacobian, determined(jacobian)) == (0, 1)


def test_a_measured_level_is_a_gain_that_paper_can_answer() -> None:
    level = Level("01-level-1khz", 1000.0, -12.0, -12.0, 0.5, 2.0, 12.04)
    (seen,) = seen_in(Round(Measurement("bench measure", 48000, levels=(level,))))
    assert (seen.kind, seen.value) == ("gain", 12.04)


def test_a_measurement_of_nothing_is_refused_with_what_to_measure() -> None:
    with pytest.raises(MeasuringError, match="measure at least the level and the sweep"):
        seen_in(Round(NOTHING))


def test_without_a_sweep_its_voltage_is_not_known_and_no_slewing_bounds_it() -> None:
    assert sweep_emf_v(NOTHING) is None
    assert slewless_hz(NOTHING) == math.inf


@pytest.mark.parametrize("gain", [1.0, 4.0, 10.0])
def test_paper_gives_the_gain_in_decibels_and_nothing_for_what_it_cannot_tell(
    gain: float,
) -> None:
    seen = [Seen("gain", 12.0, 0.02, "dB", 1000.0), Seen("slew_rise", 9e6, 1e5, "V/s")]
    found = predicted(stage_from({"amplifier": {"gain": gain}}), Round(NOTHING), seen)
    assert found[0] == pytest.approx(20.0 * math.log10(gain), abs=1e-6)
    assert math.isnan(found[1])


def test_a_buffer_has_its_device_free_and_no_gain() -> None:
    _, parts = free_parts(load_stage("unity-buffer"), [Round(NOTHING, knob=1.0)], [[]])
    keys = [part.key for part in parts]
    assert {"amplifier.gain_bandwidth", "amplifier.slew_rise", "amplifier.slew_fall"} <= set(keys)
    assert "amplifier.gain" not in keys


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("amplifier.gain_bandwidth", "gain bandwidth"), ("input.coupling", "input coupling"),
        ("output.resistance", "output resistor"), ("load.capacitance", "load's capacitance"),
        ("input_cable.capacitance_per_metre", "input cable"), ("volume.position", "knob stood at"),
    ],
)  # fmt: skip
def test_a_key_of_the_stage_file_has_a_plain_name(key: str, words: str) -> None:
    assert key_name(key) == words


def figure(key: str, **values: object) -> FittedFigure:
    """A slew rate that was 9 V/us and is found to be 8.8, unless told otherwise."""
    usual: dict[str, object] = {
        "index": 0, "unit": "V/s", "before": 9e6, "value": 8.8e6, "doubt": 1e5,
        "state": "determined",
    }  # fmt: skip
    return FittedFigure(key, **(usual | values))  # type: ignore[arg-type]


def test_harmonics_are_named_by_their_order() -> None:
    """The first of a list is the second harmonic."""
    assert figure_name(figure("amplifier.harmonics")) == "harmonic 2"
    assert figure_name(figure("amplifier.harmonics", index=1)) == "harmonic 3"
    assert figure_name(figure("amplifier.slew_rise")) == "slew rise"


def test_a_found_figure_has_its_standard_error_and_a_held_one_what_it_is_held_at() -> None:
    assert figure_value(figure("amplifier.slew_rise")) == "8.80 ± 0.10 V/us"
    held = figure("output.resistance", unit="ohm", before=100.0, value=None, doubt=math.nan)
    assert figure_value(held) == "100 ohm"
    assert figure_value(figure("output.resistance", before=None, value=None)) == "-"


@pytest.mark.parametrize(
    ("one", "note"),
    [
        (figure("amplifier.slew_rise"), "was 9 V/us"),
        (figure("amplifier.slew_rise", value=None, state="not seen"),
         "not seen in what was measured"),
        (figure("amplifier.slew_rise", value=None, state="not seen", at_least=5e6),
         "no slewing seen, so over 5 V/us"),
        (figure("a.b", value=None, state="not told apart", others=("input.coupling",)),
         "cannot be told apart from input coupling"),
        (figure("volume.position", unit="", before=0.5, value=0.4), "found from the gain"),
    ],
    ids=lambda given: given if isinstance(given, str) else "",
)  # fmt: skip
def test_a_figure_s_note_says_what_was_before_or_why_it_is_not_known(
    one: FittedFigure, note: str
) -> None:
    assert figure_note(one) == note
