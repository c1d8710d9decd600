"""Yardsticks beside figures, and differences of two stages that matter."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stagefx.circuit.description.files import load_stage, ready_made, stage_from
from stagefx.figures.table import DEFINITIONS, Figures, compute_figures
from stagefx.hearing.audibility import RANGES_HZ
from stagefx.hearing.thresholds import limits
from stagefx.report.plots.stage.response import AUDIBLE_FROM
from stagefx.report.text.interpretation import yardstick
from stagefx.report.text.names import NAMES, name_of
from stagefx.report.text.side_by_side import Contrast, side_by_side


def worked(name: str) -> Figures:
    return compute_figures(load_stage(name))


def with_value(figures: Figures, **values: float) -> Figures:
    changed = {key: replace(figures.figures[key], value=value) for key, value in values.items()}
    return replace(figures, figures=figures.figures | changed)


LINE = worked("line-stage")


def test_every_figure_has_a_short_name_of_its_own() -> None:
    keys = {definition.key for definition in DEFINITIONS}
    assert keys == set(NAMES)
    assert max(map(len, NAMES.values())) <= 27
    assert len(set(NAMES.values())) == len(NAMES)
    assert name_of("something new") == "something new"


@pytest.mark.parametrize("name", [*ready_made(), "wire"])
def test_a_figure_without_a_number_says_why(name: str) -> None:
    figures = worked(name)
    for key, figure in figures.figures.items():
        assert figure.value is not None or yardstick(key, figures) == figure.reason != ""


def test_limits_on_paper_are_those_of_hearing() -> None:
    assert yardstick("response_20_hz_db", LINE).endswith(f"{limits()['low end'].may:g} dB")
    assert yardstick("response_10_khz_db", LINE).endswith(f"{limits()['high end'].may:g} dB")
    for (low_hz, high_hz, may_db), name in zip(AUDIBLE_FROM, RANGES_HZ, strict=True):
        assert may_db == limits()[name].may
        # from the lower edge of the first third octave to the upper edge of the last
        assert low_hz == pytest.approx(RANGES_HZ[name][0] * 10.0**-0.05, rel=0.01)
        assert high_hz == pytest.approx(RANGES_HZ[name][1] * 10.0**0.05, rel=0.015)


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("slew_available_v_per_us", 0.1, "needs 0.25, has 0.1: too slow for full scale at 20 kHz"),
        ("slew_available_v_per_us", 0.5, "needs 0.25, has 0.5: 2.0 times to spare"),
        ("source_headroom_db", -6.0, "clips 6.00 dB before full scale"),
        ("source_headroom_db", 6.0, "to spare over a full-scale source"),
        ("response_10_khz_db", -1.5, "may be heard: the limit is 1 dB"),
        ("low_corner_hz", 0.0, "reaches 0 Hz"),
        ("low_corner_hz", 40.0, "inside the audio band"),
        ("high_corner_hz", 15e3, "inside the audio band"),
        ("phase_margin_deg", 65.0, "calm: 60 deg and more"),
        ("phase_margin_deg", 50.0, "rings a little: below 60 deg"),
        ("phase_margin_deg", 20.0, "rings: below 45 deg"),
        ("noise_spl_seat_a_db", 31.0, "3.00 dB over the room's 28 dBA"),
        ("regulator_margin_v", -0.5, "drops out at low mains: it hums"),
        ("reservoir_peak_v", 36.0, "rated 35 V: 1 V too much"),
        ("output_dc_v", 0.005, "fine: at most 10 mV"),
        ("output_dc_v", 0.1, "held back by the output capacitor"),
        ("sensitivity_v_rms", 3.0, "the source gives 2 V: too little"),
    ],
)
def test_a_value_is_set_beside_its_yardstick(key: str, value: float, said: str) -> None:
    figures = with_value(LINE, slew_needed_v_per_us=0.25, **{key: value})
    assert yardstick(key, figures).replace("2 times", "2.0 times") == said


def contrast(first: Figures, second: Figures, key: str) -> Contrast:
    (found,) = [row for row in side_by_side(first, second) if row.key == key]
    return found


@pytest.mark.parametrize(
    ("key", "first", "second", "change"),
    [
        ("gain_db", 12.0, 12.004, "same"),
        ("gain_db", 12.0, 12.55, "+0.55 dB"),
        ("high_corner_hz", 10e3, 42e3, "4.2 times higher"),
        ("high_corner_hz", 42e3, 10e3, "4.2 times lower"),
        ("high_corner_hz", 10e3, 11e3, "10 % higher"),
        ("clip_low_v", -13.0, -12.0, "7.7 % lower"),
        ("phase_margin_deg", 70.0, 60.0, "-10.0 deg"),
    ],
)
def test_a_change_is_told_as_its_unit_asks(
    key: str, first: float, second: float, change: str
) -> None:
    pair = with_value(LINE, **{key: first}), with_value(LINE, **{key: second})
    assert contrast(*pair, key).change == change


@pytest.mark.parametrize(
    ("key", "first", "second", "matters"),
    [
        ("gain_db", 12.0, 12.05, ""),
        ("gain_db", 12.0, 12.2, "level: match it before listening"),
        ("response_10_khz_db", 0.0, -0.9, ""),
        ("response_10_khz_db", 0.0, -1.1, "tone, at the high end: may be heard from 1 dB"),
        ("response_20_hz_db", -0.6, 0.0, "tone, at the low end: may be heard from 0.5 dB"),
        ("source_headroom_db", 3.0, -1.0, "the second clips on a full-scale source"),
        ("source_headroom_db", -3.0, -1.0, ""),
        ("slew_available_v_per_us", 0.1, 9.0, "the first is too slow for full scale at 20 kHz"),
        ("noise_spl_seat_a_db", 31.0, 12.0, "the first hisses over the room"),
        ("noise_20k_v_rms", 1e-6, 1e-4, ""),
        ("regulator_margin_v", 1.0, -0.2, "the second drops out at low mains"),
    ],
)
def test_what_matters_is_said_and_nothing_else(
    key: str, first: float, second: float, matters: str
) -> None:
    pair = with_value(LINE, **{key: first}), with_value(LINE, **{key: second})
    assert contrast(*pair, key).matters == matters


def test_noise_in_volts_matters_where_nobody_said_how_loud_it_plays() -> None:
    bare = compute_figures(stage_from({"amplifier": {"gain": 4.0, "device": "FET-input"}}))
    noisy = with_value(bare, noise_20k_v_rms=1e-3)
    assert contrast(bare, noisy, "noise_20k_v_rms").matters == "the second is noisier"
