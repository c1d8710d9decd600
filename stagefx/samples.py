"""Quillmere Hall, the ready-made scenario, wherever stagefx is installed."""

from __future__ import annotations

from pathlib import Path

from stagefx.errors import StagefxError


def samples_folder() -> Path:
    """The folder of the scenario's stages, readings and music.

    Returns
    -------
    Path
        The packaged copy of an installed stagefx, or ``samples/`` of a working copy.

    Raises
    ------
    StagefxError
        The installation lacks its samples.

    Examples
    --------
    >>> samples_folder().is_dir()
    True
    """
    package = Path(__file__).parent
    for folder in (package / "_samples", package.parent / "samples"):
        if folder.is_dir():
            return folder
    raise StagefxError(f"no samples beside {package}: this installation is incomplete; reinstall")
