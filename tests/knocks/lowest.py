"""The lowest version that pyproject.toml declares of everything, in an environment of its own.

    python -m tests.knocks.lowest FOLDER [what pytest shall run]

Makes FOLDER a virtual environment with those versions, installs this project into it, and runs
tests there; needs a package index.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
TRIED = (
    "tests/contract", "tests/law/test_limits.py", "tests/law/test_music_by_block.py",
    "tests/oracle/test_effect_kernels.py", "tests/oracle/test_limiter_twin.py",
    "tests/published/test_loudness_ebu3341.py", "tests/law/test_survey.py", "tests/cli",
)  # fmt: skip


def lowest() -> list[str]:
    """What the package needs, at the lower bounds; what tests need, as it comes."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    needed = {re.sub(r"\s*>=\s*", "==", one) for one in project["dependencies"] + extras["dask"]}
    names = {one.partition("==")[0] for one in needed}
    tools = {one for one in extras["test"] if one.partition(">=")[0] not in names}
    return sorted(needed | tools)


def main() -> int:
    folder, *tests = sys.argv[1:]
    subprocess.run([sys.executable, "-m", "venv", folder], check=True)
    python = str(Path(folder, "bin", "python"))
    quiet = ["--quiet", "--disable-pip-version-check"]
    subprocess.run([python, "-m", "pip", "install", *quiet, *lowest()], check=True)
    subprocess.run(
        [python, "-m", "pip", "install", *quiet, "--no-deps", "--no-build-isolation", str(ROOT)],
        check=True,
    )
    old = "ignore:.*deprecated.*:DeprecationWarning"  # what old libraries say of each other
    line = [python, "-m", "pytest", "-q", "-n", "2", "-W", old, *(tests or TRIED)]
    return subprocess.run(line, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
