"""The kernels' one decorator: strict arithmetic, and a cache only where there is room for one."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba

SOURCE = """
from stagefx.kernels._jit import jit

@jit
def third(x):
    return x / 3.0
"""


def kernel_from_file(folder: Path) -> Any:
    path = folder / "made_up.py"
    path.write_text(SOURCE)
    spec = importlib.util.spec_from_file_location("made_up", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.third


def kernel_from_nowhere() -> Callable[[float], float]:
    names: dict[str, Any] = {"__name__": "nowhere"}
    exec(compile(SOURCE, "<nowhere>", "exec"), names)
    return names["third"]


def test_arithmetic_is_strict(tmp_path: Path) -> None:
    options = kernel_from_file(tmp_path).targetoptions
    assert options["error_model"] == "numpy"
    assert options["nogil"]
    assert not options.get("fastmath")
    assert not options.get("parallel")


def test_compiled_code_is_kept_beside_its_source(tmp_path: Path) -> None:
    assert kernel_from_file(tmp_path)(1.0) == 1.0 / 3.0
    assert list((tmp_path / "__pycache__").glob("made_up.third-*.nbi"))


def test_without_a_place_for_the_cache_the_kernel_runs_all_the_same() -> None:
    assert isinstance(kernel_from_nowhere(), numba.core.registry.CPUDispatcher)
    assert kernel_from_nowhere()(1.0) == 1.0 / 3.0
