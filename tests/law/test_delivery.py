"""A pair through lossy coding: bit rates, alignment, and what survives."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from stagefx.audition.coding import CODINGS, Coding, code
from stagefx.audition.delivery import Apart, Delivered, Delivery, deliver
from stagefx.io.recording import HeldAudio
from stagefx.samples import samples_folder
from tests.cli.running import complaint, one_object, run_here

HIGHEST_MP3, OPUS = CODINGS[-1], CODINGS[0]
RATE_HZ = 44100


@pytest.fixture(scope="module")
def music() -> NDArray[np.float64]:
    trio = samples_folder() / "music" / "trio.flac"
    return soundfile.read(trio, start=2 * RATE_HZ, stop=8 * RATE_HZ, always_2d=True)[0]


@pytest.mark.parametrize(("level", "kbit_per_s"), [(0.0, 320), (0.4, 192), (0.6, 160)])
def test_constant_bit_rates_are_those_of_the_standard(
    music: NDArray[np.float64], tmp_path: Path, level: float, kbit_per_s: int
) -> None:
    """The rates that ISO/IEC 11172-3 lists for layer III; the header adds a little."""
    coding = Coding("MP3", "MP3", "MPEG_LAYER_III", level, constant_rate=True)
    found = code(HeldAudio(music, RATE_HZ), coding, tmp_path / "a.mp3")
    assert kbit_per_s <= found <= 1.03 * kbit_per_s


@pytest.mark.parametrize("coding", [HIGHEST_MP3, OPUS, CODINGS[3]], ids=lambda c: c.name)
def test_what_is_decoded_lies_where_the_music_lay(
    music: NDArray[np.float64], coding: Coding
) -> None:
    """A frame beside it this music leaves -19 dB, before any coding."""
    found = deliver(
        HeldAudio(music, RATE_HZ), HeldAudio(music, RATE_HZ), codings=[coding], passage=(0.0, 6.0)
    )
    (one,) = found.delivered
    assert one.by_coding.residual_db < -20.0
    assert one.after_coding.residual_db == -np.inf
    assert found.least_ratio is None


def test_a_faint_hiss_is_drowned(music: NDArray[np.float64]) -> None:
    hiss = 10.0 ** (-110.0 / 20.0) * np.random.default_rng(1).standard_normal(music.shape)
    found = deliver(
        HeldAudio(music, RATE_HZ), HeldAudio(music + hiss, RATE_HZ), codings=[HIGHEST_MP3],
        passage=(0.0, 6.0),
    )  # fmt: skip
    assert found.least_ratio is not None
    assert found.least_ratio > 100.0
    assert "offer lossless files" in found.sentence


def test_a_pole_far_above_hearing_is_not_noticed_after_coding(music: NDArray[np.float64]) -> None:
    """0.07 dB down at 10 kHz, where a step of 1 dB is hardly heard (common practice)."""
    found = deliver(
        HeldAudio(music, RATE_HZ), HeldAudio(low_pass(music, 80e3), RATE_HZ),
        codings=[CODINGS[2], CODINGS[4]], passage=(0.0, 6.0),
    )  # fmt: skip
    assert found.noticed_after == ()
    assert all(not one.noticed for one in found.delivered)
    assert "is likely to be noticed" not in found.sentence


@pytest.mark.parametrize("coding", CODINGS, ids=lambda c: c.name)
def test_a_shifted_coding_errs_on_its_own(music: NDArray[np.float64], coding: Coding) -> None:
    """Errors that are not correlated add in power, 3 dB over one of them (any textbook).

    A coding that divided the music as before would leave nothing; a frame too early or too late
    would leave -19 dB, whatever the coding.
    """
    held = HeldAudio(music[: 4 * RATE_HZ], RATE_HZ)
    (one,) = deliver(held, held, codings=[coding], passage=(0.0, 4.0)).delivered
    more = one.baseline.residual_db - one.by_coding.residual_db
    assert -4.0 < more < 3.1
    assert one.after_coding.residual_db == -np.inf
    assert one.probability_beyond_coding == 0.0
    assert not one.noticed


def test_what_coding_does_alone_is_subtracted() -> None:
    """At 75 % right in two intervals d' is 0.954 (Macmillan and Creelman, from memory)."""
    assert Apart(-30.0, 0.5).detectability == pytest.approx(0.954, abs=5e-4)

    def through(alone: Apart, after: Apart) -> Delivered:
        return Delivered(OPUS, 128.0, Apart(-25.0, 0.9), alone, after)

    silent, same = Apart(-np.inf, 0.0), Apart(-20.0, 0.9)
    assert through(silent, same).probability_beyond_coding == pytest.approx(0.9, abs=1e-9)
    assert through(same, same).probability_beyond_coding == 0.0
    assert not through(same, Apart(-20.0, 0.97)).noticed
    assert through(same, Apart(-20.0, 0.9999)).noticed
    sure = Apart(-20.0, 1.0)
    assert not through(sure, Apart(-18.0, 1.0)).noticed
    assert through(sure, Apart(-17.0, 1.0)).noticed


