"""The page's scripts, checked for types by the TypeScript compiler (Debian: node-typescript)."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

import stagefx.report.listening.blind_page
from stagefx.report.page.bundle import bundle

SCRIPTS = Path(stagefx.report.listening.blind_page.__file__).parent
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
    done = checked(*sorted(SCRIPTS.glob("*.js")), wrong)
    complaints = [line for line in done.stdout.splitlines() if ": error " in line]
    assert len(complaints) == 1  # the compiler was awake
    assert "wrong.js" in complaints[0]


@pytest.mark.page
@pytest.mark.parametrize(
    ("script", "modules"),
    [("player.js", ("player", "passage_line")), ("../page/players.js", ("player",))],
)
def test_what_is_joined_behind_the_player_has_no_type_error(
    tmp_path: Path, script: str, modules: tuple[str, ...]
) -> None:
    """The evidence page's and the listening set's own scripts, in the one scope they run in."""
    text = (SCRIPTS.parent / script).read_text(encoding="utf-8")
    lines = f"{bundle(*modules)}\n{text}".splitlines()
    joined = tmp_path / "joined.js"
    joined.write_text("\n".join(line for line in lines if 'import("./' not in line) + "\n")
    assert checked(joined).stdout == ""
    joined.write_text(joined.read_text() + "export const wrong = 1 + known_by_nobody;\n")
    assert "known_by_nobody" in checked(joined).stdout  # the compiler was awake


def test_modules_stay_short_and_say_what_they_are_for() -> None:
    for script in SCRIPTS.glob("*.js"):
        text = script.read_text(encoding="utf-8")
        assert text.startswith("// "), script.name
        assert len(text.splitlines()) < 400, script.name
