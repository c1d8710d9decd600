"""The one decorator of every kernel.

Fixed flags keep results the same on every machine: no fast math, no parallel loops,
no explicit signatures.  Compiled code is kept on disk where the place is writable.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba
import numpy.ma  # noqa: F401 - see below

# Numba asks for numpy.ma when it first meets an array.  Were it imported then, on several threads
# at once, an interruption of one could leave the others waiting for its lock for good.

Function = TypeVar("Function", bound=Callable[..., Any])


def jit(function: Function) -> Function:
    """Compile a loop over contiguous float64 arrays, without holding the interpreter lock."""
    compiled: Function
    try:
        compiled = numba.njit(nogil=True, error_model="numpy", cache=True)(function)
    except RuntimeError:  # no writable place for the cache
        compiled = numba.njit(nogil=True, error_model="numpy")(function)
    return compiled
