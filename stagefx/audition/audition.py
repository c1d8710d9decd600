"""Two versions of a piece of music, worked out once, and asked many things."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Literal, Self

import numpy as np
from numpy.typing import NDArray

from stagefx.align.alignment import Alignment, align
from stagefx.audition.comparison import Comparison
from stagefx.audition.evaluation import Hear, frames_of, hear, name_of
from stagefx.audition.judging import Measured, judge_files, judge_stages
from stagefx.audition.residual_file import residue_writer, write_residue
from stagefx.audition.steps import Steps
from stagefx.audition.versions import (
    JUDGED_APART,
    FileVersion,
    HeldVersion,
    Playing,
    StageVersion,
    Version,
    render_versions,
)
from stagefx.circuit.description.files import with_values
from stagefx.circuit.description.stage import Stage
from stagefx.difference.captured.gap_noise import gap_noise
from stagefx.difference.decomposition import Difference, take_apart
from stagefx.difference.pairs import side_by_side
from stagefx.errors import ComparisonError
from stagefx.hearing.ear_model import Heard
from stagefx.hearing.level_at_ear import (
    AS_DESCRIBED,
    USUAL_LISTENING_DB,
    LevelAtEar,
    Room,
    check_listening_level,
    level_at_ear,
    room_of,
)
from stagefx.hearing.passage import USUAL_PASSAGE_S, Passage, choose_passage
from stagefx.hearing.verdict import LevelBy
from stagefx.io.recording import Recording

if TYPE_CHECKING:
    from stagefx.audition.coding import Coding
    from stagefx.audition.delivery import Delivery
    from stagefx.audition.margin import Margin

Array = NDArray[np.float64]
Side = Literal["baseline", "change", "both"]


class Audition:
    """Two versions of a piece of music, worked out once, and asked many things.

    Made by `of_stages`, `of_files` or `of_recordings`; a context manager.  What an answer needs
    (the stages prepared, the music's level, the two versions rendered, aligned, taken apart, heard)
    is worked out when it is first asked for, and shared by all further answers, and by the
    auditions that `with_value` and `changed` make, as far as nothing changed that it depends on.

    Parameters
    ----------
    first, second : Version
        What is set side by side: the baseline and the change.
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
    Rendered versions are kept in single precision in a temporary folder, so memory does not grow
    with duration; the folder goes when the audition that was made first is closed.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.samples import samples_folder
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> stages = load_stage("line-stage"), load_stage("line-stage-quick")
    >>> with Audition.of_stages(*stages, trio) as audition:
    ...     found = audition.compare((2.0, 4.0))
    ...     longer = audition.with_value("output_cable.length", "300 m").compare((2.0, 4.0))
    >>> found.verdict.grade.value, longer.verdict.grade.value
    ('below what can be measured', 'may be heard')
    """

    def __init__(
        self,
        first: Version,
        second: Version,
        *,
        listening_level_db: float,
        level_by: LevelBy,
        room_dba: Room,
        steps: Steps,
    ) -> None:
        self.first, self.second = first, second
        self.listening_level_db, self.level_by = listening_level_db, level_by
        self.room_dba = room_dba
        self._steps, self._owner = steps, True

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
        first: str | Path,
        second: str | Path,
        *,
        listening_level_db: float = USUAL_LISTENING_DB,
        level_by: LevelBy = "nothing",
        room_dba: Room = AS_DESCRIBED,
    ) -> Audition:
        """Two audio files that are versions of one piece.

        Parameters
        ----------
        first, second : str or Path
            The files.
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
        versions = (FileVersion(place, steps) for place in (first, second))
        return cls(
            *versions,
            listening_level_db=listening_level_db,
            level_by=level_by,
            room_dba=room_dba,
            steps=steps,
        )

    @classmethod
    def of_recordings(
        cls,
        first: Recording,
        second: Recording,
        *,
        listening_level_db: float = USUAL_LISTENING_DB,
        level_by: LevelBy = "nothing",
        room_dba: Room = AS_DESCRIBED,
    ) -> Audition:
        """Two versions of a piece that are open, or held in memory.

        Parameters
        ----------
        first, second : Recording
            Open files or held audio; they stay their owner's.
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
        versions = (HeldVersion(one, steps) for one in (first, second))
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
        if self._owner:
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
            self._replaced(old, new, level_db, by)
            for old, new in ((self.first, first), (self.second, second))
        )
        made = Audition(
            *versions,
            listening_level_db=level_db,
            level_by=by,
            room_dba=self.room_dba if room_dba == "unchanged" else room_dba,
            steps=self._steps,
        )
        made._owner = False
        return made

    def _replaced(
        self, old: Version, new: Stage | Path | Version | None, level_db: float, by: LevelBy
    ) -> Version:
        if isinstance(new, Path):
            return FileVersion(new, self._steps)
        version = old if new is None or isinstance(new, Stage) else new
        if not isinstance(version, StageVersion):
            if isinstance(new, Stage):
                raise ComparisonError("audio files hold no stage that could be changed")
            return version
        stage = new if isinstance(new, Stage) else version.stage
        playing = replace(version.playing, listening_level_db=level_db, level_by=by)
        return StageVersion(stage, version.music, playing, self._steps)

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

    @property
    def stages(self) -> tuple[StageVersion, StageVersion] | None:
        """Both versions, where they are music through stages."""
        if isinstance(self.first, StageVersion) and isinstance(self.second, StageVersion):
            return self.first, self.second
        return None

    @property
    def room(self) -> float | None:
        """The room's noise, dBA; None where it hides nothing."""
        return room_of(self.room_dba, *(one.stage for one in self.stages or ()))

    @contextmanager
    def open(self) -> Iterator[tuple[Recording, Recording]]:
        """Both versions, to be read on one thread."""
        if self.stages:
            render_versions(self.stages, self._steps)
        with self.first.open() as one, self.second.open() as other:
            yield one, other

    @property
    def level_at_ear(self) -> LevelAtEar:
        """How loud full scale is at the seat while the first plays."""
        check_listening_level(self.listening_level_db)
        return level_at_ear(self.first.level_db(), listening_level_db=self.listening_level_db)

    @property
    def alignment(self) -> Alignment:
        """How the second lies beside the first, as a whole."""

        def work() -> Alignment:
            with self.open() as pair:
                return align(*pair)

        return self._steps.once(("alignment", *self._keys), work)

    @property
    def _keys(self) -> tuple[Hashable, Hashable]:
        return self.first.key, self.second.key

    def choose_passage(
        self, *, seconds: float = USUAL_PASSAGE_S, level_matched: bool = True
    ) -> Passage:
        """The stretch in which the difference is most likely to be heard.

        Parameters
        ----------
        seconds : float, s, 0.5 or more
            How long it should be.
        level_matched : bool
            Whether the level between them is taken away, as listening tests do.

        Returns
        -------
        Passage
            As of `stagefx.hearing.passage.choose_passage`.
        """

        def work() -> Passage:
            with self.open() as pair:
                return choose_passage(
                    *pair, seconds=seconds, level_matched=level_matched, alignment=self.alignment,
                    ear=self.level_at_ear,
                )  # fmt: skip

        key = ("passage", *self._keys, self.listening_level_db, seconds, level_matched)
        return self._steps.once(key, work)

    def excerpt(self, passage: tuple[float, float]) -> tuple[Array, Array]:
        """A passage of both, the second brought to the first's time and polarity.

        Parameters
        ----------
        passage : tuple of two float, s
            From where to where in the first.

        Returns
        -------
        tuple of two ndarray of float64 [frames, channels], full scale 1.0
            Equally long.

        Raises
        ------
        ComparisonError
            The passage does not lie in both.
        """
        with self.open() as (one, other):
            start, stop = frames_of(one, passage)
            assert stop is not None
            pairs = list(side_by_side(one, other, self.alignment, start=start, stop=stop))
            moved = np.concatenate([pair.second for pair in pairs]) if pairs else np.zeros((0, 1))
            if len(moved) != stop - start:
                raise ComparisonError(
                    f"{other.place} does not hold the whole passage from {passage[0]:g} s to "
                    f"{passage[1]:g} s; give another passage"
                )
            return one.read(start, stop), self.alignment.polarity * moved

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
            The difference, the ledger and the verdict.

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
                writer = residue_writer(original, residual, outputs, force=force)
                name = name_of(original)
            if self.stages:
                for stage in self.stages:
                    _ = stage.played
            with self.open() as pair:
                difference, ear = self._measured(pair, frames)
                write_residue(writer, *pair, difference)
                measured = Measured(
                    pair, difference, ear, self.level_by, self.room, self._hear(frames)
                )
                if self.stages:
                    return judge_stages(measured, self.stages, music=name)
                gap = self._steps.once(
                    ("gap noise", *self._keys, frames), lambda: gap_noise(*pair, difference)
                )
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
        beside = self.changed(first=stage.music)
        with stage.music.open() as music:
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

    def _measured(
        self, pair: tuple[Recording, Recording], frames: tuple[int, int | None]
    ) -> tuple[Difference, LevelAtEar]:
        """The difference, and how loud it all is, side by side on two threads."""
        key = ("difference", *self._keys, frames, self.stages is not None)

        def work() -> Difference:
            return take_apart(
                *pair, start=frames[0], stop=frames[1], together=self.stages is not None
            )

        with ThreadPoolExecutor(1, thread_name_prefix="level") as beside:
            level = beside.submit(lambda: self.level_at_ear)
            if isinstance(self.first, HeldVersion):  # its reader is in use
                level.result()
            difference = self._steps.once(key, work)
            return difference, level.result()

    def _hear(self, frames: tuple[int, int | None]) -> Hear:
        """As `hear`, but what was heard before is not worked out again."""

        def heard(
            pair: tuple[Recording, Recording],
            difference: Difference,
            spl_db: float,
            matched_db: float,
            room_dba: float | None,
        ) -> Heard:
            key = ("heard", *self._keys, frames, spl_db, matched_db, room_dba)
            return self._steps.once(
                key, lambda: hear(pair, difference, spl_db, matched_db, room_dba)
            )

        return heard
