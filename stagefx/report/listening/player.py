"""The page of a sighted listening set: one file that plays all of it and asks for nothing."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stagefx.figures.cautions import CAUTIONS
from stagefx.figures.faults import FaultRemark
from stagefx.report.page.shell import render_page

if TYPE_CHECKING:
    from stagefx.report.listening.tracks import ListeningSet

Codes = NDArray[np.int32]


def build_player(made: ListeningSet, codes: Mapping[str, Codes], *, verdict: str = "") -> str:
    """One HTML file that plays a listening set."""
    known = {
        "rate_hz": made.rate_hz,
        "seconds": len(codes[made.tracks[0].file]) / made.rate_hz,
        "files": [track.file for track in made.tracks],
    }
    grade, _, rests = verdict.partition(". ")
    return render_page(
        "listening/player",
        script="listening/player",
        styles=("listening/listening", "listening/player"),
        carried={
            track.file: _flac(codes[track.file], made.rate_hz, track.bits) for track in made.tracks
        },
        known=known,
        made=made,
        tracks=made.tracks,
        verdict=grade.removesuffix("."),
        rests=rests,
        listening_caution=CAUTIONS["listening"],
        hearing_caution=CAUTIONS["hearing"],
        faults=[one for one in made.remarks if isinstance(one, FaultRemark)],
        remarks=[one for one in made.remarks if not isinstance(one, FaultRemark)],
    )


def _flac(steps: Codes, rate_hz: int, bits: int) -> bytes:
    import soundfile

    file = io.BytesIO()
    soundfile.write(file, steps << (32 - bits), rate_hz, format="FLAC", subtype=f"PCM_{bits}")
    return file.getvalue()
