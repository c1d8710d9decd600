"""Pictures written whole or not at all, and always the same bytes for the same picture."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import TYPE_CHECKING

from stagefx.errors import OutputError
from stagefx.report.plots.style import SCREEN_DPI, drawing

if TYPE_CHECKING:
    from matplotlib.figure import Figure

KINDS = (".png", ".svg", ".pdf")
_NO_DATE: dict[str, dict[str, str | None]] = {
    "png": {"Software": "stagefx"},
    "svg": {"Date": None, "Creator": "stagefx"},
    "pdf": {"CreationDate": None, "ModDate": None, "Creator": "stagefx", "Producer": None},
}
"""What would make the same picture a different file tomorrow is left out."""


def save(figure: Figure, place: Path, *, force: bool = False) -> None:
    """Write a picture, whole or not at all."""
    from stagefx.io.atomic_file import WholeFile

    check_place(place, force=force)
    kind = place.suffix.lower().removeprefix(".")
    with drawing(), WholeFile(place, force=force) as whole, warnings.catch_warnings():
        # a name in a script that the fonts lack is drawn as boxes, which is no one's mistake
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        dpi = max(figure.dpi, SCREEN_DPI)  # a card is drawn small and dense
        figure.savefig(whole.file, format=kind, dpi=dpi, metadata=_NO_DATE[kind])


def check_place(place: Path, *, force: bool = False) -> None:
    """Whether a picture can be written here, before any work is done for it."""
    from stagefx.io.atomic_file import check_free

    if place.suffix.lower() not in KINDS:
        known = f"{', '.join(KINDS[:-1])} or {KINDS[-1]}"
        raise OutputError(f"{place} is no name for a picture; let it end in {known}")
    check_free(place, force=force)
