"""Two versions of a piece, or two stages with music, compared and judged."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from stagefx.audition.comparison import Comparison
from stagefx.audition.evaluation import Told, frames_of, judged, level_matched_db, name_of
from stagefx.audition.rendered import rendered
from stagefx.audition.residual_file import residue_writer, write_residue
from stagefx.audition.wire import wire_claim
from stagefx.circuit.description.stage import Stage
from stagefx.difference.captured.gap_noise import gap_noise
from stagefx.difference.decomposition import Difference, take_apart
from stagefx.hearing.audibility import LedgerRow, judged_row
from stagefx.hearing.level_at_ear import (
    AS_DESCRIBED,
    USUAL_LISTENING_DB,
    USUAL_ROOM_DBA,
    LevelAtEar,
    Room,
    level_of,
    room_of,
)
from stagefx.hearing.rows.dc import DIRECT_VOLTAGE, direct_voltage
from stagefx.hearing.rows.gaps import gap_rows
from stagefx.hearing.rows.masked_hum import masked_hum_row
from stagefx.hearing.rows.noise import dither_over_db, noise_change
from stagefx.hearing.rows.stage_noise import noise_at_seat
from stagefx.hearing.rows.stages import stage_rows
from stagefx.hearing.rows.worst_knob import worst_knob
from stagefx.hearing.verdict import LevelBy
from stagefx.io.files import AudioReader, open_audio
from stagefx.io.recording import Recording
from stagefx.render.preparation import prepare, programme_level_db, set_by_listening
from stagefx.units import decibels


def compare_recordings(
    first: Recording,
    second: Recording,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "nothing",
    room_dba: float | None = USUAL_ROOM_DBA,
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
    room_dba : float or None, dBA
        Noise of the room at the seat; None for a room that hides nothing.
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
    >>> from stagefx.io.recording import HeldAudio
    >>> noise = 0.1 * np.random.default_rng(1).standard_normal((96000, 2))
    >>> one, other = HeldAudio(noise, 48000), HeldAudio(0.99 * noise, 48000)
    >>> found = compare_recordings(one, other)
    >>> level = next(row for row in found.ledger if row.name == "level")
    >>> round(level.value, 4), found.verdict.grade.value
    (0.0873, 'should not be heard')
    """
    start, stop = frames_of(first, passage)
    difference, ear = _measured(first, second, start, stop, listening_level_db)
    return _judged_files(first, second, difference, ear, level_by, room_dba)


