"""A blind pack in one call: excerpts, the listening page, the sealed key."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from stagefx.circuit.description.files import load_stage
from stagefx.circuit.description.stage import Stage
from stagefx.errors import BlindError, OutputError
from stagefx.io.atomic_file import check_free
from stagefx.io.files import STANDARD_STREAM, open_audio

if TYPE_CHECKING:
    from stagefx.blind.pack.preparation import Prepared


def prepare_blind(
    versions: Sequence[Stage | str | Path],
    folder: str | Path,
    key_place: str | Path,
    *,
    music: Sequence[str | Path] = (),
    passage: tuple[float, float] | None = None,
    protocol: str = "abx",
    trials: int = 16,
    title: str = "",
    listening_level_db: float = 85.0,
    force: bool = False,
) -> Prepared:
    """Make a blind pack of stages and music, or of audio files, and seal its key.

    Parameters
    ----------
    versions : sequence of Stage, str or Path
        Two, or more for a preference; stages, by their files or ready-made names too, where there
        is music, else audio files.  The first is the reference.
    folder : str or Path
        Where the pack will be, its page with it.
    key_place : str or Path
        Where the key will be: outside the folder.
    music : sequence of str or Path
        Pieces to play through the stages.
    passage : tuple of two float, s
        From where to where in each piece; chosen by the ear model if left out.
    protocol : str, default: ``"abx"``
        One of `stagefx.blind.protocol.PROTOCOLS`.
    trials : int, 1 to 200
        Scored trials, controls apart.
    title : str
        What the page calls the test.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat that the choice goes by; a knob set by listening follows it.
    force : bool, default: False
        Whether what is there already may be replaced.

    Returns
    -------
    Prepared
        Where everything is, and nothing of the key.

    Raises
    ------
    BlindError
        The versions are the same, the key would lie in the pack, or a number is out of reason.
    OutputError
        Something is there already, or cannot be written.
    StagefxError
        A stage or a file cannot be used.

    Notes
    -----
    Names, order, dither and key come from the operating system's entropy; there is no seed.

    Examples
    --------
    >>> import tempfile
    >>> from stagefx.samples import samples_folder
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> with tempfile.TemporaryDirectory() as home:
    ...     pack, key = Path(home, "pack"), Path(home, "key.json")
    ...     made = prepare_blind(
    ...         ["line-stage", "passive-control"], pack, key, music=[trio], passage=(2.0, 3.0)
    ...     )
    ...     made.trials, (pack / "listen.html").is_file()
    (16, True)
    """
    _check_places(Path(folder), Path(key_place), force=force)
    stages = [_stage(version) for version in versions] if music else []
    files = [Path(one) for one in versions if not isinstance(one, Stage)]
    if not music and len(files) < len(versions):
        raise BlindError("a pack of stages needs music to play through them; name a piece")
    for place in music or files:
        if str(place) != STANDARD_STREAM:
            open_audio(place).close()
    from stagefx.blind.pack.excerpts import excerpt_of_files, excerpt_of_stages
    from stagefx.blind.pack.preparation import prepare_pack
    from stagefx.report.listening.blind_page.build import build_page

    if music:
        excerpts = [
            excerpt_of_stages(stages, piece, passage=passage, listening_level_db=listening_level_db)
            for piece in music
        ]
    else:
        excerpts = [excerpt_of_files(files, passage=passage, listening_level_db=listening_level_db)]
    names = [one.name if isinstance(one, Stage) else Path(one).stem for one in versions]
    return prepare_pack(
        excerpts, folder, key_place, protocol=protocol, trials=trials, title=title, force=force,
        versions=names, page=build_page,
    )  # fmt: skip


def _stage(version: Stage | str | Path) -> Stage:
    return version if isinstance(version, Stage) else load_stage(version)


def _check_places(folder: Path, key_place: Path, *, force: bool) -> None:
    """Before anything is worked out: that both places are free, and apart."""
    if key_place.resolve().is_relative_to(folder.resolve()):
        raise BlindError(
            f"the key would lie in the pack ({key_place}), where every listener finds it; keep it "
            "elsewhere"
        )
    check_free(key_place, force=force)
    if folder.is_file():
        raise OutputError(f"{folder} is a file; name a folder")
    if not force and folder.is_dir() and any(folder.iterdir()):
        raise OutputError(f"{folder} holds something already; name a new folder, or use --force")
