"""Run every `bench_*.py` of this folder: `python -m tests.benchmarks [NAME ...]`.

Each module's `run()` returns its ratios, after it has verified the results it times.  Prints one
table, keeps the same as JSON in bench-results/, and ends with 1 where a bound is broken.
"""

from __future__ import annotations

import importlib
import json
import os
import platform
import sys
from dataclasses import asdict
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from rich.console import Console
from rich.table import Table

from tests.benchmarks.ratio import Ratio

HERE = Path(__file__).parent
RESULTS = Path("bench-results")
LIBRARIES = ("numpy", "scipy", "numba", "soundfile", "soxr", "stagefx")


def discover(wanted: list[str], folder: Path = HERE) -> list[str]:
    names = sorted(path.stem.removeprefix("bench_") for path in folder.glob("bench_*.py"))
    unknown = sorted(set(wanted) - set(names))
    if unknown:
        sys.exit(f"no benchmark {', '.join(unknown)}; there are: {', '.join(names) or 'none yet'}")
    return wanted or names


def table(ratios: list[Ratio]) -> Table:
    rows = Table("benchmark", "against")
    for heading in ("measured", "bound", ""):
        rows.add_column(heading, justify="right")
    for ratio in ratios:
        rows.add_row(
            ratio.name,
            ratio.peer,
            f"{ratio.value:.3g} {ratio.unit}",
            f"{ratio.sense} {ratio.bound:.3g} {ratio.unit}",
            "holds" if ratio.holds else "BROKEN",
        )
    return rows


def keep(ratios: list[Ratio], folder: Path = RESULTS) -> Path:
    now = datetime.now(UTC)
    record = {
        "when": now.isoformat(timespec="seconds"),
        "machine": platform.machine(),
        "cores": os.cpu_count(),
        "python": platform.python_version(),
        "versions": {name: version(name) for name in LIBRARIES},
        "ratios": [{**asdict(ratio), "holds": ratio.holds} for ratio in ratios],
    }
    folder.mkdir(exist_ok=True)
    path = folder / f"{now:%Y-%m-%d-%H%M%S}.json"
    path.write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")
    return path


def main(wanted: list[str]) -> int:
    console = Console()
    ratios: list[Ratio] = []
    for name in discover(wanted):
        console.print(f"running {name} ...")
        ratios += importlib.import_module(f"tests.benchmarks.bench_{name}").run()
    console.print(table(ratios) if ratios else "no benchmarks yet")
    console.print(f"kept in {keep(ratios)}")
    return int(not all(ratio.holds for ratio in ratios))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
