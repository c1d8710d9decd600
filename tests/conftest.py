"""What holds for every test: fixed seeds, kernels known by their imports, no silent skips, and
an interruption at the keyboard that is heeded."""

from __future__ import annotations

import os
import shutil
import signal
from types import ModuleType

import pytest
from hypothesis import settings

NEEDS = {"page": ("chromium", "node", "tsc"), "simulator": ("ngspice",)}
"""Programs that tests with a marker need; each is found in the Debian package of its name, tsc in
node-typescript and node in nodejs."""
MISSING = {
    marker: [program for program in programs if shutil.which(program) is None]
    for marker, programs in NEEDS.items()
}
UNTESTED = {"page": "no page was tested", "simulator": "no circuit was simulated"}

settings.register_profile("fixed", derandomize=True, deadline=None, database=None)
settings.load_profile("fixed")

# A program started in the background, or by `nohup`, may be told to ignore an interruption, and so
# is all that it starts: those that tests interrupt would run on for ever.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if _uses_kernels(getattr(item, "module", None)):
            item.add_marker(pytest.mark.kernel)
        for marker, missing in MISSING.items():
            if missing and item.get_closest_marker(marker):
                item.add_marker(pytest.mark.skip(reason=f"no {' and no '.join(missing)}"))


def _uses_kernels(module: ModuleType | None) -> bool:
    """Whether a test module imports a kernel, or a module of kernels, by name."""
    if module is None:
        return False
    homes = (
        value.__name__ if isinstance(value, ModuleType) else getattr(value, "__module__", None)
        for value in vars(module).values()
    )
    return any(str(home).startswith("stagefx.kernels.") for home in homes)


def _skipped(config: pytest.Config) -> dict[str, int]:
    """How many tests were skipped for want of programs, by their marker."""
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    reports = reporter.stats.get("skipped", []) if reporter else []
    counts = {marker: sum(marker in report.keywords for report in reports) for marker in NEEDS}
    return {marker: count for marker, count in counts.items() if count}


def _no_skip_allowed() -> bool:
    return os.environ.get("CI") == "true" or os.environ.get("STAGEFX_NO_SKIP") == "1"


def pytest_sessionfinish(session: pytest.Session) -> None:
    if _no_skip_allowed() and _skipped(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    for marker, count in _skipped(config).items():
        verdict = "which fails this run" if _no_skip_allowed() else f"so {UNTESTED[marker]}"
        wanting = " and ".join(MISSING[marker])
        terminalreporter.write_line(
            f"{marker.upper()} TESTS SKIPPED: {count}, for want of {wanting}, {verdict}",
            red=True,
            bold=True,
        )
