"""The passage that is chosen holds the difference, begins where music does, never in silence."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from stagefx.align.alignment import Alignment
from stagefx.circuit.description.files import load_stage
from stagefx.errors import ComparisonError
from stagefx.hearing.passage import choose_passage
from stagefx.hearing.segmentation import phrasing
from stagefx.io.files import open_audio
from stagefx.io.recording import HeldAudio
from stagefx.render.rendering import render_file
from stagefx.samples import samples_folder

Array = NDArray[np.float64]
RATE_HZ = 44100
NOTHING = Alignment(0.0, 0.0, 1)


def notes(seconds: int, *, pause_s: float = 0.0, seed: int = 1) -> Array:
    """A new chord every two seconds, struck and fading, with a pause before the next."""
    rng = np.random.default_rng(seed)
    n = np.arange(2 * RATE_HZ)
    struck = []
    for _ in range(seconds // 2):
        chord = sum(
            np.sin(2 * np.pi * hz * n[:, None] / RATE_HZ + rng.uniform(0.0, 6.0, 2))
            for hz in rng.uniform(150.0, 4000.0, 5)
        )
        note = chord * np.exp(-n / RATE_HZ)[:, None] + 0.02 * rng.standard_normal((n.size, 2))
        note[n.size - round(pause_s * RATE_HZ) :] = 0.0
        struck.append(note)
    return np.ascontiguousarray(0.1 * np.concatenate(struck))


def held(audio: Array) -> HeldAudio:
    return HeldAudio(audio, RATE_HZ)


def changed(audio: Array, start_s: float, stop_s: float, gain: float = 1.05) -> Array:
    """Louder between two times, in the right channel."""
    other = audio.copy()
    other[round(start_s * RATE_HZ) : round(stop_s * RATE_HZ), 1] *= gain
    return other


@pytest.mark.parametrize("at_s", [3.0, 12.5, 20.5])
def test_the_difference_lies_well_inside(at_s: float) -> None:
    audio = notes(24)
    found = choose_passage(held(audio), held(changed(audio, at_s, at_s + 0.5)), alignment=NOTHING)
    assert found.start_s + 0.7 < at_s
    assert at_s + 0.5 < found.stop_s - 0.7
    assert found.seconds == pytest.approx(10.0, abs=1e-6)
    assert "nearest to being heard" in found.why


@pytest.mark.parametrize("at_s", [0.3, 23.3])
def test_the_ends_of_a_piece_count_too(at_s: float) -> None:
    audio = notes(24)
    found = choose_passage(held(audio), held(changed(audio, at_s, at_s + 0.3)), alignment=NOTHING)
    assert found.start_s <= at_s < found.stop_s


def test_the_greater_of_two_differences_is_taken() -> None:
    audio = notes(26)
    other = changed(changed(audio, 4.0, 5.0, 1.01), 19.0, 20.0, 1.04)
    found = choose_passage(held(audio), held(other), alignment=NOTHING)
    assert found.start_s < 19.0
    assert found.stop_s > 20.0


def test_a_plain_difference_at_the_very_beginning_outdoes_a_faint_one_inside() -> None:
    audio = notes(24)
    other = changed(changed(audio, 0.1, 0.5, 1.3), 15.0, 15.1, 1.05)
    found = choose_passage(held(audio), held(other), alignment=NOTHING)
    assert found.start_s < 0.2


def test_a_moment_that_is_noticed_outdoes_a_long_time_of_what_is_not() -> None:
    """0.05 dB for ten seconds sums up to more than 0.4 dB for a tenth, but is noticed less."""
    audio = 0.1 * np.random.default_rng(2).standard_normal((26 * RATE_HZ, 2))
    other = audio.copy()
    other[round(4.0 * RATE_HZ) : round(4.1 * RATE_HZ)] *= 10.0 ** (0.4 / 20.0)
    other[15 * RATE_HZ :] *= 10.0 ** (0.05 / 20.0)
    found = choose_passage(held(audio), held(other), alignment=NOTHING)
    assert found.start_s < 4.0


def test_it_begins_on_a_note() -> None:
    """Chords are struck at even seconds; a pause before each."""
    audio = notes(24, pause_s=0.4)
    found = choose_passage(held(audio), held(1.02 * audio), alignment=NOTHING)
    off_s = (found.start_s + 0.01) % 2.0
    assert min(off_s, 2.0 - off_s) < 0.04


def test_it_never_begins_in_silence() -> None:
    """Silence but for four seconds, in the middle of which the difference lies."""
    audio = np.zeros((30 * RATE_HZ, 2))
    audio[14 * RATE_HZ : 18 * RATE_HZ] = notes(4)
    found = choose_passage(held(audio), held(changed(audio, 14.2, 17.8)), alignment=NOTHING)
    assert 13.95 < found.start_s < 18.0
    start = round((found.start_s + 0.01) * RATE_HZ)
    assert np.abs(audio[start : start + RATE_HZ // 10]).max() > 0.01


def test_where_nothing_differs_it_is_the_loudest() -> None:
    audio = notes(28)
    audio[: 14 * RATE_HZ] *= 0.1
    found = choose_passage(held(audio), held(audio.copy()), alignment=NOTHING)
    assert found.start_s > 13.0
    assert found.why.startswith("Nothing differs")


def test_it_is_the_same_every_time() -> None:
    audio = notes(24)
    other = audio + 1e-4 * np.random.default_rng(3).standard_normal(audio.shape)
    found = {choose_passage(held(audio), held(other), alignment=NOTHING) for _ in range(2)}
    assert len(found) == 1


def test_the_second_may_be_late_turned_over_and_softer() -> None:
    audio = notes(24)
    other = changed(audio, 16.0, 16.5, 1.2)
    late = -0.5 * np.pad(other, ((1000, 0), (0, 0)))
    found = choose_passage(held(audio), held(late))
    assert found.start_s < 16.0
    assert found.stop_s > 16.5


def test_two_renders_of_a_stage(tmp_path: Path) -> None:
    music = tmp_path / "drums.wav"
    audio, _ = soundfile.read(samples_folder() / "music" / "drums.flac", frames=15 * RATE_HZ)
    soundfile.write(music, audio, RATE_HZ)
    places = [tmp_path / "one.wav", tmp_path / "other.wav"]
    for name, place in zip(("line-stage", "bare-rails"), places, strict=True):
        render_file(load_stage(name), music, place, without=("noise",), bits="float")
    with open_audio(places[0]) as one, open_audio(places[1]) as other:
        found = choose_passage(one, other)
        start = round(found.start_s * RATE_HZ)
        assert np.abs(one.read(start, start + RATE_HZ // 5)).max() > 0.001
    assert found.seconds == pytest.approx(10.0, abs=1e-6)


def test_a_short_piece_is_taken_whole() -> None:
    audio = notes(8)
    found = choose_passage(held(audio), held(1.1 * audio), alignment=NOTHING)
    assert (found.start_s, found.stop_s) == (0.0, 8.0)
    assert found.as_json()["why"] == "It is all that both versions have."


@pytest.mark.parametrize("seconds", [0.5, 9.9, 10.05])
def test_a_little_shorter_than_the_piece(seconds: float) -> None:
    audio = notes(10)[: round(10.1 * RATE_HZ)]
    audio = np.concatenate([audio, audio[: round(0.1 * RATE_HZ)]])
    found = choose_passage(
        held(audio), held(changed(audio, 4.0, 4.3)), seconds=seconds, alignment=NOTHING
    )
    assert found.start_s >= 0.0
    assert found.stop_s <= 10.1 + 1e-9
    assert found.start_s < 4.3
    assert found.stop_s > 4.0


def test_silence_and_too_short_a_wish_are_refused() -> None:
    silence = held(np.zeros((20 * RATE_HZ, 2)))
    with pytest.raises(ComparisonError, match="is silent"):
        choose_passage(silence, silence, alignment=NOTHING)
    with pytest.raises(ComparisonError, match=r"0\.2 s is too short to judge"):
        choose_passage(silence, silence, seconds=0.2)


def test_onsets_are_found_where_notes_are_struck() -> None:
    found = phrasing(held(notes(12, pause_s=0.3)), 1.0, 11.0)
    peaks = found.times_s[np.argsort(found.onset)[-5:]]
    assert np.sort(peaks) == pytest.approx(np.array([2.0, 4.0, 6.0, 8.0, 10.0]), abs=0.03)


@pytest.mark.slow
def test_onset_strength_is_that_of_librosa() -> None:
    """Its own onset strength, on the same frames; it compiles for a while where it is new."""
    from librosa.onset import onset_strength

    audio, hop = notes(6), round(0.0116 * RATE_HZ)
    found = phrasing(held(audio), 100 * hop / RATE_HZ, 4.5)
    theirs = onset_strength(
        y=audio.mean(axis=1),
        sr=RATE_HZ,
        n_fft=4 * hop,
        hop_length=hop,
        n_mels=64,
        fmax=16e3,
    )
    assert found.times_s * RATE_HZ == pytest.approx((100 + np.arange(found.onset.size)) * hop)
    assert found.onset == pytest.approx(theirs[100 : 100 + found.onset.size], rel=1e-6, abs=1e-6)
