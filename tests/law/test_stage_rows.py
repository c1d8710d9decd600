"""Harmonics, hum and crosstalk of two stages, against closed forms."""

from __future__ import annotations

import math

import pytest

from stagefx.audition.shortcuts import compare_stages
from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.hearing.grades import Grade
from stagefx.hearing.rows.stages import crosstalk_row, harmonics_at, harmonics_row, hum_row
from stagefx.samples import samples_folder

TRIO = samples_folder() / "music" / "trio.flac"
CHAIN = {
    "amplifier_gain": 27,
    "speaker_sensitivity": "87 dB",
    "distance": "3 m",
    "speakers": 2,
    "room_noise": "10 dBA",  # hides less at 100 Hz than the threshold of hearing
}


def circuit(**tables: object) -> Circuit:
    return nominal(stage_from({"source": {"level": "2 V rms"}, **tables}))


def follower(**figures: object) -> dict[str, object]:
    return {"topology": "follower", **figures}


@pytest.mark.parametrize("level", [0.1, 0.5, 1.0])
def test_harmonics_fall_with_the_level_as_powers_do(level: float) -> None:
    # T2 and T3 alone: the 2nd re the fundamental falls with the level, the 3rd with its square
    bent = circuit(amplifier=follower(harmonics=["-60 dB", "-66 dB"], harmonics_level="1 V rms"))
    found = abs(harmonics_at(bent, level * math.sqrt(2.0)))
    below = 20.0 * math.log10(level)
    assert 20.0 * math.log10(found[0]) == pytest.approx(-60.0 + below, abs=0.03)
    assert 20.0 * math.log10(found[1]) == pytest.approx(-66.0 + 2.0 * below, abs=0.03)
    assert found[2:].max() < 1e-9


def test_the_slew_law_s_third_harmonic() -> None:
    # u - v = S tau (r^3/3 + ...), r = w Vp cos/S: cos^3 has a quarter at 3 w, so the third is
    # tau w r^2/12 of the fundamental to first order
    slow = circuit(
        amplifier=follower(gain_bandwidth="1 MHz", slew_rise="0.5 V/us", slew_fall="0.5 V/us")
    )
    omega, tau = 2.0 * math.pi * 1e3, 1.0 / (2.0 * math.pi * 1e6)
    peak_v = 10.0
    r = omega * peak_v / 0.5e6
    found = abs(harmonics_at(slow, peak_v))
    assert found[1] == pytest.approx(tau * omega * r * r / 12.0, rel=0.02)
    assert found[0] < 1e-9


def test_what_both_have_is_no_change_and_order_does_not_matter() -> None:
    bent = circuit(amplifier=follower(harmonics=["-60 dB"], harmonics_level="1 V rms"))
    straight = circuit(amplifier=follower())
    assert harmonics_row(bent, bent, [1.0, 1.0]).value == -math.inf
    there, back = (
        harmonics_row(straight, bent, [1.0, 1.0]),
        harmonics_row(bent, straight, [1.0, 1.0]),
    )
    assert there.value == pytest.approx(back.value)
    assert there.grade is Grade.MAY
    assert there.at_hz == 2000.0


def test_a_clipped_sine_is_left_to_the_remainder() -> None:
    bent = follower(harmonics=["-60 dB"], harmonics_level="10 V rms")
    small = circuit(amplifier=bent, supply={"positive": "1 V", "negative": "-1 V"})
    straight = circuit(amplifier=follower())
    # as high as it goes before it clips: 1 V where -60 dB was stated at 14.14 V
    row = harmonics_row(straight, small, [9.0, 9.0])
    assert row.value == pytest.approx(-60.0 - 20.0 * math.log10(10.0 * math.sqrt(2.0)), abs=0.03)
    assert "clipping is judged by the remainder" in row.remark


def test_hum_at_the_seat_is_what_the_chain_makes_of_it() -> None:
    # 0.1 mV at the input, gain 4, 27 times, 2.83 V for 87 dB at 1 m, 3 m, two speakers
    amplifier = {"gain": 4.0}
    quiet = circuit(amplifier=amplifier, listening=CHAIN)
    hums = circuit(
        amplifier=amplifier, listening=CHAIN, hum={"level": "0.1 mV rms", "frequency": "100 Hz"}
    )
    row = hum_row(quiet, hums, full_scale_spl_db=0.0)
    volts = 0.1e-3 * 4.0 * 27.0 / math.sqrt(8.0)
    spl = 87.0 + 20.0 * math.log10(volts / 3.0) + 10.0 * math.log10(2.0)
    assert row.value == pytest.approx(spl - 26.5, abs=1e-6)  # ISO 389-7 at 100 Hz
    assert row.at_hz == 100.0


def test_a_shared_ground_of_a_hundredth_of_the_load_leaves_a_hundredth() -> None:
    apart = circuit(load={"resistance": "10 kohm"})
    shared = circuit(
        load={"resistance": "10 kohm"}, crosstalk={"shared_ground_resistance": "1 ohm"}
    )
    assert crosstalk_row(apart, shared).value == pytest.approx(-80.0, abs=1e-6)
    assert crosstalk_row(shared, shared).grade is Grade.BELOW
    assert crosstalk_row(apart, apart).grade is None


def test_a_stage_that_hums_will_be_heard_by_that_alone() -> None:
    wire = load_stage("wire")
    loud = stage_from(
        {
            "source": {"level": "2 V rms"},
            "amplifier": follower(),
            "hum": {"level": "20 mV rms", "frequency": "100 Hz"},
        }
    )
    found = compare_stages(wire, loud, TRIO, passage=(2.0, 4.0))
    rows = {row.name: row for row in found.audibility}
    assert rows["hum"].grade is Grade.WILL
    assert rows["ear model"].grade in {Grade.BELOW, Grade.SHOULD_NOT}
    assert found.verdict.grade is Grade.WILL
    assert found.verdict.flips_at.row == "hum"
