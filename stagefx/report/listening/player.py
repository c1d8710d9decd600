"""The page of a sighted listening set: one file that plays all of it and asks for nothing."""

from __future__ import annotations

import base64
import hashlib
import io
import json
from collections.abc import Iterable, Mapping
from html import escape
from importlib import resources
from string import Template
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stagefx.figures.cautions import CAUTIONS
from stagefx.figures.faults import FaultRemark
from stagefx.report.page.bundle import bundle, page_part

if TYPE_CHECKING:
    from stagefx.report.listening.tracks import ListeningSet, Track

Codes = NDArray[np.int32]

_WORDS = {"baseline": "baseline", "change": "change"}
_KEYS = 9


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
    script = f"{bundle('player', 'passage_line')}\n{_part('player.js')}"
    style = f"{page_part('page.css')}\n{_part('player.css')}"
    files = [track.file for track in made.tracks]
    known = {
        "rate_hz": made.rate_hz,
        "seconds": len(codes[files[0]]) / made.rate_hz,
        "files": files,
    }
    start, stop = made.passage.start_s, made.passage.stop_s
    return Template(_part("player.html")).substitute(
        policy="; ".join(
            (
                "default-src 'none'",
                f"script-src 'sha256-{_digest(script)}'",
                f"style-src 'sha256-{_digest(style)}'",
                "base-uri 'none'",
                "form-action 'none'",
            )
        ),
        style=style,
        script=script,
        first=escape(made.first),
        second=escape(made.second),
        music=escape(made.music),
        passage=f"{start:.1f} to {stop:.1f} s",
        verdict=_verdict(verdict),
        listening_caution=escape(CAUTIONS["listening"]),
        switch="\n".join(
            _switch(number, track) for number, track in _numbered(made) if track.kind in _WORDS
        ),
        difference=_difference(made),
        exaggerated=_exaggerated(made),
        faults="\n".join(
            f'<p class="caution"><strong>{escape(one)}</strong></p>'
            for one in made.remarks
            if isinstance(one, FaultRemark)
        ),
        remarks="\n".join(
            f"<p>{escape(one)}</p>" for one in made.remarks if not isinstance(one, FaultRemark)
        ),
        known=json.dumps(known).replace("<", "\\u003c"),
        audio="\n".join(
            f'<script type="text/plain" data-file="{escape(track.file)}">'
            f"{_flac(codes[track.file], made.rate_hz, track.bits)}</script>"
            for track in made.tracks
        ),
    )


def _part(name: str) -> str:
    return resources.files("stagefx.report.listening").joinpath(name).read_text("utf-8")


def _digest(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")


def _flac(steps: Codes, rate_hz: int, bits: int) -> str:
    import soundfile

    file = io.BytesIO()
    soundfile.write(file, steps << (32 - bits), rate_hz, format="FLAC", subtype=f"PCM_{bits}")
    return base64.b64encode(file.getvalue()).decode("ascii")


def _numbered(made: ListeningSet) -> Iterable[tuple[int, Track]]:
    return enumerate(made.tracks, start=1)


def _switch(number: int, track: Track) -> str:
    return _button(
        number,
        f'<span class="name word">{_WORDS[track.kind]}</span>'
        f'<span class="whose">{escape(track.title)}</span>',
    )


def _row(number: int, track: Track, says: str = "") -> str:
    title = f"the difference, {track.title}" if "difference" in track.file else track.title
    more = f'<span class="says">, {escape(says)}</span>' if says else ""
    return f'<li>{_button(number, f"""<span class="name">{escape(title)}</span>{more}""")}</li>'


def _button(number: int, inside: str) -> str:
    key = str(number) if number <= _KEYS else ""
    shortcut = f' aria-keyshortcuts="{key}"' if key else ""
    return (
        f'<button class="row" type="button" aria-pressed="false"{shortcut}>'
        f'<span class="key" aria-hidden="true">{key}</span><span class="what">{inside}</span>'
        '<span class="playing"></span></button>'
    )


def _verdict(text: str) -> str:
    """The answer, and under it on what it rests."""
    if not text:
        return ""
    answer, _, rest = text.partition(". ")
    said = f"<p><strong>{escape(answer.removesuffix('.'))}.</strong></p>"
    if not rest:
        return said
    return f"{said}<details><summary>On what that rests</summary><p>{escape(rest)}</p></details>"


def _difference(made: ListeningSet) -> str:
    rows = [_row(n, one) for n, one in _numbered(made) if one.kind in {"difference", "turned up"}]
    if not rows:
        told = (
            "<p>Their samples are the same: nothing is left when one is taken from the other.</p>"
        )
    else:
        told = (
            "<p>What is left when the baseline is taken from the change. Turned up it shows what "
            "kind of thing it is, not how loud it is; it would not get any louder than this, for "
            f"{escape(made.capped_by)} is the cap.</p>"
            f'<p class="caution">{escape(CAUTIONS["hearing"])}</p>'
            f'<ul class="rows" aria-label="The difference">{"".join(rows)}</ul>'
        )
    return f'<section class="difference"><h2>The difference alone</h2>{told}</section>'


def _exaggerated(made: ListeningSet) -> str:
    rows = [_row(n, one) for n, one in _numbered(made) if one.kind in {"music", "exaggerated"}]
    if not rows:
        return ""
    silent = "".join(f"<li>{escape(one.effect)}: {escape(one.why)}</li>" for one in made.not_heard)
    left = f'<p>Nothing to hear of:</p><ul class="silent">{silent}</ul>' if silent else ""
    return (
        "<section><h2>Each effect, exaggerated</h2>"
        "<p>This is not what the stages do: each effect was rendered alone and made many times "
        "stronger, so that you know what to listen for. Switch to the music for comparison; all "
        "play at one loudness.</p>"
        f'<ul class="rows" aria-label="Exaggerations">{"".join(rows)}</ul>{left}</section>'
    )
