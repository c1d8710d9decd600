"""Pieces handed out to many workers: all cores of this machine, or a cluster that is there."""

from __future__ import annotations

import os
import signal
import threading
import time
import warnings
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from typing import Any

from stagefx.errors import StagefxError
from stagefx.survey.asked import Asked
from stagefx.survey.collection import Piece
from stagefx.survey.piece import survey_piece
from stagefx.survey.row import Row

CONNECT_S = 10.0
"""How long a scheduler may take to answer."""
_LOOK_S = 0.5
"""How often a worker looks whether the program that asked is still there."""
_LOST = "a worker was ended from outside, perhaps for want of memory"


def on_cores(pieces: Sequence[Piece], asked: Asked, *, jobs: int | None = None) -> Iterator[Row]:
    """Survey pieces on the cores of this machine, one thread to each."""
    import joblib

    count = min(jobs or joblib.cpu_count(), max(len(pieces), 1))
    if count == 1:
        yield from (survey_piece(piece, asked) for piece in pieces)
        return
    left, fruitless = {piece.name: piece for piece in pieces}, 0
    while left:
        before = len(left)
        try:
            for row in _spread(list(left.values()), asked, count):
                left.pop(row.file, None)
                yield row
        except _broken_pools():
            fruitless = fruitless + 1 if len(left) == before else 0
            if fruitless > 1:
                raise StagefxError(
                    f"{_LOST}, again and again; use fewer --jobs, or find the piece that is too "
                    "much for it"
                ) from None


def _spread(pieces: Sequence[Piece], asked: Asked, jobs: int) -> Iterator[Row]:
    """Rows as they are done by workers of their own."""
    import joblib

    # for good: joblib's threads may still say so after an interruption
    for told in ("A worker stopped", ".*tasks which were still being processed"):
        warnings.filterwarnings("ignore", message=told, category=UserWarning, module="joblib")
    with joblib.parallel_config("loky", inner_max_num_threads=1):
        parallel = joblib.Parallel(
            n_jobs=jobs, return_as="generator_unordered", batch_size=1, pre_dispatch="2*n_jobs",
            max_nbytes=None, initializer=_end_with, initargs=(os.getpid(),),
        )  # fmt: skip
        work = joblib.delayed(survey_piece)
        with _no_interruptions():
            rows = parallel(work(piece, asked) for piece in pieces)
        with closing(rows):
            yield from rows


def _end_with(asking: int) -> None:
    """End this worker when the program that asks is killed."""

    def watch() -> None:
        while os.getppid() == asking:
            time.sleep(_LOOK_S)
        os._exit(1)

    if os.name == "posix":
        threading.Thread(target=watch, daemon=True).start()


@contextmanager
def _no_interruptions() -> Iterator[None]:
    """Start processes that do not heed an interruption at the keyboard.

    It reaches all programs of a terminal, but is for the one that asked to end its workers; what
    is ignored when a program is started stays ignored in it.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _broken_pools() -> type[BaseException]:
    from joblib.externals.loky.process_executor import BrokenProcessPool

    broken: type[BaseException] = BrokenProcessPool
    return broken


def on_cluster(pieces: Sequence[Piece], asked: Asked, client: Any) -> Iterator[Row]:
    """Survey pieces on a Dask cluster; its workers must see the files under the same paths."""
    from distributed import CancelledError, KilledWorker, as_completed

    futures = client.map(survey_piece, pieces, asked=asked, pure=False, retries=1)
    try:
        for future in as_completed(futures, loop=client.loop):  # type: ignore[no-untyped-call]
            yield future.result()
            future.release()
    except KilledWorker:
        raise StagefxError(f"{_LOST}, again and again; give the cluster's workers more") from None
    except (CancelledError, OSError) as error:
        raise StagefxError(f"the scheduler was lost ({error}); start it, and go on") from None
    finally:
        with suppress(Exception):  # whatever is wrong with the cluster was said already
            client.cancel(futures)


def connected(address: str) -> Any:
    """A connection to a Dask scheduler that runs already.

    What is sent between a scheduler and its workers can make them run anything: use schedulers
    of your own network alone.
    """
    scheme, mark, _ = address.partition("://")
    if not (mark and scheme in {"tcp", "tls", "ws", "wss"}):
        raise StagefxError(f"'{address}' is no scheduler's address; give one like tcp://host:8786")
    try:
        from distributed import Client
    except ImportError:
        raise StagefxError(
            "--scheduler needs Dask; install it with: pip install 'stagefx[dask]'"
        ) from None
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, TimeoutError, ValueError):
        raise StagefxError(
            f"no scheduler answers at {address}; start one, or leave --scheduler out"
        ) from None
    if not client.scheduler_info()["workers"]:
        client.close()  # type: ignore[no-untyped-call]
        raise StagefxError(f"the scheduler at {address} has no workers; start some first")
    return client
