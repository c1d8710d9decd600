"""What the tests of the contract share."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest


@contextmanager
def _ordinary_user(folder: Path) -> Iterator[None]:
    """Without the superuser's right to read and write everything, where the test has it."""
    if os.geteuid() != 0:
        yield
        return
    for parent in [folder, *folder.parents]:
        if parent.stat().st_mode & 0o001 == 0:
            parent.chmod(parent.stat().st_mode | 0o011)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def as_an_ordinary_user() -> Callable[[Path], AbstractContextManager[None]]:
    """Within it, permissions count."""
    return _ordinary_user
