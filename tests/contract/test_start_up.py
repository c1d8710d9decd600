"""Nothing heavy is imported before it is needed."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import stagefx

LIBRARY = Path(stagefx.__file__).parent
RENDER_PATH = [LIBRARY / floor for floor in ("kernels", "dsp", "io", "align", "effects", "render")]


def loaded_by(statements: str, folder: Path) -> set[str]:
    """The modules that a fresh interpreter has loaded after some statements."""
    done = subprocess.run(
        [sys.executable, "-c", f"import sys\n{statements}\nprint(*sys.modules, sep='\\n')"],
        capture_output=True,
        text=True,
        check=True,
        cwd=folder,
    )
    return set(done.stdout.split())


def test_the_package_alone_loads_no_dependency(tmp_path: Path) -> None:
    heavy = {"numpy", "scipy", "numba", "pydantic", "soundfile", "soxr", "matplotlib", "click"}
    assert not heavy & loaded_by("import stagefx", tmp_path)


def test_the_command_line_starts_without_the_heavy_dependencies(tmp_path: Path) -> None:
    loaded = loaded_by("import stagefx_cli.main", tmp_path)
    assert not {"numba", "scipy", "matplotlib", "librosa"} & loaded


def test_the_render_path_loads_no_signal_toolbox(tmp_path: Path) -> None:
    files = (path for folder in RENDER_PATH for path in folder.rglob("*.py"))
    names = [".".join(path.relative_to(LIBRARY.parent).with_suffix("").parts) for path in files]
    imports = "\n".join(f"import {name.removesuffix('.__init__')}" for name in names)
    loaded = loaded_by(imports, tmp_path)
    assert "stagefx.io.files" in loaded
    assert not {"scipy.signal", "librosa", "matplotlib"} & loaded


def test_the_render_path_never_names_the_signal_toolbox() -> None:
    users = [
        path
        for folder in RENDER_PATH
        for path in folder.rglob("*.py")
        if names_signal_toolbox(path.read_text(encoding="utf-8"))
    ]
    assert users == []


def names_signal_toolbox(source: str) -> bool:
    """Whether a file imports scipy.signal anywhere, inside functions too."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            if any(alias.name.startswith("scipy.signal") for alias in node.names):
                return True
        elif isinstance(node, ast.ImportFrom):
            names = {f"{node.module}.{alias.name}" for alias in node.names} | {node.module or ""}
            if any(name.startswith("scipy.signal") for name in names):
                return True
    return False


@pytest.mark.parametrize(
    "source",
    [
        "import scipy.signal",
        "from scipy import signal",
        "def f():\n    from scipy.signal import lfilter",
        "from scipy.signal.windows import hann",
    ],
)
def test_naming_the_signal_toolbox_is_found(source: str) -> None:
    assert names_signal_toolbox(source)
    assert not names_signal_toolbox("from scipy.optimize import brentq")
