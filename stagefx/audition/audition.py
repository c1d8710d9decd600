"""Two versions of a piece of music, worked out once, and asked many things."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Literal, Self

from stagefx.audition.comparison import Comparison
from stagefx.audition.evaluation import frames_of, name_of
from stagefx.audition.judging import Measured, judge_files, judge_stages
from stagefx.audition.pair import Pair
from stagefx.audition.residual_file import residual_writer, write_residual
from stagefx.audition.steps import Steps
from stagefx.audition.versions import (
    JUDGED_APART,
    FileVersion,
    Playing,
    StageVersion,
    Version,
    replaced,
    version_of,
)
from stagefx.circuit.description.files import with_values
from stagefx.circuit.description.stage import Stage
from stagefx.errors import ComparisonError
from stagefx.hearing.level_at_ear import (
    AS_DESCRIBED,
    USUAL_LISTENING_DB,
    Room,
    check_listening_level,
    room_of,
)
from stagefx.hearing.passage import USUAL_PASSAGE_S, Passage
from stagefx.hearing.verdict import LevelBy
from stagefx.io.recording import Recording

if TYPE_CHECKING:
    from stagefx.audition.coding import Coding
    from stagefx.audition.delivery import Delivery
    from stagefx.audition.margin import Margin

Side = Literal["baseline", "change", "both"]


class Audition(Pair):
    """Two versions of a piece of music, worked out once, and asked many things.

    Made by `of_stages` or `of_files`; a context manager.  What an answer needs (stages prepared,
    versions rendered, aligned, taken apart, heard) is worked out when it is first asked for, and
    shared by all further answers and by what `with_value` and `changed` make of it.

    Parameters
    ----------
    first, second : Version
        The baseline and the change.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat while the first plays.
    level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
        How levels are matched.
    room_dba : float, None or ``"as described"``, dBA
        Noise of the room at the seat.
    steps : Steps
        What is worked out already.

    Notes
    -----
    Rendered versions lie in a temporary folder, which goes when the first audition is closed.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.samples import samples_folder
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> stages = load_stage("line-stage"), load_stage("line-stage-quick")
    >>> with Audition.of_stages(*stages, trio) as audition:
    ...     found = audition.compare((2.0, 4.0))
    ...     loaded = audition.with_value("load.capacitance", "1 uF").compare((2.0, 4.0))
    >>> found.verdict.grade.value, loaded.verdict.grade.value
    ('should not be heard', 'will be heard')
    """

    _owns = True

    @classmethod
    def of_stages(
        cls,
        first: Stage,
        second: Stage,
        music: str | Path,
        *,
        listening_level_db: float = USUAL_LISTENING_DB,
        level_by: LevelBy = "gain",
        room_dba: Room = AS_DESCRIBED,
        seed: int = 0,
        without: Sequence[str] = JUDGED_APART,
    ) -> Audition:
        """Music through two stages.

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
        seed : int
            Of whatever chance the effects use.
        without : sequence of str
            Effects that are not rendered: noise and hum, which are worked out band by band for
            rows of their own and would pass for response where the music has nothing.

        Returns
        -------
        Audition
            Nothing is worked out yet.
        """
        steps = Steps()
        file = FileVersion(music, steps, often=False)
        playing = Playing(listening_level_db, level_by, seed, tuple(without))
        versions = (StageVersion(stage, file, playing, steps) for stage in (first, second))
        return cls(
            *versions,
            listening_level_db=listening_level_db,
            level_by=level_by,
            room_dba=room_dba,
            steps=steps,
        )

    @classmethod
    def of_files(
        cls,
        first: str | Path | Recording,
        second: str | Path | Recording,
        *,
        listening_level_db: float = USUAL_LISTENING_DB,
        level_by: LevelBy = "nothing",
        room_dba: Room = AS_DESCRIBED,
    ) -> Audition:
        """Two audio files that are versions of one piece.

        Parameters
        ----------
        first, second : str, Path or Recording
            Files; or what is open, or held in memory, and stays its owner's.
        listening_level_db : float, dB, 0 to 120
            A-weighted level at the seat while the first plays.
        level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
            What a listener's level match is taken to take away.
        room_dba : float or None or ``"as described"``, dBA
            Noise of the room at the seat; 30 dBA unless it is given.

        Returns
        -------
        Audition
            Nothing is worked out yet.
        """
        steps = Steps()
        versions = (version_of(one, steps) for one in (first, second))
        return cls(
            *versions,
            listening_level_db=listening_level_db,
            level_by=level_by,
            room_dba=room_dba,
            steps=steps,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Remove the temporary files; an audition made from another one leaves them to that."""
        if self._owns:
            self._steps.close()

    def changed(
        self,
        *,
        first: Stage | Path | Version | None = None,
        second: Stage | Path | Version | None = None,
        listening_level_db: float | None = None,
        level_by: LevelBy | None = None,
        room_dba: Room | Literal["unchanged"] = "unchanged",
    ) -> Audition:
        """The same audition with something else in it, sharing all that does not depend on that.

        Parameters
        ----------
        first, second : Stage, Path, Version or None
            Instead of the baseline or the change: another stage, another file.
        listening_level_db : float or None, dB
            Instead of the listening level.
        level_by : ``"gain"``, ``"loudness"``, ``"nothing"`` or None
            Instead of how levels are matched.
        room_dba : float or None or ``"as described"``, dBA
            Instead of the room.

        Returns
        -------
        Audition
            Nothing but what is shared is worked out yet.
        """
        level_db = self.listening_level_db if listening_level_db is None else listening_level_db
        by = level_by or self.level_by
        versions = (
            replaced(old, new, self._steps, level_db, by)
            for old, new in ((self.first, first), (self.second, second))
        )
        made = Audition(
            *versions,
            listening_level_db=level_db,
            level_by=by,
            room_dba=self.room_dba if room_dba == "unchanged" else room_dba,
            steps=self._steps,
        )
        made._owns = False
        return made

    def with_value(self, key: str, value: Any, *, side: Side = "change") -> Audition:
        """One value of a stage changed.

        Parameters
        ----------
        key : str
            ``TABLE.KEY`` as in a stage file, for example ``"output_cable.length"``.
        value : str, float or list
            As in a stage file, for example ``"20 m"``.
        side : ``"change"``, ``"baseline"`` or ``"both"``
            Whose value.

        Returns
        -------
        Audition
            Shares all that does not depend on the value.

        Raises
        ------
        StageError
            An unknown key, or a value that cannot be.
        ComparisonError
            There are no stages here.
        """
        table, _, name = key.partition(".")
        new: dict[str, Stage] = {}
        for place, which in (("first", "baseline"), ("second", "change")):
            if side not in {which, "both"}:
                continue
            version = getattr(self, place)
            if not isinstance(version, StageVersion):
                raise ComparisonError("audio files hold no stage whose values could be changed")
            new[place] = with_values(version.stage, {table: {name: value}}, where=key)
        return self.changed(first=new.get("first"), second=new.get("second"))

    def compare(
        self,
        passage: tuple[float, float] | None = None,
        *,
        residual: str | Path | None = None,
        force: bool = False,
    ) -> Comparison:
        """What changed, and whether it would be heard.

        Parameters
        ----------
        passage : tuple of two float, s
            From where to where in the first to compare; all where left out.
        residual : str or Path
            Where to write what is left after gain and delay, at the first's gain.
        force : bool
            Whether a residual that is there may be replaced.

        Returns
        -------
        Comparison
            The difference, the audibility table and the verdict.

        Raises
        ------
        AudioError
            A file cannot be read.
        ComparisonError
            The two cannot be compared, or the listening level is out of reason.
        StagefxError
            A stage or the residual's place cannot be used.
        """
        check_listening_level(self.listening_level_db)
        with ExitStack() as outputs:
            origin = self.stages[0].music if self.stages else self.first
            with origin.open() as original:
                frames = frames_of(original, passage)
                writer = residual_writer(original, residual, outputs, force=force)
                name = name_of(original)
            if self.stages:
                for stage in self.stages:
                    _ = stage.played
            with self.open() as pair:
                difference, ear = self.measured(pair, frames)
                write_residual(writer, *pair, difference)
                measured = Measured(
                    pair, difference, ear, self.level_by, self.room, self.hearing(frames)
                )
                if self.stages:
                    return judge_stages(measured, self.stages, music=name)
                gap = self.gap_noise(pair, difference, frames)
                return judge_files(measured, gap, (self.first.name, self.second.name))

    def deliver(
        self,
        passage: tuple[float, float] | None = None,
        *,
        codings: Sequence[Coding] | None = None,
    ) -> Delivery:
        """Whether the difference survives lossy coding.

        Parameters
        ----------
        passage : tuple of two float, s
            What to go by; chosen where left out.
        codings : sequence of Coding or None
            Ways of coding; all that audiences usually get where left out.

        Returns
        -------
        Delivery
            The coding's own change beside the pair's.

        Raises
        ------
        StagefxError
            A version cannot be used, or not be coded.
        """
        from stagefx.audition.coding import CODINGS
        from stagefx.audition.delivery import deliver

        ear, alignment = self.level_at_ear, self.alignment
        if passage is None:
            chosen = self.choose_passage()
            passage = (chosen.start_s, chosen.stop_s)
        with self.open() as pair:
            return deliver(
                *pair, codings=codings or CODINGS, passage=passage, alignment=alignment, ear=ear
            )

    def margin(self, passage: tuple[float, float] | None = None, *, whole: bool = False) -> Margin:
        """How far the cause of each effect of the second stage would have to grow to be heard.

        Parameters
        ----------
        passage : tuple of two float, s
            From where to where to listen; chosen where left out.
        whole : bool
            Whether to listen to the whole piece instead of ten seconds.

        Returns
        -------
        Margin
            One factor a cause, to 1 %.

        Raises
        ------
        ComparisonError
            There is no stage here.
        StagefxError
            The stage, the music or the passage cannot be used.
        """
        from stagefx.audition.margin import margins

        stage = self.second
        if not isinstance(stage, StageVersion):
            raise ComparisonError("an audio file holds no cause that could grow; give a stage")
        often = FileVersion(stage.music.place, self._steps)
        beside = self.changed(first=often)
        with often.open() as music:
            seconds = music.format.duration_s
            if passage is not None:
                frames_of(music, passage)
                listened = Passage(*passage, "It was asked for.")
            elif whole or seconds <= USUAL_PASSAGE_S:
                listened = Passage(0.0, seconds, "The whole piece.")
            else:
                chosen = beside.choose_passage()
                listened = replace(chosen, stop_s=min(chosen.stop_s, seconds))
            room_dba = room_of(self.room_dba, stage.stage)
            return margins(stage.played, music, listened, beside.level_at_ear, room_dba)
