"""One warm process for all knocks of a worker."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.knocks.warm import Warm, warmed


@pytest.fixture(scope="session")
def warm() -> Iterator[Warm]:
    with warmed() as process:
        yield process
