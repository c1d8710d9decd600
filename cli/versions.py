"""What a bug report needs to say of the machine: versions, and what it runs on."""

from __future__ import annotations

from typing import Any

LIBRARIES = ("numpy", "scipy", "numba", "llvmlite", "soundfile", "soxr", "joblib", "matplotlib")


def versions() -> dict[str, Any]:
    """The versions of this program, of what it runs on, and of the libraries that count."""
    import os
    import platform
    import sys

    return {
        "stagefx": _version("stagefx"),
        "python": platform.python_version(),
        "implementation": sys.implementation.name,
        "system": platform.system(),
        "release": platform.release(),
        "machine": platform.machine(),
        "cores": os.cpu_count(),
        "libsndfile": _libsndfile(),
        "libraries": {name: _version(name) for name in LIBRARIES},
    }


def _version(name: str) -> str | None:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(name)
    except PackageNotFoundError:
        return None


def _libsndfile() -> str | None:
    """The version of the library that reads audio, or None where it cannot even be loaded."""
    try:
        import soundfile
    except (ImportError, OSError):  # the very thing that a bug report may be about
        return None
    return str(soundfile.__libsndfile_version__)
