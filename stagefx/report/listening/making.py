"""The making of a sighted listening set: versions, difference, exaggerations, cards, page."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from stagefx.audition.audition import Audition
from stagefx.audition.comparison import Comparison
from stagefx.circuit.description.stage import Stage
from stagefx.dsp.dither import quantise
from stagefx.dsp.resampling import resample
from stagefx.errors import ComparisonError
from stagefx.figures.faults import FaultRemark
from stagefx.hearing.passage import Passage
from stagefx.io.wav_header import sample_bytes, wave_header
from stagefx.report.listening.exaggeration import Exaggeration, NotHeard, exaggerate
from stagefx.report.listening.levels import TurnedUp, level_matched, turned_up
from stagefx.report.listening.tracks import CARDS_NAME, LIST_NAME, PAGE_NAME, ListeningSet, Track

Array = NDArray[np.float64]
Ends = tuple[float, float] | None

PLAYED_RATES_HZ = (44100, 48000)
_CHOSEN = "as it was asked for"
_NO_SOUND_OF_ITS_OWN = (
    "The stages' own noise and hum are left out of the two versions and of their difference: "
    "noise would be all that is heard of a difference turned up. It is among the exaggerations."
)


@dataclass(frozen=True)
class _Material:
    """What a set is made of."""

    first: str
    second: str
    music: str
    passage: Passage
    rate_hz: int
    versions: tuple[Array, ...]
    exaggerations: tuple[Exaggeration, ...] = ()
    not_heard: tuple[NotHeard, ...] = ()
    remarks: tuple[str, ...] = ()


def of_files(
    first: str | Path,
    second: str | Path,
    inside: Path,
    *,
    passage: Ends,
    level_db: float,
    seed: int,
) -> ListeningSet:
    """Make the set of two audio files."""
    with Audition.of_files(first, second, listening_level_db=level_db) as audition:
        chosen = _passage(audition, passage)
        versions = audition.excerpt(chosen.ends)
        found = audition.compare(chosen.ends)
    names = Path(first).stem, Path(second).stem
    material = _Material(*names, names[0], chosen, found.difference.rate_hz, versions)
    return _write(inside, material, found, {}, seed)


def of_stages(
    first: Stage,
    second: Stage,
    music: str | Path,
    inside: Path,
    *,
    passage: Ends,
    level_db: float,
    seed: int,
) -> ListeningSet:
    """Make the set of music through two stages."""
    from stagefx.report.plots.cards import draw_stage_cards

    with Audition.of_stages(
        first, second, music, listening_level_db=level_db, seed=seed
    ) as audition:
        chosen = _passage(audition, passage)
        versions = audition.excerpt(chosen.ends)
        found = audition.compare(chosen.ends)
        exaggerations, silent, played = exaggerate(audition, chosen.ends, seed=seed)
    material = _Material(
        first.name, second.name, Path(music).stem, chosen, found.difference.rate_hz,
        (*versions, played), exaggerations, silent, (_NO_SOUND_OF_ITS_OWN,),
    )  # fmt: skip
    return _write(inside, material, found, draw_stage_cards(second), seed)


def _passage(audition: Audition, asked: tuple[float, float] | None) -> Passage:
    return audition.choose_passage() if asked is None else Passage(*asked, _CHOSEN)


def _write(
    inside: Path, material: _Material, found: Comparison, more_cards: dict[str, Any], seed: int
) -> ListeningSet:
    from stagefx.report.listening.player import build_player
    from stagefx.report.plots.cards import draw_cards, write_cards

    material = _at_played_rate(material)
    tracks, sounds, up = _tracks(material)
    drawn = {**draw_cards(found, start_s=material.passage.start_s), **more_cards}
    cards = write_cards(drawn, inside / CARDS_NAME)
    made = ListeningSet(
        material.first,
        material.second,
        material.music,
        material.passage,
        material.rate_hz,
        tracks,
        material.not_heard,
        None if up is None else up.gain_db,
        "" if up is None else up.capped_by,
        cards,
        (*_faults(material, found), *material.remarks),
    )
    codes = {
        track.file: quantise(sound, bits=track.bits, first_frame=0, seed=seed, stream=n).codes
        for n, (track, sound) in enumerate(zip(tracks, sounds, strict=True))
    }
    for track in tracks:
        wave = _wave(codes[track.file], made.rate_hz, "24" if track.bits == 24 else "16")
        (inside / track.file).write_bytes(wave)
    page = build_player(made, codes, verdict=found.verdict.sentence)
    (inside / PAGE_NAME).write_text(page, encoding="utf-8")
    text = json.dumps(made.as_json(), indent=1, ensure_ascii=False)
    (inside / LIST_NAME).write_text(text + "\n", encoding="utf-8")
    return made


def _faults(material: _Material, found: Comparison) -> tuple[str, ...]:
    """What has to be put right before sound is talked of, stage by stage."""
    return tuple(
        FaultRemark(f"{name}: {remark.sentence}")
        for name, report in zip((material.first, material.second), found.renders, strict=False)
        for remark in report.remarks
        if isinstance(remark, FaultRemark)
    )


def _wave(steps: NDArray[np.int32], rate_hz: int, bits: Literal["16", "24"]) -> bytes:
    frames, channels = steps.shape
    header = wave_header(rate_hz=rate_hz, channels=channels, bits=bits, frames=frames)
    return header + sample_bytes(steps, bits)


def _at_played_rate(material: _Material) -> _Material:
    """One or two channels at a rate that every browser plays."""
    channels = material.versions[0].shape[1]
    if channels > 2:
        raise ComparisonError(f"a listening page plays one or two channels, not {channels}")
    if material.rate_hz in PLAYED_RATES_HZ:
        return material

    def moved(sound: Array) -> Array:
        return resample(sound, material.rate_hz, PLAYED_RATES_HZ[1])

    return replace(
        material,
        rate_hz=PLAYED_RATES_HZ[1],
        versions=tuple(map(moved, material.versions)),
        exaggerations=tuple(
            replace(one, samples=moved(one.samples)) for one in material.exaggerations
        ),
        remarks=(*material.remarks, "The files are at 48 kHz, a rate that every browser plays."),
    )


def _tracks(material: _Material) -> tuple[tuple[Track, ...], tuple[Array, ...], TurnedUp | None]:
    """What is listened to, all of it made even together."""
    sounds = [*material.versions, *(one.samples for one in material.exaggerations)]
    even = level_matched(sounds, material.rate_hz)
    baseline, change, *rest = even
    up = turned_up(change - baseline, baseline, material.rate_hz)
    if up is None and not material.exaggerations:
        raise ComparisonError("the two versions are the same: there is nothing to hear")
    listed: list[tuple[Track, Array]] = [
        (Track("01-baseline.wav", "baseline", material.first), baseline),
        (Track("02-change.wav", "change", material.second), change),
    ]
    listed += _differences(change - baseline, up)
    if len(material.versions) > 2:
        listed.append((Track("05-music.wav", "music", "the music, through no stage"), rest[0]))
    for n, (one, sound) in enumerate(zip(material.exaggerations, rest[1:], strict=False)):
        track = Track(
            f"{n + 6:02d}-{one.effect}-exaggerated.wav",
            "exaggerated",
            _exaggeration_title(one),
            effect=one.effect,
            times=one.times,
        )
        listed.append((track, sound))
    tracks, kept = zip(*listed, strict=True)
    return tuple(tracks), tuple(kept), up


def _differences(difference: Array, up: TurnedUp | None) -> Sequence[tuple[Track, Array]]:
    if up is None:
        return ()
    made = []
    if up.gain_db >= 0.0:
        made.append((Track("03-difference.wav", "difference", "as it is"), difference))
    word = "up" if up.gain_db >= 0.0 else "down"
    title = f"turned {word} {abs(up.gain_db):.0f} dB, volume capped"
    name = f"04-difference-turned-{word}.wav"
    made.append((Track(name, "turned up", title, gain_db=up.gain_db), up.samples))
    return made


def _exaggeration_title(one: Exaggeration) -> str:
    if one.times == 1.0:
        return f"{one.effect} alone, of {one.stage}, large enough as it is"
    return f"{one.effect} alone, of {one.stage}, exaggerated {one.times:,.0f} times"
