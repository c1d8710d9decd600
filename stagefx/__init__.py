"""What a small line-level audio stage does to music, and whether it would be heard.

Every public name is here, and is loaded from its home when it is first used, so that
``import stagefx`` costs next to nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

_HOMES = {
    "AudioError": "stagefx.errors",
    "ComparisonError": "stagefx.errors",
    "EffectError": "stagefx.errors",
    "OutputError": "stagefx.errors",
    "StageError": "stagefx.errors",
    "StagefxError": "stagefx.errors",
    "UnitError": "stagefx.errors",
}

__all__ = ["__version__", *_HOMES]  # noqa: PLE0604 (the table holds names)

if TYPE_CHECKING:  # the same names once more, for type checkers; a test holds the two together
    from stagefx.errors import (
        AudioError as AudioError,
        ComparisonError as ComparisonError,
        EffectError as EffectError,
        OutputError as OutputError,
        StageError as StageError,
        StagefxError as StagefxError,
        UnitError as UnitError,
    )

    __version__: str
else:

    def __getattr__(name: str) -> object:
        if name == "__version__":
            from importlib.metadata import version

            value = version("stagefx")
        elif name in _HOMES:
            from importlib import import_module

            value = getattr(import_module(_HOMES[name]), name)
        else:
            raise AttributeError(f"module 'stagefx' has no attribute {name!r}")
        globals()[name] = value
        return value

    def __dir__() -> list[str]:
        return sorted({*globals(), *__all__})
