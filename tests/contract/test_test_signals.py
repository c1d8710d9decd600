"""The test signals themselves: what is played, how long, and what the sheet says."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import numpy as np
import pytest

from stagefx.bench.errors import MeasuringError
from stagefx.bench.measure.synchronised import MOST_DRIFT
from stagefx.bench.signals.passages import Passage
from stagefx.bench.signals.plan import RATES_HZ, signal_named, test_signals as all_signals
from stagefx.bench.signals.writing import write_signals
from stagefx.figures.cautions import CAUTIONS
from stagefx.io.files import open_audio

SIGNALS = all_signals(48000)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    return write_signals(tmp_path_factory.mktemp("signals"), 48000)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_round_takes_less_than_three_minutes(rate_hz: int) -> None:
    signals = all_signals(rate_hz)
    assert sum(signal.frames for signal in signals) / rate_hz < 180.0
    assert [signal.name[:2] for signal in signals] == [f"{n:02d}" for n in range(1, 15)]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_nothing_is_played_above_what_the_rate_can_hold(rate_hz: int) -> None:
    for signal in all_signals(rate_hz):
        for tones in signal.tones():
            assert max(tones.hz) < 0.47 * rate_hz
        for sweep in signal.sweeps():
            assert sweep.high_hz < 0.5 * rate_hz


def test_no_two_signals_can_be_taken_for_each_other() -> None:
    for one, other in itertools.combinations(SIGNALS, 2):
        apart = [signal.markers_s[1] - signal.markers_s[0] for signal in (one, other)]
        assert abs(apart[0] - apart[1]) > 2.0 * MOST_DRIFT * max(apart)


@pytest.mark.parametrize("signal", SIGNALS, ids=lambda signal: signal.name)
def test_a_signal_fits_into_full_scale_and_begins_and_ends_in_silence(signal) -> None:  # type: ignore[no-untyped-def]
    samples = signal.samples()
    assert samples.shape == (signal.frames, 2)
    assert np.abs(samples).max() < 1.0
    for edge in (samples[:20000], samples[-20000:]):
        assert not edge.any()


@pytest.mark.parametrize("signal", SIGNALS, ids=lambda signal: signal.name)
def test_passages_come_and_go_without_a_click(signal) -> None:  # type: ignore[no-untyped-def]
    for passage in signal.passages:
        assert_soft(passage)


def assert_soft(passage: Passage) -> None:
    ends = np.array([0.0, 1e-5, passage.duration_s - 1e-5, passage.duration_s])
    assert np.abs(passage.wave(ends)).max() < 1e-3


def test_signals_are_as_loud_as_they_say() -> None:
    peaks = {
        signal.name: [
            float(np.abs(one.steady(np.arange(40000) / 2e6)).max()) for one in signal.tones()
        ]
        for signal in SIGNALS
        if signal.tones()
    }
    assert peaks["01-level-1khz"] == pytest.approx([10.0 ** (-12.0 / 20.0)])
    dim_db = 20.0 * np.log10(peaks["08-dim-30"])
    assert dim_db == pytest.approx([-21.0, -1.0], abs=0.01)
    assert 20.0 * np.log10(peaks["04-levels-997hz"][0]) == pytest.approx(-60.0, abs=0.001)


def test_the_two_tones_have_the_standards_ratios() -> None:
    # SMPTE RP 120: 60 Hz and 7 kHz, 4:1; 19 and 20 kHz 1:1; IEC 60268-3: 8 and 11.95 kHz 1:1.
    expected = {
        "05-two-tone-60hz-7khz": ((60.0, 7000.0), 4.0),
        "06-two-tone-19-20khz": ((19e3, 20e3), 1.0),
        "07-two-tone-8-11950hz": ((8e3, 11.95e3), 1.0),
    }
    for name, (hz, ratio) in expected.items():
        tones = signal_named(name, 48000).tones()[-1]
        assert tones.hz == hz
        assert abs(tones.amplitudes[0] / tones.amplitudes[1]) == pytest.approx(ratio)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
def test_what_a_rate_cannot_do_is_said(rate_hz: int) -> None:
    note = signal_named("08-dim-30", rate_hz).note
    highest_khz = {44100: "15.75", 48000: "15.75", 96000: "40.95"}[rate_hz]
    assert f"partials up to {highest_khz} kHz" in note
    assert "gentler test" in note


def test_files_hold_the_signals_to_their_last_step(written: tuple[Path, ...]) -> None:
    for place, signal in zip(written, SIGNALS, strict=False):
        with open_audio(place) as reader:
            assert (reader.format.rate_hz, reader.format.channels) == (48000, 2)
            assert reader.format.bits == 24
            off = reader.read(0, reader.format.frames) - signal.samples()
        # triangular dither of one step either way, and rounding
        assert 0.0 < np.abs(off).max() <= 1.51 * 2.0**-23


def test_the_sheet_needs_nothing_from_elsewhere(written: tuple[Path, ...]) -> None:
    page = written[-1].read_text(encoding="utf-8")
    assert not re.search(r"(\bsrc=|href|url\(|@import|https?:)", page)
    assert "default-src 'none'" in page
    for signal in SIGNALS:
        assert signal.name in page
    for name in ("mains", "speakers-off", "scope-ground", "hearing"):
        assert CAUTIONS[name].split(":")[0].replace("'", "&#x27;") in page
    # 12 dB below full scale: a factor of 3.98
    assert "12 dB below full scale" in page
    assert "3.98 times" in page


def test_another_rate_is_refused() -> None:
    with pytest.raises(MeasuringError, match="not made for 22050 Hz; choose one of 44100, 48000"):
        all_signals(22050)


def test_a_misspelt_signal_is_told_the_nearest() -> None:
    with pytest.raises(MeasuringError, match="did you mean '02-sweep'"):
        signal_named("02-swep", 48000)