def compare_files(
    first: str | Path,
    second: str | Path,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "nothing",
    room_dba: float | None = USUAL_ROOM_DBA,
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
    room_dba : float or None, dBA
        Noise of the room at the seat; None for a room that hides nothing.
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
    >>> from stagefx.samples import samples_folder
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> compare_files(trio, trio, passage=(2.0, 4.0)).verdict.grade.value
    'below what can be measured'
    """
    with open_audio(first) as one, open_audio(second) as other, ExitStack() as outputs:
        start, stop = frames_of(one, passage)
        writer = residue_writer(one, residue, outputs, force=force)
        difference, ear = _measured(one, other, start, stop, listening_level_db)
        write_residue(writer, one, other, difference)
        return _judged_files(one, other, difference, ear, level_by, room_dba)


def compare_stages(
    first: Stage,
    second: Stage,
    music: str | Path,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "gain",
    room_dba: Room = AS_DESCRIBED,
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
    room_dba : float or None or ``"as described"``, dBA
        Noise of the room at the seat; as the listening chains describe it, else 30 dBA.
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
    stages' own noise and hum are not in them: they are worked out band by band for their rows, and
    would pass for response where the music has nothing.  So the remainder is distortion alone.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.circuit.description.files import load_stage
    >>> stage, trio = load_stage("line-stage"), samples_folder() / "music" / "trio.flac"
    >>> compare_stages(stage, stage, trio, passage=(2.0, 4.0)).verdict.grade.value
    'below what can be measured'
    """
    with ExitStack() as outputs:
        with open_audio(music) as original:
            start, stop = frames_of(original, passage)
            writer = residue_writer(original, residue, outputs, force=force)
            name = name_of(original)
            programme_db = None
            if any(set_by_listening(stage) for stage in (first, second)):
                programme_db = programme_level_db(original)
            circuits = [
                prepare(
                    stage,
                    original,
                    listening_level_db=listening_level_db,
                    programme_db=programme_db,
                ).knob.circuit
                for stage in (first, second)
            ]
        pair = rendered(
            (first, second), music,
            listening_level_db=listening_level_db, level_by=level_by, seed=seed,
            programme_db=programme_db,
        )  # fmt: skip
        (one, other), renders = outputs.enter_context(pair)
        difference, ear = _measured(one, other, start, stop, listening_level_db, together=True)
        write_residue(writer, one, other, difference)
        direct = direct_voltage(circuits)
        spl_db = ear.full_scale_spl_db
        noise = noise_at_seat(*circuits, full_scale_spl_db=spl_db)

        def rows(room_dba: float | None) -> tuple[LedgerRow, ...]:
            change = noise_change(*noise, room_noise_dba=room_dba)
            floor_db = dither_over_db(spl_db, rate_hz=one.format.rate_hz, room_noise_dba=room_dba)
            own = judged_row("noise", change.over_db, floor=floor_db, at_hz=change.hz)
            return own, *stage_rows(
                circuits[0], circuits[1], renders, full_scale_spl_db=spl_db, room_dba=room_dba
            )

        told = Told(
            music=f"{name} through '{first.name}' against '{second.name}'",
            room_dba=room_of(room_dba, first, second),
            renders=renders,
            rows=rows,
            remarks=direct.remarks,
        )
        found = judged((one, other), difference, ear, level_by, told)
        claim = wire_claim(first, second, found.ledger, found.verdict)
        unjudged = () if direct.judged else (DIRECT_VOLTAGE,)
        turned = worst_knob(
            *circuits, full_scale_spl_db=spl_db, room_noise_dba=told.room_dba,
            grade_in_use=found.verdict.grade,
        )  # fmt: skip
        return replace(
            found,
            remarks=(*claim, *found.remarks),
            verdict=replace(found.verdict, not_judged=(*found.verdict.not_judged, *unjudged)),
            worst_knob=turned,
        )


def _measured(
    first: Recording,
    second: Recording,
    start: int,
    stop: int | None,
    listening_level_db: float,
    *,
    together: bool = False,
) -> tuple[Difference, LevelAtEar]:
    def ear() -> LevelAtEar:
        if not (isinstance(first, AudioReader) and Path(first.place).is_file()):
            return level_of(first, listening_level_db=listening_level_db)
        with open_audio(first.place) as again:  # a reader belongs to one thread
            return level_of(again, listening_level_db=listening_level_db)

    with ThreadPoolExecutor(1, thread_name_prefix="level") as beside:
        level = beside.submit(ear)
        if not isinstance(first, AudioReader):
            level.result()
        difference = take_apart(first, second, start=start, stop=stop, together=together)
        return difference, level.result()


def _judged_files(
    first: Recording,
    second: Recording,
    difference: Difference,
    ear: LevelAtEar,
    level_by: LevelBy,
    room_dba: float | None,
) -> Comparison:
    gap, made = gap_noise(first, second, difference), first.format

    def rows(room_dba: float | None) -> tuple[LedgerRow, ...]:
        floor_db = dither_over_db(
            ear.full_scale_spl_db, rate_hz=made.rate_hz, room_noise_dba=room_dba
        )
        noise, hum = gap_rows(
            gap,
            full_scale_spl_db=ear.full_scale_spl_db,
            channels=made.channels,
            room_dba=room_dba,
            matched_db=level_matched_db(difference, level_by),
            noise_floor_db=floor_db + decibels(made.channels) / 2.0,
        )
        if hum.value is not None:
            return noise, hum
        masked = masked_hum_row(
            first, difference, full_scale_spl_db=ear.full_scale_spl_db, room_dba=room_dba
        )
        return noise, masked or hum

    told = Told(
        music=f"{name_of(first)} against {name_of(second)}", room_dba=room_dba, rows=rows, gap=gap
    )
    return judged((first, second), difference, ear, level_by, told)
