"""Every reader of a user's files under a coverage-guided fuzzer, for some minutes.

Whatever a reader does with a file but giving a result or a `StagefxError` is a finding: it is
kept in ``fuzz-findings/`` with the line that shows it again, and the run ends with 1.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

FINDINGS = Path("fuzz-findings")
AT_ONCE = 2
LONGEST_BYTES = 20_000
LONGEST_S = 20
MOST_MIB = 2048


def main() -> int:
    told = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    told.add_argument("--minutes", type=float, default=10.0, help="in all (default: 10)")
    told.add_argument("--target", action="append", help="this reader alone; may be repeated")
    told.add_argument("--replay", type=Path, help="give this file to the one --target, and end")
    asked = told.parse_args()
    from tests.knocks.readers import READERS

    names = asked.target or list(READERS)
    unknown = [name for name in names if name not in READERS]
    if unknown:
        told.error(f"no reader '{unknown[0]}'; there are: {', '.join(READERS)}")
    if asked.replay is not None:
        replay(names[0], asked.replay)
        return 0
    seconds = max(1, round(60.0 * asked.minutes * min(AT_ONCE, len(names)) / len(names)))
    with ThreadPoolExecutor(AT_ONCE) as pool:
        found = [name for name, bad in pool.map(lambda n: (n, fuzzed(n, seconds)), names) if bad]
    for name in found:
        print(f"FINDING in '{name}': python -m tests.fuzz --target {name} --replay FILE, each of")
        for path in sorted(FINDINGS.glob(f"{name}-*")):
            print(f"  {path}")
    print(f"{len(names)} readers, {seconds} s each: {len(found) or 'no'} finding(s)")
    return int(bool(found))


def replay(name: str, place: Path) -> None:
    """Give a file to a reader, and let its error through."""
    from stagefx.errors import StagefxError
    from tests.knocks.readers import READERS

    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, f"input{READERS[name].ending}")
        copy.write_bytes(place.read_bytes())
        try:
            print(READERS[name].read(copy))
        except StagefxError as error:
            print(f"refused: {error}")


def fuzzed(name: str, seconds: int) -> bool:
    """Fuzz one reader in a process of its own; whether anything was found."""
    from tests.knocks.mutations import WORDS
    from tests.knocks.readers import READERS

    FINDINGS.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        corpus, words = Path(folder, "corpus"), Path(folder, "words")
        corpus.mkdir()
        for number, specimen in enumerate(READERS[name].specimens()):
            (corpus / str(number)).write_bytes(specimen)
        short = [word for word in WORDS if len(word) <= 60]
        words.write_text("".join(f'"{_escaped(word)}"\n' for word in short), encoding="ascii")
        done = subprocess.run(
            [
                sys.executable, "-m", "tests.fuzz.child", name, str(corpus), f"-dict={words}",
                f"-max_total_time={seconds}", f"-max_len={LONGEST_BYTES}", f"-timeout={LONGEST_S}",
                f"-rss_limit_mb={MOST_MIB}", f"-artifact_prefix={FINDINGS}/{name}-",
                "-print_final_stats=1",
            ],
            capture_output=True, text=True, errors="replace", check=False,
        )  # fmt: skip
    runs = [line for line in done.stderr.splitlines() if "number_of_executed_units" in line]
    print(f"{name}: {runs[0].split()[-1] if runs else '?'} files tried, exit {done.returncode}")
    if done.returncode:
        print(done.stderr[-3000:])
    return done.returncode != 0


def _escaped(word: bytes) -> str:
    return "".join(f"\\x{byte:02x}" for byte in word)


if __name__ == "__main__":
    sys.exit(main())
