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
    """One HTML file that plays a listening set.

    Parameters
    ----------
    made : ListeningSet
        What there is to hear.
    codes : mapping of str to ndarray of int32 [frames, channels]
        Of each track's file, its samples as steps of as many bits as it has.
    verdict : str
        What a comparison says of the two, to stand above the player.

    Returns
    -------
    str
        HTML that holds the same samples as the WAV files, and is forbidden by its own policy to
        ask for anything.

    Examples
    --------
    >>> from stagefx.report.listening.tracks import ListeningSet, Track
    >>> from stagefx.hearing.passage import Passage
    >>> tracks = Track("1.wav", "baseline", "a <b>"), Track("2.wav", "change", "c")
    >>> made = ListeningSet("a <b>", "c", "tune", Passage(0.0, 0.1, "asked"), 48000, tracks)
    >>> page = build_player(made, {t.file: np.zeros((4800, 1), np.int32) for t in tracks})
    >>> page.count("text/plain"), "a <b>" in page, "a &lt;b&gt;" in page
    (2, False, True)
    """
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