def test_a_difference_of_level_alone_is_none_and_a_tiny_one_is_said_plainly(
    music: NDArray[np.float64],
) -> None:
    held = HeldAudio(music[: 2 * RATE_HZ], RATE_HZ)
    softer = HeldAudio(0.9 * held.samples, RATE_HZ)
    found = deliver(held, softer, codings=[HIGHEST_MP3], passage=(0.0, 2.0))
    assert found.least_ratio is None
    assert found.sentence.startswith("The two versions are the same")
    tiny = Delivery(Apart(-180.0, 0.0), found.delivered, (0.0, 2.0))
    assert ": more than 10,000 times as much" in tiny.sentence


def test_threads_do_not_change_the_result(music: NDArray[np.float64]) -> None:
    held = HeldAudio(music[: 2 * RATE_HZ], RATE_HZ), HeldAudio(0.9 * music[: 2 * RATE_HZ], RATE_HZ)
    together = deliver(*held, codings=CODINGS[2:6:3], passage=(0.0, 2.0)).delivered
    for number, coding in enumerate(CODINGS[2:6:3]):
        assert deliver(*held, codings=[coding], passage=(0.0, 2.0)).delivered == (together[number],)


def low_pass(music: NDArray[np.float64], corner_hz: float) -> NDArray[np.float64]:
    """Through a first-order low-pass."""
    spectrum = np.fft.rfft(music, axis=0)
    hz = np.fft.rfftfreq(len(music), 1.0 / RATE_HZ)
    return np.fft.irfft(spectrum / (1.0 + 1j * hz / corner_hz)[:, None], len(music), axis=0)


def test_a_missing_treble_survives(music: NDArray[np.float64]) -> None:
    """A 2 kHz first-order low-pass, plain to hear before and after."""
    dull = low_pass(music, 2000.0)
    found = deliver(
        HeldAudio(music, RATE_HZ), HeldAudio(dull, RATE_HZ), codings=[HIGHEST_MP3, OPUS],
        passage=(0.0, 6.0),
    )  # fmt: skip
    assert len(found.noticed_after) == 2
    assert found.sentence.endswith("it survives.")


def test_the_command_between_two_files(tmp_path: Path, music: NDArray[np.float64]) -> None:
    for name, gain in (("a.wav", 1.0), ("b.wav", 0.9)):
        soundfile.write(tmp_path / name, gain * music[: 3 * RATE_HZ], RATE_HZ, "PCM_24")
    done = run_here("delivery", "a.wav", "b.wav", "--passage", "0.5-2.5", "--json", cwd=tmp_path)
    found = one_object(done.stdout)
    assert {"pair", "codings", "times_larger", "sentence"} <= {*found}
    assert len(found["codings"]) == len(CODINGS)
    assert {"coding", "by_coding", "baseline", "after_coding", "noticed"} <= {*found["codings"][0]}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.wav", "b.wav"]


def test_stages_want_music() -> None:
    assert "--music" in complaint(run_here("delivery", "line-stage", "wire"))


def test_three_channels_cannot_all_be_coded(tmp_path: Path) -> None:
    noise = 0.1 * np.random.default_rng(1).standard_normal((RATE_HZ, 3))
    soundfile.write(tmp_path / "a.wav", noise, RATE_HZ)
    said = complaint(run_here("delivery", "a.wav", "a.wav", cwd=tmp_path))
    assert "cannot be coded as MP3" in said
