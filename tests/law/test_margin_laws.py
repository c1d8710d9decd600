"""What must hold of the factor by which a cause may grow."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
import soundfile

from stagefx.audition.margin import CauseMargin, Margin, first_heard, first_heard_of
from stagefx.audition.shortcuts import compare_stages, margin
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.description.stage import Oscillation, Stage
from stagefx.hearing.margin.sensitivity import Trial
from stagefx.io.files import open_audio
from stagefx.samples import samples_folder

TRIO = samples_folder() / "music" / "trio.flac"
PASSAGE = (2.0, 4.0)
FINE = 1.011
"""A factor is found to 1 %."""


def found(stage: Stage, music: Path = TRIO) -> dict[str, CauseMargin]:
    return {one.cause: one for one in margin(stage, music, passage=PASSAGE).causes}


def size(one: CauseMargin) -> float:
    assert one.factor is not None
    return one.factor


def board(**tables: dict[str, object]) -> Stage:
    """A follower of which every figure is stated and nothing else."""
    return stage_from(
        {
            "source": {"level": "2 V rms", "resistance": "10 kohm"},
            "amplifier": {"topology": "follower"},
            **tables,
        }
    )


def quick(**figures: object) -> Stage:
    supply = {"positive": "15 V", "negative": "-15 V"}
    return board(amplifier={"topology": "follower", **figures}, supply=supply)


@pytest.mark.parametrize("threshold", [1.0, 1.1, 7.3, 9999.0, 10_000.0])
def test_the_search_is_within_a_hundredth_and_asks_few(threshold: float) -> None:
    asked: list[float] = []

    def heard(times: float) -> bool:
        asked.append(times)
        return times >= threshold

    factor = first_heard(heard)
    assert factor is not None
    assert threshold <= factor <= 1.01 * threshold
    assert len(asked) <= 12
    assert first_heard(lambda times: times > 10_000.0) is None


# A cause that is already k times as bad has 1/k of the room left: the same stage is heard.


@pytest.mark.parametrize(
    ("cause", "near", "far"),
    [
        (
            "shunt capacitance",
            board(input={"capacitance": "200 pF"}),
            board(input={"capacitance": "50 pF"}),
        ),
        (
            "coupling capacitors",
            board(input={"coupling": "2 uF", "resistance": "47 kohm"}),
            board(input={"coupling": "8 uF", "resistance": "47 kohm"}),
        ),
        (
            "slew limit",
            quick(slew_rise="1 V/us", slew_fall="1 V/us"),
            quick(slew_rise="4 V/us", slew_fall="4 V/us"),
        ),
        (
            "harmonics",
            quick(harmonics=["-60 dB", "-70 dB"], harmonics_level="1 V rms"),
            quick(harmonics=["-72.0412 dB", "-82.0412 dB"], harmonics_level="1 V rms"),
        ),
        (
            "hum voltage",
            board(hum={"level": "40 uV rms", "frequency": "100 Hz"}),
            board(hum={"level": "10 uV rms", "frequency": "100 Hz"}),
        ),
        (
            "mismatch",
            board(volume={"resistance": "10 kohm", "mismatch": "0.04 dB"}),
            board(volume={"resistance": "10 kohm", "mismatch": "0.01 dB"}),
        ),
        (
            "coupling of the channels",
            board(crosstalk={"coupling_capacitance": "0.04 pF"}),
            board(crosstalk={"coupling_capacitance": "0.01 pF"}),
        ),
    ],
)
def test_four_times_as_bad_has_a_quarter_of_the_room(cause: str, near: Stage, far: Stage) -> None:
    one, other = size(found(near)[cause]), size(found(far)[cause])
    assert 1.0 < one < other
    assert other / one == pytest.approx(4.0, rel=FINE - 1.0)


def test_clipping_is_not_heard_before_the_music_reaches_the_rails() -> None:
    # headroom over the passage's own peak: below it nothing is changed at all
    stage = quick()
    whole = compare_stages(load_stage("wire"), stage, TRIO, passage=PASSAGE)
    headroom = min(whole.renders[1].headroom_db or ())
    factor = size(found(stage)["clip levels"])
    assert factor > 10.0 ** (headroom / 20.0)
    assert factor < 8.0 * 10.0 ** (headroom / 20.0)  # by then half of a fiddle's wave is gone


def test_the_noise_s_factor_is_its_distance_from_the_threshold_of_hearing() -> None:
    # Nyquist: 4 k T R of 10 kohm in the third octave at 4 kHz, where ISO 389-7 has -5.4 dB SPL
    # and where white noise comes nearest to it
    stage = board()
    of_board = margin(stage, TRIO, passage=PASSAGE, room_dba=None)
    (noise,) = [one for one in of_board.causes if one.effect == "noise"]
    band_hz = 10.0**3.6 * (10.0**0.05 - 10.0**-0.05)
    volts = math.sqrt(4.0 * 1.380649e-23 * 298.15 * 10e3 * band_hz)
    spl = of_board.level_at_ear.full_scale_spl_db + 20.0 * math.log10(volts / 2.0)
    assert 20.0 * math.log10(size(noise)) == pytest.approx(-5.4 - spl, abs=0.05)


def test_a_pole_is_heard_no_later_than_its_response_says() -> None:
    # R C low-pass against the table's own limits: 0.5 dB at 8 kHz or 1 dB at 16 kHz re 1 kHz
    def down_db(corner_hz: float, at_hz: float) -> float:
        return 10.0 * math.log10((1.0 + (at_hz / corner_hz) ** 2) / (1.0 + (1e3 / corner_hz) ** 2))

    corner = 1.0 / (2.0 * math.pi * 10e3 * 50e-12)
    by_middle = next(k for n in range(9000) if down_db(corner / (k := 1.001**n), 10.0**3.9) >= 0.5)
    by_top = next(k for n in range(9000) if down_db(corner / (k := 1.001**n), 10.0**4.2) >= 1.0)
    one = found(board(input={"capacitance": "50 pF"}))["shunt capacitance"]
    assert size(one) <= FINE * min(by_middle, by_top)
    assert size(one) > min(by_middle, by_top) / 4.0


def test_the_same_twice_is_the_same_to_the_last_bit() -> None:
    stage = quick(slew_rise="1 V/us", slew_fall="1 V/us")
    first, second = (margin(stage, TRIO, passage=PASSAGE).as_json() for _ in range(2))
    assert first == second


def test_the_whole_piece_is_heard_no_later_than_a_passage_of_it(tmp_path: Path) -> None:
    place = tmp_path / "six.wav"
    with open_audio(TRIO) as opened:
        soundfile.write(place, opened.read(0, 6 * 44100), 44100, subtype="DOUBLE")
    stage = quick(slew_rise="1 V/us", slew_fall="1 V/us")
    whole: Margin = margin(stage, place, whole=True)
    assert (whole.start_s, whole.stop_s) == (0.0, 6.0)
    of_all = {one.cause: one for one in whole.causes}
    of_part = found(stage, place)
    for cause in ("slew limit", "clip levels"):
        assert size(of_all[cause]) <= FINE * size(of_part[cause])


class _Heard:
    """An ear that answers by the factor alone."""

    def __init__(self, *, detects_from: float, passes_from: float) -> None:
        self._detects, self._passes = detects_from, passes_from

    def detection(self, times: float) -> float:
        return 0.9 if times >= self._detects else 0.01

    def noise_to_mask_db(self, times: float) -> float:
        return -5.0 if times >= self._passes else -40.0


@pytest.mark.parametrize(
    ("detects", "passes", "decided"), [(7.0, 90.0, "ear model"), (90.0, 7.0, "remainder")]
)
def test_whichever_witness_hears_first_decides(detects: float, passes: float, decided: str) -> None:
    ear: Any = _Heard(detects_from=detects, passes_from=passes)
    same: Any = lambda times: times  # noqa: E731 - what acts is the factor itself
    trial = Trial(change=same, piece=ear, bends=True)
    assert first_heard_of(trial) == pytest.approx(7.0, rel=FINE - 1.0)
    assert trial.decided_by(7.1) == decided


def test_paper_is_heeded_unless_the_ear_hears_before() -> None:
    same: Any = lambda times: times  # noqa: E731
    for detects, wanted in ((4.0, 4.0), (50.0, 12.0)):
        ear: Any = _Heard(detects_from=detects, passes_from=math.inf)
        trial = Trial(lambda times: {"level": 0.2 * times / 12.0}, same, ear)
        assert first_heard_of(trial) == pytest.approx(wanted, rel=FINE - 1.0)


def test_an_oscillation_is_heard_when_it_leaves_the_music_no_slew() -> None:
    # 0.1 V at 1 MHz takes 0.628 V/us of 10: at 15.9 times nothing is left, and trio asks for less
    # than a tenth of a volt a microsecond
    stage = quick(slew_rise="10 V/us", slew_fall="10 V/us").model_copy(
        update={"oscillation": Oscillation(level="0.1 V peak", frequency="1 MHz")}
    )
    factor = size(found(stage)["oscillation"])
    assert 0.97 * 15.92 <= factor <= FINE * 15.92
