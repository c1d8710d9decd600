"""Threads of a render find everything imported: an interrupted import would hold up the others."""

from __future__ import annotations

import subprocess
import sys

SCRIPT = """
import sys
import stagefx.kernels.filters.fir
assert "numpy.ma" in sys.modules
"""


def test_what_a_kernel_asks_for_at_its_first_call_is_there_before() -> None:
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
