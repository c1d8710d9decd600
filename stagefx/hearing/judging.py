"""From a difference to its ledger and its verdict, whatever the difference came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from stagefx.audio.recording import Recording
from stagefx.difference import Captured, Difference, GapNoise
from stagefx.effects.report import RenderReport
from stagefx.errors import ComparisonError
from stagefx.hearing.comparison import Comparison
from stagefx.hearing.ledger import LedgerRow, build_ledger, with_floor
from stagefx.hearing.level_at_ear import LevelAtEar
from stagefx.hearing.noise import NoiseChange, dither_over_db
from stagefx.hearing.verdict import Basis, Conditions, LevelBy, pass_verdict
from stagefx.hearing.witness import listen


@dataclass(frozen=True)
class Told:
    """What is known of two versions beside their audio.

    Parameters
    ----------
    music : str
        What was played, in words.
    basis : ``"calculated"``, ``"measured"`` or ``"heard blind"``
        Where the numbers come from.
    noise : NoiseChange or None
        Of two stages.
    room_noise_dba : float or None, dBA
        The room, where one is described.
    renders : tuple of RenderReport
        Of two stages.
    rows : tuple of LedgerRow
        Rows known from elsewhere; they take the place of the ledger's own.
    gap : GapNoise or None
        Noise in the silences.
    captured : Captured or None
        The instrument's faults and floor.
    floors : mapping of str to float
        By a row's name, the least that an instrument could have found; the larger counts.
    remarks : tuple of str
        What else the reader has to know.
    """

    music: str
    basis: Basis = "calculated"
    noise: NoiseChange | None = None
    room_noise_dba: float | None = None
    renders: tuple[RenderReport, ...] = ()
    rows: tuple[LedgerRow, ...] = ()
    gap: GapNoise | None = None
    captured: Captured | None = None
    floors: Mapping[str, float] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()


def judged(
    pair: tuple[Recording, Recording],
    difference: Difference,
    ear: LevelAtEar,
    level_by: LevelBy,
    told: Told,
) -> Comparison:
    """Listen to two versions, fill the ledger, and pass the verdict.

    Parameters
    ----------
    pair : tuple of two Recording
        Two versions of a piece.
    difference : Difference
        What `take_apart` found between them.
    ear : LevelAtEar
        How loud full scale is at the seat.
    level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
        What a level match takes away of two files; of stages it is done before.
    told : Told
        What is known beside the audio.

    Returns
    -------
    Comparison
        All of it.

    Examples
    --------
    >>> import numpy as np
    >>> from stagefx.audio.recording import HeldAudio
    >>> from stagefx.difference import take_apart
    >>> from stagefx.hearing.level_at_ear import level_of
    >>> noise = HeldAudio(0.1 * np.random.default_rng(1).standard_normal((48000, 1)), 48000)
    >>> ear, nothing = level_of(noise), take_apart(noise, noise)
    >>> judged((noise, noise), nothing, ear, "nothing", Told("noise")).verdict.grade.value
    'below what can be measured'
    """
    matched_db = 0.0 if told.renders else level_matched_db(difference, level_by)
    heard = listen(
        *pair, difference, full_scale_spl_db=ear.full_scale_spl_db, matched_db=matched_db
    )
    floor_db = dither_over_db(
        ear.full_scale_spl_db,
        rate_hz=pair[0].format.rate_hz,
        room_noise_dba=told.room_noise_dba,
    )
    ledger = build_ledger(
        difference,
        heard=heard,
        matched_db=matched_db,
        noise=told.noise,
        noise_floor_db=floor_db,
        rows=told.rows,
    )
    ledger = tuple(
        with_floor(row, told.floors[row.name]) if row.name in told.floors else row for row in ledger
    )
    conditions = Conditions(
        basis=told.basis,
        listening_level_db=ear.listening_level_db,
        music=told.music,
        level_by=level_by,
        change_db=next((row.value for row in ledger if row.name == "level"), None) or 0.0,
        strained=_strained(told.renders),
        remainder_db=difference.remainder_db,
    )
    remarks = [*told.remarks, *ear.remarks, *difference.alignment.remarks]
    remarks += [remark for report in told.renders for remark in report.remarks]
    return Comparison(
        difference=difference,
        level_at_ear=ear,
        heard=heard,
        ledger=ledger,
        verdict=pass_verdict(ledger, conditions),
        renders=told.renders,
        remarks=tuple(dict.fromkeys(remarks)),
        captured=told.captured,
        gap=told.gap,
    )


def level_matched_db(difference: Difference, level_by: LevelBy) -> float:
    """What a level match takes away of the level between two files.

    Parameters
    ----------
    difference : Difference
        What `take_apart` found between them.
    level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
        How they are matched; by gain where they are too short or too quiet for a loudness.

    Returns
    -------
    float, dB
        Level of the second re the first.

    Examples
    --------
    >>> import numpy as np
    >>> from stagefx.audio.recording import HeldAudio
    >>> from stagefx.difference import take_apart
    >>> noise = 0.1 * np.random.default_rng(1).standard_normal((48000, 1))
    >>> found = take_apart(HeldAudio(noise, 48000), HeldAudio(2.0 * noise, 48000))
    >>> level_matched_db(found, "nothing"), round(level_matched_db(found, "gain"), 3)
    (0.0, 6.021)
    """
    if level_by == "nothing":
        return 0.0
    by_loudness = difference.loudness.difference_db
    if level_by == "loudness" and by_loudness is not None:
        return by_loudness
    return difference.alignment.gain_db


def name_of(recording: Recording) -> str:
    """A recording's name without its folder.

    Parameters
    ----------
    recording : Recording
        Any.

    Returns
    -------
    str
        For sentences.

    Examples
    --------
    >>> from stagefx.audio import open_audio
    >>> from stagefx.evidence.scenario import samples_folder
    >>> with open_audio(samples_folder() / "music" / "trio.flac") as music:
    ...     name_of(music)
    'trio.flac'
    """
    return Path(recording.place).name


def frames_of(first: Recording, passage: tuple[float, float] | None) -> tuple[int, int | None]:
    """A passage in frames.

    Parameters
    ----------
    first : Recording
        In whose time the passage is stated.
    passage : tuple of two float, s
        From where to where; all where left out.

    Returns
    -------
    start, stop : int, frames
        The stop is None for the end.

    Raises
    ------
    ComparisonError
        The passage does not lie in the first.

    Examples
    --------
    >>> import numpy as np
    >>> from stagefx.audio.recording import HeldAudio
    >>> frames_of(HeldAudio(np.zeros((96000, 1)), 48000), (0.5, 1.5))
    (24000, 72000)
    """
    if passage is None:
        return 0, None
    made = first.format
    start, stop = (round(second * made.rate_hz) for second in passage)
    if not 0 <= start < stop <= made.frames:
        raise ComparisonError(
            f"{first.place} has no passage from {passage[0]:g} s to {passage[1]:g} s; give two "
            f"times in order, between 0 and {made.frames / made.rate_hz:.6g} s"
        )
    return start, stop


def _strained(renders: tuple[RenderReport, ...]) -> tuple[str, ...]:
    """Where a stage clipped or slewed, in words."""
    said = []
    for which, report in zip(("first", "second"), renders, strict=False):
        for what, frames in (("clips", report.clipped_frames), ("slews", report.slewing_frames)):
            if any(frames):
                share = 100.0 * max(frames) / max(report.frames, 1)
                amount = f"{share:.2g} %" if share >= 0.01 else "less than 0.01 %"
                said.append(f"the {which} stage {what} in {amount} of the music")
    return tuple(said)
