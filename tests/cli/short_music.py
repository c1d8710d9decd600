"""A few seconds of the scenario's music, as files for the command line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from stagefx.samples import samples_folder

RATE_HZ = 44_100


def short_music(place: Path, *, seconds: float = 3.0, gain: float = 1.0) -> Path:
    """Write some seconds of the drums, 16 bits."""
    start = 2 * RATE_HZ
    samples, rate_hz = soundfile.read(
        samples_folder() / "music" / "drums.flac", start=start, frames=int(seconds * RATE_HZ)
    )
    soundfile.write(place, np.asarray(samples) * gain, rate_hz, subtype="PCM_16")
    return place
