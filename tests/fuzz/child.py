"""One reader, fuzzed until the time is up; called with its name and options of libFuzzer."""

from __future__ import annotations

import sys
import tempfile
import warnings
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["stagefx", "tomllib", "json"]):
    from stagefx.errors import StagefxError
    from tests.knocks.readers import READERS


def main() -> None:
    reader = READERS[sys.argv.pop(1)]
    warnings.simplefilter("error")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder, f"input{reader.ending}")

        def read(data: bytes) -> None:
            place.write_bytes(data)
            try:
                reader.read(place)
            except StagefxError as error:
                str(error)

        atheris.Setup(sys.argv, read)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
