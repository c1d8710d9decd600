"""Make the sample music: three invented pieces, from numpy and fixed seeds alone.

Run ``python samples/make_music.py [FOLDER]``; without FOLDER the pieces go to ``samples/music``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from village_band.announcement import announcement
from village_band.groove import groove
from village_band.mastering import finished
from village_band.signals import RATE_HZ
from village_band.trio import trio


def make_all() -> dict[str, NDArray[np.int16]]:
    """Every piece as it is stored: its name, and 16-bit samples [frames, 2] at 44.1 kHz."""
    return {
        "trio": finished(trio(), seed=1),
        "drums": finished(groove(), seed=2),
        "voice": finished(announcement(), seed=3),
    }


def main(folder: Path) -> None:
    """Write every piece into a folder as FLAC."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, samples in make_all().items():
        soundfile.write(folder / f"{name}.flac", samples, RATE_HZ, subtype="PCM_16")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "music")
