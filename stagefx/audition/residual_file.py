"""What is left of a difference after level and time, written to a file."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

from stagefx.difference.decomposition import Difference
from stagefx.difference.residual.residual import residual_blocks
from stagefx.io.recording import Recording
from stagefx.io.writing import AudioWriter


def residual_writer(
    first: Recording, place: str | Path | None, outputs: ExitStack, *, force: bool
) -> AudioWriter | None:
    """Open a file for a residual, before work is done, so that a bad place is told at once.

    Parameters
    ----------
    first : Recording
        Whose rate and channels it gets.
    place : str, Path or None
        Where; nothing is opened where left out.
    outputs : ExitStack
        Closes it.
    force : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    AudioWriter or None
        Open.

    Raises
    ------
    OutputError
        The place cannot be written.

    Examples
    --------
    >>> import numpy as np
    >>> from stagefx.io.recording import HeldAudio
    >>> with ExitStack() as outputs:
    ...     residual_writer(HeldAudio(np.zeros((8, 1)), 48000), None, outputs, force=False) is None
    True
    """
    if place is None:
        return None
    made = first.format
    return outputs.enter_context(
        AudioWriter(place, rate_hz=made.rate_hz, channels=made.channels, bits="float", force=force)
    )


def write_residual(
    writer: AudioWriter | None, first: Recording, second: Recording, difference: Difference
) -> None:
    """Write the second at the first's gain, less the first.

    Parameters
    ----------
    writer : AudioWriter or None
        Open; None to do nothing.
    first, second : Recording
        Two versions of a piece.
    difference : Difference
        What `take_apart` found between them.

    Examples
    --------
    >>> import numpy as np
    >>> from stagefx.io.recording import HeldAudio
    >>> from stagefx.difference.decomposition import take_apart
    >>> noise = HeldAudio(0.1 * np.random.default_rng(1).standard_normal((48000, 1)), 48000)
    >>> write_residual(None, noise, noise, take_apart(noise, noise)) is None
    True
    """
    if writer is None:
        return
    blocks = residual_blocks(
        first, second, difference.alignment, start=difference.start, stop=difference.stop
    )
    for block in blocks:
        writer.write(block)
