"""Two versions of a piece, or two stages with music, compared and judged."""

from __future__ import annotations

import tempfile
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stagefx.audio.files import AudioReader, open_audio
from stagefx.audio.recording import Recording
from stagefx.audio.writing import AudioWriter
from stagefx.difference import Difference, residue_blocks, take_apart
from stagefx.effects.ready import prepare
from stagefx.effects.render import render
from stagefx.effects.report import RenderReport
from stagefx.errors import ComparisonError
from stagefx.hearing.ledger import LedgerRow, build_ledger
from stagefx.hearing.level_at_ear import USUAL_LISTENING_DB, LevelAtEar, level_of
from stagefx.hearing.noise import NoiseChange, dither_over_db, noise_change
from stagefx.hearing.stage_noise import noise_at_seat
from stagefx.hearing.verdict import Basis, Conditions, LevelBy, Verdict, pass_verdict
from stagefx.stage.description import Stage


@dataclass(frozen=True)
class Comparison:
    """What changed from a first version to a second, and whether it would be heard.

    Parameters
    ----------
    difference : Difference
        Level, balance, time, response, remainder.
    level_at_ear : LevelAtEar
        How loud full scale is at the seat.
    ledger : tuple of LedgerRow
        Every kind of difference, set against hearing.
    verdict : Verdict
        Grade, sentence, conditions, what would change it.
    renders : tuple of RenderReport
        Of the two stages; empty where audio files were compared.
    remarks : tuple of str
        What the reader has to know.
    """

    difference: Difference
    level_at_ear: LevelAtEar
    ledger: tuple[LedgerRow, ...]
    verdict: Verdict
    renders: tuple[RenderReport, ...] = ()
    remarks: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The comparison as plain values.

        Returns
        -------
        dict
            The keys of ``stagefx compare --json``; ``{"value": None, "reason": …}`` where there
            is no number.
        """
        from stagefx.hearing.report import comparison_as_json

        return comparison_as_json(self)


@dataclass(frozen=True)
class _Told:
    """What is known of two versions beside their audio."""

    music: str
    basis: Basis = "calculated"
    noise: NoiseChange | None = None
    room_noise_dba: float | None = None
    renders: tuple[RenderReport, ...] = ()


def compare_recordings(
    first: Recording,
    second: Recording,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "nothing",
    passage: tuple[float, float] | None = None,
) -> Comparison:
    """Compare two versions of a piece and judge the difference.

    Parameters
    ----------
    first, second : Recording
        Open files or held audio, of one rate and number of channels.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat while the first plays.
    level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
        What a listener's level match is taken to take away.
    passage : tuple of two float, s
        From where to where in the first to compare; all where left out.

    Returns
    -------
    Comparison
        The difference, the ledger and the verdict.

    Raises
    ------
    ComparisonError
        They cannot be compared, the passage does not lie in the first, or the listening level is
        out of reason.

    Examples
    --------
    >>> import numpy as np
    >>> from stagefx.audio.recording import HeldAudio
    >>> noise = 0.1 * np.random.default_rng(1).standard_normal((96000, 2))
    >>> one, other = HeldAudio(noise, 48000), HeldAudio(0.99 * noise, 48000)
    >>> found = compare_recordings(one, other)
    >>> round(found.ledger[0].value, 4), found.verdict.grade.value
    (0.0873, 'should not be heard')
    """
    told = _Told(music=f"{_name(first)} against {_name(second)}")
    start, stop = _frames(first, passage)
    difference, ear = _measured(first, second, start, stop, listening_level_db)
    return _judged(first, difference, ear, level_by, told)


def compare_files(
    first: str | Path,
    second: str | Path,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "nothing",
    passage: tuple[float, float] | None = None,
    residue: str | Path | None = None,
    force: bool = False,
) -> Comparison:
    """Compare two audio files and judge the difference.

    Parameters
    ----------
    first, second : str or Path
        Two versions of a piece.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat while the first plays.
    level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
        What a listener's level match is taken to take away.
    passage : tuple of two float, s
        From where to where in the first to compare; all where left out.
    residue : str or Path
        Where to write what is left after gain and delay, at the first's gain.
    force : bool
        Whether a residue that is there may be replaced.

    Returns
    -------
    Comparison
        The difference, the ledger and the verdict.

    Raises
    ------
    AudioError
        A file cannot be read.
    ComparisonError
        They cannot be compared.
    OutputError
        The residue cannot be written.

    Examples
    --------
    >>> from stagefx.evidence.scenario import samples_folder
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> compare_files(trio, trio, passage=(2.0, 4.0)).verdict.grade.value
    'below what can be measured'
    """
    with open_audio(first) as one, open_audio(second) as other, ExitStack() as outputs:
        told = _Told(music=f"{_name(one)} against {_name(other)}")
        start, stop = _frames(one, passage)
        writer = _residue_writer(one, residue, outputs, force=force)
        difference, ear = _measured(one, other, start, stop, listening_level_db)
        _write_residue(writer, one, other, difference)
        return _judged(one, difference, ear, level_by, told)


def compare_stages(
    first: Stage,
    second: Stage,
    music: str | Path,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "gain",
    passage: tuple[float, float] | None = None,
    residue: str | Path | None = None,
    force: bool = False,
    seed: int = 0,
) -> Comparison:
    """Play music through two stages, compare the results and judge the difference.

    Parameters
    ----------
    first, second : Stage
        Each with a source level.
    music : str or Path
        An audio file.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat while the first plays; a knob set by listening follows it.
    level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
        How the two results are matched, each for itself.
    passage : tuple of two float, s
        From where to where in the music to compare; all where left out.
    residue : str or Path
        Where to write what is left after gain and delay, at the first's gain.
    force : bool
        Whether a residue that is there may be replaced.
    seed : int
        Of whatever chance the effects use.

    Returns
    -------
    Comparison
        As for files, the stages' own noise judged as well.

    Raises
    ------
    StagefxError
        A stage, the music or the residue's place cannot be used.

    Notes
    -----
    The results are kept in floating point in a temporary folder while they are compared.  The
    stages' own noise is not in them: it is worked out band by band for its row, and would pass
    for response where the music has nothing.  So the remainder is distortion alone.

    Examples
    --------
    >>> from stagefx.evidence.scenario import samples_folder
    >>> from stagefx.stage import load_stage
    >>> stage, trio = load_stage("line-stage"), samples_folder() / "music" / "trio.flac"
    >>> compare_stages(stage, stage, trio, passage=(2.0, 4.0)).verdict.grade.value
    'below what can be measured'
    """
    with tempfile.TemporaryDirectory(prefix="stagefx-") as folder, ExitStack() as outputs:
        with open_audio(music) as original:
            start, stop = _frames(original, passage)
            writer = _residue_writer(original, residue, outputs, force=force)
            name = _name(original)
            circuits = [
                prepare(stage, original, listening_level_db=listening_level_db).knob.circuit
                for stage in (first, second)
            ]
        places = [Path(folder, f"{which}.wav") for which in ("first", "second")]
        renders = tuple(
            render(
                stage, music, place, without=("noise",), level_by=level_by, bits="float",
                seed=seed, listening_level_db=listening_level_db,
            )
            for stage, place in zip((first, second), places, strict=True)
        )  # fmt: skip
        one, other = (outputs.enter_context(open_audio(place)) for place in places)
        difference, ear = _measured(one, other, start, stop, listening_level_db)
        _write_residue(writer, one, other, difference)
        noise, room = noise_at_seat(*circuits, full_scale_spl_db=ear.full_scale_spl_db)
        told = _Told(
            music=f"{name} through '{first.name}' against '{second.name}'",
            noise=noise_change(*noise, room_noise_dba=room),
            room_noise_dba=room,
            renders=renders,
        )
        return _judged(one, difference, ear, level_by, told)


def _name(recording: Recording) -> str:
    return Path(recording.place).name


def _frames(first: Recording, passage: tuple[float, float] | None) -> tuple[int, int | None]:
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


def _measured(
    first: Recording, second: Recording, start: int, stop: int | None, listening_level_db: float
) -> tuple[Difference, LevelAtEar]:
    ear = level_of(first, listening_level_db=listening_level_db)
    return take_apart(first, second, start=start, stop=stop), ear


def _judged(
    first: Recording, difference: Difference, ear: LevelAtEar, level_by: LevelBy, told: _Told
) -> Comparison:
    matched_db = 0.0 if told.renders else _matched_db(difference, level_by)
    floor_db = dither_over_db(
        ear.full_scale_spl_db,
        rate_hz=first.format.rate_hz,
        room_noise_dba=told.room_noise_dba,
    )
    ledger = build_ledger(
        difference, matched_db=matched_db, noise=told.noise, noise_floor_db=floor_db
    )
    conditions = Conditions(
        basis=told.basis,
        listening_level_db=ear.listening_level_db,
        music=told.music,
        level_by=level_by,
        change_db=ledger[0].value or 0.0,
        strained=_strained(told.renders),
        remainder_db=difference.remainder_db,
    )
    remarks = [*ear.remarks, *(remark for report in told.renders for remark in report.remarks)]
    return Comparison(
        difference=difference,
        level_at_ear=ear,
        ledger=ledger,
        verdict=pass_verdict(ledger, conditions),
        renders=told.renders,
        remarks=tuple(dict.fromkeys(remarks)),
    )


def _matched_db(difference: Difference, level_by: LevelBy) -> float:
    """What a level match takes away of the level between two files."""
    if level_by == "nothing":
        return 0.0
    by_loudness = difference.loudness.difference_db
    if level_by == "loudness" and by_loudness is not None:
        return by_loudness
    return difference.alignment.gain_db


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


def _residue_writer(
    first: AudioReader, place: str | Path | None, outputs: ExitStack, *, force: bool
) -> AudioWriter | None:
    """Opened before the work is done, so that a place that cannot be written is told at once."""
    if place is None:
        return None
    made = first.format
    return outputs.enter_context(
        AudioWriter(place, rate_hz=made.rate_hz, channels=made.channels, bits="float", force=force)
    )


def _write_residue(
    writer: AudioWriter | None, first: Recording, second: Recording, difference: Difference
) -> None:
    if writer is None:
        return
    blocks = residue_blocks(
        first, second, difference.alignment, start=difference.start, stop=difference.stop
    )
    for block in blocks:
        writer.write(block)
