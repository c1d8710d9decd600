"""What holds for every test: fixed seeds, kernels known by their imports, no silent page skips."""

from __future__ import annotations

import os
import shutil
from types import ModuleType

import pytest
from hypothesis import settings

PAGE_NEEDS = ("chromium", "node", "tsc")
MISSING = [program for program in PAGE_NEEDS if shutil.which(program) is None]

settings.register_profile("fixed", derandomize=True, deadline=None, database=None)
settings.load_profile("fixed")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if _uses_kernels(getattr(item, "module", None)):
            item.add_marker(pytest.mark.kernel)
        if MISSING and item.get_closest_marker("page"):
            item.add_marker(pytest.mark.skip(reason=f"no {' and no '.join(MISSING)}"))


def _uses_kernels(module: ModuleType | None) -> bool:
    """Whether a test module imports a kernel, or a module of kernels, by name."""
    if module is None:
        return False
    homes = (
        value.__name__ if isinstance(value, ModuleType) else getattr(value, "__module__", None)
        for value in vars(module).values()
    )
    return any(str(home).startswith("stagefx.kernels.") for home in homes)


def _skipped_pages(config: pytest.Config) -> int:
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    reports = reporter.stats.get("skipped", []) if reporter else []
    return sum("page" in report.keywords for report in reports)


def _no_skip_allowed() -> bool:
    return os.environ.get("CI") == "true" or os.environ.get("STAGEFX_NO_SKIP") == "1"


def pytest_sessionfinish(session: pytest.Session) -> None:
    if _no_skip_allowed() and _skipped_pages(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    skipped = _skipped_pages(config)
    if skipped:
        verdict = "which fails this run" if _no_skip_allowed() else "so no page was tested"
        terminalreporter.write_line(
            f"PAGE TESTS SKIPPED: {skipped}, for want of {' and '.join(MISSING)}, {verdict}",
            red=True,
            bold=True,
        )
