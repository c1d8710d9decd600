"""The tutorial does what it shows: every cell runs, and gives what the notebook has kept."""

from __future__ import annotations

import ast
import json
from pathlib import Path
from typing import Any

import pytest
from IPython.lib.pretty import pretty

NOTEBOOK = Path(__file__).parents[2] / "samples" / "tutorial.ipynb"


def run(source: str, names: dict[str, Any]) -> Any:
    """A cell's last value, as a notebook shows it; None where it ends in no expression."""
    body = ast.parse(source).body
    last = body.pop() if isinstance(body[-1], ast.Expr) else None
    exec(compile(ast.Module(body, []), "cell", "exec"), names)
    if last is None:
        return None
    assert isinstance(last, ast.Expr)
    return eval(compile(ast.Expression(last.value), "cell", "eval"), names)


def kept(cell: dict[str, Any]) -> str | None:
    texts = [out["data"]["text/plain"] for out in cell["outputs"] if "data" in out]
    return "".join(texts[-1]) if texts else None


@pytest.mark.slow
def test_the_tutorial_runs_and_shows_what_it_has_kept() -> None:
    names: dict[str, Any] = {}
    cells = [
        cell for cell in json.loads(NOTEBOOK.read_text())["cells"] if cell["cell_type"] == "code"
    ]
    assert len(cells) > 8
    for cell in cells:
        shown = run("".join(cell["source"]), names)
        text = kept(cell)
        assert (text is None) == (shown is None)
        if text is not None and "Image object" not in text:
            assert pretty(shown) == text
