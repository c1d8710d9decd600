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
    """Open a file for a residual, before work is done, so that a bad place is told at once."""
    if place is None:
        return None
    made = first.format
    return outputs.enter_context(
        AudioWriter(place, rate_hz=made.rate_hz, channels=made.channels, bits="float", force=force)
    )


def write_residual(
    writer: AudioWriter | None, first: Recording, second: Recording, difference: Difference
) -> None:
    """Write the second at the first's gain, less the first."""
    if writer is None:
        return
    blocks = residual_blocks(
        first, second, difference.alignment, start=difference.start, stop=difference.stop
    )
    for block in blocks:
        writer.write(block)
