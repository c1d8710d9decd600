"""Run every `bench_*.py` of this folder: `python -m tests.benchmarks [NAME ...]`.

Each module's `run()` returns its ratios, after it has verified the results it times.  Prints one
table, keeps the same as JSON in bench-results/, and ends with 1 where a bound is broken or a result
is wrong.  A new benchmark is a new file beside this one: nothing else has to know of it.
"""

from __future__ import annotations

import importlib
import json
import math
import os
import platform
import sys
import traceback
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
    rows = Table("benchmark", "against", "state")
    for heading in ("measured", "bound", ""):
        rows.add_column(heading, justify="right")
    for ratio in ratios:
        rows.add_row(
            ratio.name,
            ratio.peer,
            ratio.state,
            "-" if math.isnan(ratio.value) else f"{ratio.value:.3g} {ratio.unit}",
            "" if math.isnan(ratio.bound) else f"{ratio.sense} {ratio.bound:.3g} {ratio.unit}",
            "holds" if ratio.holds else "BROKEN",
        )
    return rows


def run(name: str) -> list[Ratio]:
    """What a module measures; one broken row where it fails, so that the others go on."""
    try:
        found: list[Ratio] = importlib.import_module(f"tests.benchmarks.bench_{name}").run()
    except Exception as error:  # noqa: BLE001 - whatever it is, the table is printed
        traceback.print_exc()
        why = "its result is wrong" if isinstance(error, AssertionError) else "it broke down"
        return [Ratio(name=name, peer=why, value=math.nan, bound=math.nan)]
    return found


def plain(ratio: Ratio) -> dict[str, object]:
    """A ratio as JSON knows values: what is no number is null."""
    items = {**asdict(ratio), "holds": ratio.holds}
    return {
        key: None if isinstance(value, float) and math.isnan(value) else value
        for key, value in items.items()
    }


def keep(ratios: list[Ratio], folder: Path = RESULTS) -> Path:
    now = datetime.now(UTC)
    record = {
        "when": now.isoformat(timespec="seconds"),
        "machine": platform.machine(),
        "cores": os.cpu_count(),
        "load": os.getloadavg(),
        "python": platform.python_version(),
        "versions": {name: version(name) for name in LIBRARIES},
        "ratios": [plain(ratio) for ratio in ratios],
    }
    folder.mkdir(exist_ok=True)
    path = folder / f"{now:%Y-%m-%d-%H%M%S}.json"
    text = json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")
    return path


def busy() -> float:
    """How many programs wanted each core over the last minute; these benchmarks want one or two."""
    return os.getloadavg()[0] / (os.cpu_count() or 1)


def main(wanted: list[str]) -> int:
    console = Console()
    ratios: list[Ratio] = []
    for name in discover(wanted):
        console.print(f"running {name} ...")
        ratios += run(name)
    console.print(table(ratios) if ratios else "no benchmarks yet")
    if busy() > 1.5:
        console.print(f"This machine was busy with other work (load {os.getloadavg()[0]:.1f}).")
    console.print(f"kept in {keep(ratios)}")
    return int(not all(ratio.holds for ratio in ratios))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
