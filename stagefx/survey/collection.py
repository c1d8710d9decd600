"""The audio files of a folder and of the folders in it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from stagefx.errors import AudioError

READABLE = frozenset(
    f".{ending}"
    for ending in (
        "aif",
        "aifc",
        "aiff",
        "au",
        "caf",
        "flac",
        "mp2",
        "mp3",
        "oga",
        "ogg",
        "opus",
        "rf64",
        "snd",
        "w64",
        "wav",
        "wave",
    )
)
"""Endings of files that libsndfile may read; what is in them is found by opening them."""
OTHER_AUDIO = frozenset(
    (".aac", ".ac3", ".ape", ".dff", ".dsf", ".dts", ".m4a", ".mka", ".mpc", ".tta", ".wma", ".wv")
)
"""Endings of audio that it does not read: each is told of, not passed over in silence."""


@dataclass(frozen=True)
class Piece:
    """One audio file of a collection."""

    place: str
    name: str
    size_bytes: int = 0
    modified_ns: int = 0
    error: str | None = None


@dataclass(frozen=True)
class Collection:
    """What was found in a folder."""

    folder: str
    pieces: tuple[Piece, ...]
    links_passed_by: int = 0


def find_pieces(folder: str | Path) -> Collection:
    """Find every audio file under a folder.

    A file counts as audio by its ending.  Hidden files and folders are passed by, and so are
    symbolic links: what they point to is met where it is, or is not of this folder.
    """
    root = Path(folder)
    try:
        root = root.resolve(strict=True)
    except FileNotFoundError:
        raise AudioError(f"there is no folder {folder}; give one with music in it") from None
    except (OSError, RuntimeError) as error:
        raise AudioError(f"{folder} cannot be read ({error}); give another folder") from None
    if not root.is_dir():
        raise AudioError(f"{folder} is no folder; give the folder that it lies in")
    links: list[str] = []
    pieces = sorted(_below(root, "", links), key=lambda piece: piece.name)
    if [piece.error for piece in pieces if piece.name == "."]:
        raise AudioError(f"{folder} may not be read; change its permissions, or copy it")
    if not pieces:
        raise AudioError(
            f"there is no audio in {folder}, nor in the folders below it"
            f"{_but_links(links)}; files count by their ending (.wav, .flac, .mp3, ...)"
        )
    return Collection(str(root), tuple(pieces), len(links))


def _but_links(links: list[str]) -> str:
    return f", but for {len(links)} symbolic links, which are not followed" if links else ""


def _below(folder: Path, above: str, links: list[str]) -> Iterator[Piece]:
    """The pieces of a folder and of those in it; a folder that may not be read is one as well."""
    try:
        with os.scandir(folder) as listing:
            entries = sorted(listing, key=lambda entry: entry.name)
    except OSError as error:
        name = above.removesuffix("/") or "."
        yield Piece(str(folder), name, error=f"{name} cannot be looked into ({error.strerror})")
        return
    for entry in entries:
        if entry.name.startswith("."):
            continue
        name = f"{above}{_fit(entry.name)}"
        ending = os.path.splitext(entry.name)[1].lower()  # noqa: PTH122 - of a name alone
        if entry.is_symlink():
            links.append(name)
        elif entry.is_dir():
            yield from _below(folder / entry.name, f"{name}/", links)
        elif ending in READABLE | OTHER_AUDIO and entry.is_file():
            yield _piece(entry, name)


def _piece(entry: os.DirEntry[str], name: str) -> Piece:
    try:
        state = entry.stat(follow_symlinks=False)
    except OSError as error:
        return Piece(entry.path, name, error=f"{name} cannot be read ({error.strerror})")
    return Piece(entry.path, name, state.st_size, state.st_mtime_ns)


def _fit(name: str) -> str:
    """A name that can be printed and kept, whatever bytes it is made of."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")
