"""Parts of taking a difference apart, each on a few frames whose answer is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stagefx.align.alignment import Alignment
from stagefx.audition.captured import floors_of
from stagefx.audition.evaluation import level_matched_db
from stagefx.audition.margin import margin_of
from stagefx.audition.wire import wire_claim
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.difference.captured.recordings import CaptureFloor
from stagefx.difference.decomposition import segment_frames, take_apart
from stagefx.difference.edits import find_edits
from stagefx.difference.hum import find_hum
from stagefx.difference.linear.response import response_between
from stagefx.difference.linear.transfer import (
    SPAN_FRAMES,
    TransferModel,
    corners_hz,
    filtered_blocks,
    lead_in,
    shares_of,
)
from stagefx.difference.nulls import NullMeter
from stagefx.difference.pairs import Pair
from stagefx.difference.residual.nonlinear_signal import explained_blocks
from stagefx.dsp.spectra import PairMeter
from stagefx.effects.limits.clip import clip
from stagefx.hearing.audibility import judged_row
from stagefx.hearing.margin.causes import (
    CLIP,
    CROSSTALK,
    OFFSET,
    Cause,
    causes_of,
    grown_limits,
)
from stagefx.hearing.margin.isolated_effect import Passage
from stagefx.hearing.margin.sensitivity import TWO_CHANNELS, trial_of
from stagefx.hearing.rows.on_paper import Spectrum
from stagefx.hearing.rows.stages import hum_lines
from stagefx.hearing.verdict import Conditions, pass_verdict
from stagefx.io.recording import HeldAudio

RATE = 48000
NOISE = 0.1 * np.random.default_rng(1).standard_normal((RATE, 1))


@pytest.mark.parametrize("louder_db", [0.1, -1.0, 6.0])
def test_a_gain_alone_nulls_to_its_own_share_and_then_completely(louder_db: float) -> None:
    """20 log |10^(dB/20) - 1|; what is left then is the rounding of sums of squares."""
    second = 10.0 ** (louder_db / 20.0) * NOISE
    meter = NullMeter(1, 1.0)
    meter.add(Pair(NOISE, second, second))
    alone = 20.0 * math.log10(abs(10.0 ** (louder_db / 20.0) - 1.0))
    assert meter.plain_db == pytest.approx(alone, abs=1e-4)
    assert meter.after_gain_db < -120.0
    assert meter.after_delay_db < -120.0
    assert meter.gain == pytest.approx(10.0 ** (louder_db / 20.0), rel=1e-9)


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_mains_is_known_by_its_lines_and_their_level(mains_hz: int) -> None:
    """Twice and four times the mains, which lie on a grid of 4 Hz for both."""
    spacing = 4.0
    hz, power = np.arange(2000) * spacing, np.full(2000, 1e-14)
    orders = (2, 4)
    for order in orders:
        power[round(order * mains_hz / spacing)] = 1e-10
    lines, found = find_hum(hz, power)
    assert found == mains_hz
    assert [line.hz for line in lines] == [order * mains_hz for order in orders]
    # the mean square of a sine of full scale is a half
    assert lines[0].dbfs == pytest.approx(10.0 * math.log10(1e-10 / 0.5), abs=0.1)


def test_a_flat_spectrum_has_no_mains_in_it() -> None:
    assert find_hum(np.arange(2000) * 4.0, np.full(2000, 1e-14)) == ((), None)


@pytest.mark.parametrize("frames", [44100, 441_000, 10**7])
def test_averaged_segments_are_powers_of_two_and_several_fit(frames: int) -> None:
    segment = segment_frames(frames, rate_hz=44100)
    assert segment & (segment - 1) == 0
    assert 4 * segment <= frames


def test_missing_frames_and_polarity_are_two_edits() -> None:
    one, other = HeldAudio(NOISE, RATE), HeldAudio(-NOISE[4800:], RATE)
    found = find_edits(one, other, Alignment(-4800.0, 0.0, -1, channel_polarity=(-1,)))
    assert [(each.kind, each.length_s) for each in found] == [
        ("missing at the beginning", 0.1),
        ("inverted polarity", 0.9),
    ]


def test_of_the_same_piece_all_is_explained_to_the_last_bit() -> None:
    piece = HeldAudio(NOISE, RATE)
    for first, expected, left in explained_blocks(piece, piece, take_apart(piece, piece)):
        np.testing.assert_array_equal(expected, first)
        assert not left.any()


def test_against_silence_a_response_says_nothing() -> None:
    """Third octaves from 20 Hz on: the eighteenth is 1 kHz."""
    meter = PairMeter(RATE, 1, 4096)
    meter.add(NOISE, np.zeros_like(NOISE))
    found = response_between(meter.spectra())
    assert found.worst(20.0, 16000.0).db == 0.0
    assert found.bands[17].hz == pytest.approx(1000.0)


def test_what_was_played_before_is_padded_to_the_filter_s_reach() -> None:
    piece = HeldAudio(np.arange(1.0, RATE + 1.0)[:, None], RATE)
    short = lead_in(piece, 300)
    assert len(short) == SPAN_FRAMES
    np.testing.assert_array_equal(short[-300:, 0], np.arange(1.0, 301.0))
    assert not short[:-300].any()
    assert not lead_in(piece, 0).any()
    np.testing.assert_array_equal(lead_in(piece, 40_000)[-1], [40_000.0])


@pytest.mark.parametrize("rate_hz", [44100, 192_000])
def test_a_low_pass_lets_in_what_one_frame_of_its_time_constant_does(rate_hz: int) -> None:
    """1 - exp(-2 pi f / rate), and nothing where there is no low-pass."""
    corners, shares = corners_hz(rate_hz), shares_of(rate_hz)
    assert len(shares) % 8 == 0
    np.testing.assert_allclose(
        shares[: len(corners)], 1.0 - np.exp(-2.0 * np.pi * corners / rate_hz), rtol=1e-6
    )
    assert not shares[len(corners) :].any()


@pytest.mark.parametrize("cuts", [[300], [128, 172], [150, 150]])
def test_one_tap_is_a_delay_and_a_gain_whatever_the_blocks(cuts: list[int]) -> None:
    """Two frames late at half the gain; the last 128 frames wait for what comes after them."""
    taps = np.zeros((1, SPAN_FRAMES + 1))
    taps[0, 128 + 2] = 0.5
    nothing = np.zeros((1, len(corners_hz(RATE))))
    model = TransferModel(RATE, 1.0, taps, nothing, np.zeros(1))
    piece = np.arange(300.0)[:, None]
    blocks = np.split(piece, np.cumsum(cuts)[:-1])
    added = np.concatenate(list(filtered_blocks(model, iter(blocks), np.zeros((1152, 1)))))
    assert len(added) == 300 - 128
    expected = 0.5 * np.pad(piece, ((2, 0), (0, 0)))[: len(added)]
    np.testing.assert_allclose(added, expected, rtol=0.0, atol=1e-9)


def test_a_level_match_takes_away_what_it_says() -> None:
    found = take_apart(HeldAudio(NOISE, RATE), HeldAudio(2.0 * NOISE, RATE))
    assert level_matched_db(found, "nothing") == 0.0
    for level_by in ("gain", "loudness"):
        matched = level_matched_db(found, level_by)
        assert matched == pytest.approx(20.0 * math.log10(2.0), abs=1e-3)


def test_an_instrument_s_floor_is_told_in_the_units_of_the_rows() -> None:
    """2 us are 0.002 ms; a range of frequencies has the worst of its bands."""
    bands = (31.6, 1000.0, 2000.0, 10000.0), (0.2, 0.01, 0.03, None)
    floor = CaptureFloor("the loopback", 0.01, None, *bands, 2e-6, 5e-6, -80.0, (None,) * 3)
    assert floors_of(floor) == pytest.approx(
        {"level": 0.01, "group delay": 0.002, "inter-channel delay": 5.0, "low end": 0.2,
         "middle": 0.03}
    )  # fmt: skip
    assert floors_of(None) == {}


FOUR_STEPS = "about 4 times the smallest step of a typical volume control (2.0 dB)"
HERE = Conditions("calculated", 85.0, "trio.flac", "gain", 0.0)


@pytest.mark.parametrize(
    ("high_end_db", "answer"),
    [
        (0.05, "As far as hearing goes, yes: nearest is the high end, 20 times away."),
        (2.0, f"Perhaps not. The high end: {FOUR_STEPS}, where it may be heard from 1.0 dB."),
    ],
)  # fmt: skip
def test_whether_a_stage_is_a_wire_is_answered_by_the_nearest_row(
    high_end_db: float, answer: str
) -> None:
    rows = [judged_row("high end", high_end_db), judged_row("remainder", -90.0)]
    wire, stage = load_stage("wire"), load_stage("line-stage")
    (said,) = wire_claim(wire, stage, rows, pass_verdict(rows, HERE))
    assert said.partition("? ")[2] == answer


def test_between_two_stages_nobody_asks_for_a_wire() -> None:
    rows = [judged_row("high end", 0.05)]
    stage = load_stage("line-stage")
    assert wire_claim(stage, stage, rows, pass_verdict(rows, HERE)) == ()


def test_what_is_no_sound_has_no_factor_and_says_why() -> None:
    found = margin_of(OFFSET, "a fault, not a sound")
    assert found.factor is None
    assert found.sentence.endswith(": a fault, not a sound.")


@pytest.mark.parametrize(
    ("cause", "channels", "why"),
    [(OFFSET, 2, "a fault, not a sound"), (CROSSTALK, 1, TWO_CHANNELS)],
    ids=["direct voltage", "one channel"],
)
def test_what_cannot_be_tried_on_a_piece_says_why(cause: Cause, channels: int, why: str) -> None:
    stage = stage_from({"amplifier": {"gain": 4.0}, "crosstalk": {"coupling_capacitance": "5 pF"}})
    music = HeldAudio(np.zeros((RATE, channels)), RATE)
    piece = Passage(music, 0, RATE, full_scale_v=2.8, full_scale_spl_db=100.0)
    spectrum = Spectrum(RATE, piece.blocks())
    found = trial_of(cause, nominal(stage), piece, spectrum, 100.0)
    assert isinstance(found, str)
    assert found.startswith(why)


def test_a_stage_s_causes_are_those_it_has_parts_for() -> None:
    coupled = {cause.name for cause in causes_of(nominal(load_stage("thin-coupling")))}
    assert {"shunt capacitance", "coupling capacitors", "gain-bandwidth"} <= coupled
    direct = causes_of(
        nominal(stage_from({"amplifier": {"gain": 4.0, "gain_bandwidth": "10 MHz"}}))
    )
    assert "coupling capacitors" not in {cause.name for cause in direct}


@pytest.mark.parametrize("times", [1.0, 3.0])
def test_clipping_so_many_times_as_bad_has_so_much_less_room(times: float) -> None:
    (grown,) = grown_limits([clip(13.5, -12.0)], CLIP, times)
    assert grown.limits is not None
    assert grown.limits.high_v == pytest.approx(13.5 / times)
    assert grown.limits.low_v == pytest.approx(-12.0 / times)


def test_ripple_s_lines_are_those_of_a_sawtooth() -> None:
    ripple = hum_lines(nominal(load_stage("line-stage")))
    assert ripple[100.0] / ripple[300.0] == pytest.approx(3.0)


def test_a_stated_hum_has_the_gain_and_adds_to_the_ripple_by_their_powers() -> None:
    alone = stage_from(
        {"hum": {"level": "1 uV rms", "frequency": "100 Hz"}, "amplifier": {"gain": 4.0}}
    )
    assert hum_lines(nominal(alone)) == pytest.approx({100.0: 4e-6}, rel=1e-3)
    rippling = load_stage("line-stage")
    ripple_v = hum_lines(nominal(rippling))[100.0]
    powers = []
    for level in ("1 nV rms", "2 nV rms"):
        hum = stage_from({"hum": {"level": level, "frequency": "100 Hz"}}).hum
        lines = hum_lines(nominal(rippling.model_copy(update={"hum": hum})))
        powers.append(lines[100.0] ** 2 - ripple_v**2)
    assert powers[1] == pytest.approx(4.0 * powers[0], rel=1e-9)
    assert powers[0] > 0.0
