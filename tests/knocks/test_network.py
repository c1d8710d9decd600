"""Nothing is ever asked of a network, and nothing secret is ever told."""

from __future__ import annotations

import ast
import json
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from stagefx.blind.keys import load_key
from stagefx_cli.main import program
from tests.knocks.warm import Warm
from tests.knocks.written import make_inputs

ROOT = Path(__file__).parents[2]
LINES = {
    "demo": "demo made",
    "catalogue": "catalogue",
    "figures": "figures line-stage --spread 200 --plot figures.svg",
    "bench stage": "bench stage in/readings.toml stage.toml",
    "bench signals": "bench signals signals",
    "bench measure": "bench measure signals in/piece.flac",
    "bench expect": "bench expect line-stage --save expected.json",
    "bench scope": "bench scope in/trace.csv",
    "bench fit": "bench fit line-stage expected.json fitted.toml",
    "render": "render line-stage in/piece.flac out.flac",
    "compare": "compare in/piece.flac out.flac --plot compare.svg",
    "margin": "margin line-stage in/piece.flac",
    "delivery": "delivery in/piece.flac out.flac",
    "listen": "listen line-stage wire in/piece.flac set",
    "blind plan": "blind plan",
    "blind prepare": "blind prepare in/piece.flac out.flac pack --key key.json --trials 4",
    "blind score": "blind score key.json in/replies.txt",
    "answer": "answer in/question.toml answered",
    "survey": "survey line-stage in/many --jobs 2 --out survey.jsonl",
}
MAY_REFUSE = {"bench measure", "bench scope", "blind score"}
"""Which get no input here that they could work with to the end."""


def commands(group: click.Command, name: str = "") -> Iterator[str]:
    if not isinstance(group, click.Group):
        yield name
        return
    context = click.Context(group)
    for sub in group.list_commands(context):
        found = group.get_command(context, sub)
        assert found is not None
        yield from commands(found, f"{name} {sub}".strip())


def test_every_command_works_without_any_network(warm: Warm, tmp_path: Path) -> None:
    """No interface is there, not even loopback, and whoever makes a socket is ended at once."""
    assert set(LINES) == set(commands(program))
    inputs = make_inputs(tmp_path / "in")
    (inputs / "trace.csv").write_text("\n".join(f"{n}e-6,{n % 7}" for n in range(40)))
    (inputs / "replies.txt").write_text("no code\n")
    for name, line in LINES.items():
        done = warm.run(*line.split(), cwd=tmp_path, offline=True)
        assert done.returncode not in {98, 99}, (name, done.stderr)
        assert "Traceback" not in done.stderr, (name, done.stderr)
        assert done.returncode in {0, 1} or name in MAY_REFUSE, (name, done.stderr)


def test_without_a_network_there_is_none(warm: Warm, tmp_path: Path) -> None:
    """The fence itself: a cluster is asked for, and the process ends."""
    make_inputs(tmp_path / "in")
    line = "survey line-stage in/many --scheduler tcp://127.0.0.1:9"
    done = warm.run(*line.split(), cwd=tmp_path, offline=True)
    assert done.returncode == 99, done.stderr


def test_a_key_is_told_by_nothing_but_its_file(warm: Warm, tmp_path: Path) -> None:
    """Neither by the pack nor by anything on the terminal, before it is scored."""
    make_inputs(tmp_path / "in")
    line = "blind prepare line-stage wire in/piece.flac pack --key key.json --trials 4"
    told = [warm.run(*line.split(), *more, cwd=tmp_path) for more in ([], ["--force", "--json"])]
    key = load_key(tmp_path / "key.json")
    assert (tmp_path / "key.json").stat().st_mode & 0o777 == 0o600
    refused = warm.run(*line.split(), cwd=tmp_path)
    assert refused.returncode == 2
    secret = json.dumps(list(key.key)), key.nonce
    for done in (*told, refused):
        for text in (done.stdout, done.stderr):
            assert not any(word in text for word in secret)
    for path in (tmp_path / "pack").rglob("*"):
        if path.is_file():
            assert not any(word.encode() in path.read_bytes() for word in secret), path


# --- what the source does not do ---

FORBIDDEN_MODULES = {
    "pickle", "cPickle", "dill", "cloudpickle", "marshal", "shelve", "yaml", "ftplib", "http",
    "imaplib", "smtplib", "socket", "socketserver", "telnetlib", "urllib", "xmlrpc", "requests",
    "zipfile", "tarfile", "webbrowser",
}  # fmt: skip
FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__", "os.system", "os.popen", "np.load"}


@pytest.mark.parametrize("folder", ["stagefx", "cli"])
def test_no_text_is_ever_run_and_no_network_or_archive_is_touched(folder: str) -> None:
    found = []
    for path in sorted((ROOT / folder).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            found += [f"{path}:{node.lineno} {what}" for what in offences(node)]
    assert found == []


def offences(node: ast.AST) -> Iterator[str]:
    names: list[str] = []
    if isinstance(node, ast.Import):
        names = [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom) and node.module and not node.level:
        names = [node.module]
    yield from (name for name in names if name.partition(".")[0] in FORBIDDEN_MODULES)
    if isinstance(node, ast.Call):
        called = ast.unparse(node.func)
        if called in FORBIDDEN_CALLS:
            yield called
        if any(k.arg == "shell" and ast.unparse(k.value) != "False" for k in node.keywords):
            yield f"{called} with a shell"


@pytest.mark.parametrize(
    "source",
    ["import pickle", "from urllib.request import urlopen", "eval('1')", "os.system('ls')",
     "run('ls', shell=True)", "import http.client"],
)  # fmt: skip
def test_each_of_them_would_be_found(source: str) -> None:
    assert [what for node in ast.walk(ast.parse(source)) for what in offences(node)]
