"""The page's scripts, checked for types by the TypeScript compiler (Debian: node-typescript)."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

import stagefx.report

REPORT = Path(stagefx.report.__file__).parent
SCRIPTS = sorted(REPORT.rglob("*.js"))
STRICT = (
    "--noEmit", "--allowJs", "--checkJs", "--strict", "--noUnusedLocals", "--noUnusedParameters",
    "--noImplicitReturns", "--target", "es2022", "--module", "es2022", "--moduleResolution", "node",
    "--lib", "es2022,dom,dom.iterable",
)  # fmt: skip


def checked(*scripts: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["tsc", *STRICT, *map(str, scripts)], capture_output=True, text=True, check=False
    )


@pytest.mark.page
def test_scripts_have_no_type_error(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.js"
    wrong.write_text('/** @type {number} */\nexport const seconds = "ten";\n', encoding="utf-8")
    done = checked(*SCRIPTS, wrong)
    complaints = [line for line in done.stdout.splitlines() if ": error " in line]
    assert len(complaints) == 1  # the compiler was awake
    assert "wrong.js" in complaints[0]


def test_modules_stay_short_and_say_what_they_are_for() -> None:
    assert len(SCRIPTS) > 10
    for script in SCRIPTS:
        text = script.read_text(encoding="utf-8")
        assert text.startswith("// "), script.name
        assert len(text.splitlines()) < 400, script.name
