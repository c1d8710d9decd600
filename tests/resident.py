"""Peak memory of the command line, in a process of its own."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

_PROGRAM = """
import sys
from pathlib import Path
from stagefx_cli.main import main
try:
    main()
except SystemExit as end:
    assert not end.code, end.code
status = Path("/proc/self/status").read_text()
print(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM")))
"""
COUNTED = Path("/proc/self/status").exists()
"""Whether the system tells; what it calls VmHWM is the process's own, not its parent's."""


def peak_mib(*arguments: str | Path) -> float:
    """Largest resident memory of `stagefx` with some arguments, in MiB."""
    done = subprocess.run(
        [sys.executable, "-c", _PROGRAM, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=True,
    )
    return int(done.stdout.split()[-1]) / 1024.0


def write_again_and_again(
    place: Path, piece: NDArray[np.float64], rate_hz: int, *, seconds: float
) -> Path:
    """A long file, its piece repeated, never held in memory as a whole."""
    left = round(seconds * rate_hz)
    with soundfile.SoundFile(place, "w", rate_hz, piece.shape[1], "PCM_16") as file:
        while left > 0:
            file.write(piece[:left])
            left -= len(piece)
    return place
