"""Test signals as files, and the sheet that says how to use them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from stagefx.bench.signals.plan import USUAL_RATE_HZ, test_signals
from stagefx.bench.signals.sheet import SHEET_NAME, sheet_html
from stagefx.dsp.blocks import GRID_FRAMES
from stagefx.io.writing import AudioWriter

Progress = Callable[[int, int | None], None]


def write_signals(
    folder: str | Path, rate_hz: int = USUAL_RATE_HZ, *, progress: Progress | None = None
) -> tuple[Path, ...]:
    """Write all test signals, and the sheet, into a folder.

    Parameters
    ----------
    folder : str or Path
        It must be there; files of the same names must not.
    rate_hz : int, Hz
        Sampling rate, one of `RATES_HZ`.
    progress : callable
        Told the signals written and the signals in all.

    Returns
    -------
    tuple of Path
        The signals, WAV of 24 bits with dither, and last the sheet.

    Raises
    ------
    MeasuringError
        Signals are not made for this rate.
    OutputError
        A file is there already, or cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     places = write_signals(folder, 44100)
    ...     len(places), places[0].name, places[-1].name
    (15, '01-level-1khz.wav', 'how-to-use.html')
    """
    from stagefx.io.atomic_file import WholeFile

    signals = test_signals(rate_hz)
    places = []
    for number, signal in enumerate(signals):
        place = Path(folder) / f"{signal.name}.wav"
        with AudioWriter(place, rate_hz=rate_hz, channels=2, bits="24", stream=number) as writer:
            samples = signal.samples()
            for first in range(0, len(samples), 64 * GRID_FRAMES):
                writer.write(samples[first : first + 64 * GRID_FRAMES])
        places.append(place)
        if progress is not None:
            progress(len(places), len(signals))
    sheet = Path(folder) / SHEET_NAME
    with WholeFile(sheet) as whole:
        whole.file.write(sheet_html(signals).encode())
    return (*places, sheet)
