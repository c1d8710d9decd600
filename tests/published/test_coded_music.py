"""What trained listeners heard of MP3 beside the original, and what the ear model says of it.

A. Pras, R. Zimmerman, D. Levitin, C. Guastavino, AES 127th Convention, 2009 (from memory): trained
listeners heard 96 and 128 kbit/s from the original in most trials, 256 and 320 kbit/s not.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from stagefx.audition.coding import Coding, code
from stagefx.dsp.levels import AWeightedMeter
from stagefx.hearing.ear.detection import EarPair
from stagefx.hearing.level_at_ear import level_at_ear
from stagefx.io.recording import HeldAudio
from stagefx.samples import samples_folder

Array = NDArray[np.float64]
RATE_HZ = 44100
ROOM_DBA = 30.0


def coded(audio: Array, kbit_per_s: float, place: Path) -> Array:
    """Through MP3 at a constant rate and back, its delay and its change of level taken away."""
    level = (320.0 - kbit_per_s) / (320.0 - 32.0)
    coding = Coding("MP3", "MP3", "MPEG_LAYER_III", level, constant_rate=True)
    rate = code(HeldAudio(audio, RATE_HZ), coding, place)
    assert rate == pytest.approx(kbit_per_s, rel=0.05)
    decoded, _ = soundfile.read(place, always_2d=True)
    size = 1 << (len(audio) + len(decoded)).bit_length()
    spectra = [np.fft.rfft(x[:, 0], size) for x in (decoded, audio)]
    delay = int(np.argmax(np.fft.irfft(spectra[0] * spectra[1].conj(), size)))
    moved = decoded[delay : delay + len(audio)]
    moved = np.pad(moved, ((0, len(audio) - len(moved)), (0, 0)))
    return np.asarray(moved * (audio * moved).sum() / np.square(moved).sum())


@pytest.mark.parametrize("name", ["drums", "trio", "voice"])
def test_mp3_at_320_kbit_is_not_told_from_the_original_and_at_128_it_is(
    name: str, tmp_path: Path
) -> None:
    place = samples_folder() / "music" / f"{name}.flac"
    audio, _ = soundfile.read(place, start=4 * RATE_HZ, frames=8 * RATE_HZ, always_2d=True)
    meter = AWeightedMeter(RATE_HZ, audio.shape[1])
    meter.add(audio)
    full_scale = level_at_ear(meter.level_db).full_scale_spl_db
    found = []
    for rate in (320.0, 256.0, 128.0, 96.0):
        pair = EarPair(RATE_HZ, audio.shape[1], full_scale, ROOM_DBA)
        pair.add(audio, coded(audio, rate, tmp_path / "coded.mp3"))
        found.append(pair.account().detection_probability)
    assert found[0] < found[1] < 0.5 < found[2] < found[3]
