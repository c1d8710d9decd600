"""The sealed key of a pack: which unlabelled version is which, and the promise not to change it."""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stagefx.blind.protocol import find_protocol
from stagefx.errors import BlindError
from stagefx.io.atomic_file import WholeFile
from stagefx.io.texts import from_json

NONCE_BYTES = 32
_HEX_16 = re.compile(r"[0-9a-f]{16}")


@dataclass(frozen=True)
class SealedKey:
    """Which unlabelled version is which."""

    pack: str
    protocol: str
    key: tuple[str, ...]
    items: tuple[str, ...]
    nonce: str
    versions: tuple[str, ...] = ()
    trials: int | None = None
    control_trials: int | None = None

    @property
    def sealed_text(self) -> str:
        """The line whose SHA-256 is the commitment."""
        return f"{self.pack} {self.protocol} {','.join(self.key)} {self.nonce}"

    @property
    def commitment(self) -> str:
        """SHA-256 of the sealed text, 64 hexadecimal digits: what the pack carries."""
        return hashlib.sha256(self.sealed_text.encode("ascii")).hexdigest()

    def as_json(self) -> dict[str, Any]:
        """The key as its file holds it."""
        return {
            "pack": self.pack,
            "protocol": self.protocol,
            "key": list(self.key),
            "nonce": self.nonce,
            "commitment": self.commitment,
            "items": list(self.items),
            "versions": list(self.versions),
            "trials": self.trials,
            "control_trials": self.control_trials,
        }


def draw_key(
    protocol: str,
    items: tuple[str, ...],
    *,
    versions: tuple[str, ...] = ("first", "second"),
    trials: int | None = None,
    control_trials: int | None = None,
) -> SealedKey:
    """Draw a key that nobody knows.

    An item with a positive control has two versions, however many the others have.
    """
    find_protocol(protocol)
    chance = secrets.SystemRandom()
    drawn = []
    for item in items:
        digits = [str(number) for number in range(2 if item == "control" else len(versions))]
        chance.shuffle(digits)
        drawn.append("".join(digits))
    return SealedKey(
        pack=secrets.token_hex(8),
        protocol=protocol,
        key=tuple(drawn),
        items=items,
        nonce=secrets.token_hex(NONCE_BYTES),
        versions=versions,
        trials=trials,
        control_trials=control_trials,
    )


def save_key(key: SealedKey, place: str | Path, *, force: bool = False) -> None:
    """Write a key to a file that only its owner can read."""
    with WholeFile(place, force=force) as whole:
        os.fchmod(whole.file.fileno(), 0o600)
        whole.file.write(json.dumps(key.as_json(), indent=2).encode() + b"\n")


def load_key(place: str | Path) -> SealedKey:
    """Read a key, and see that it is the one that was sealed."""
    try:
        found = from_json(Path(place).read_text(encoding="utf-8"))
        key = SealedKey(
            pack=found["pack"],
            protocol=found["protocol"],
            key=tuple(found["key"]),
            items=tuple(found.get("items", ["main"] * len(found["key"]))),
            nonce=found["nonce"],
            versions=tuple(found.get("versions", ())),
            trials=found.get("trials"),
            control_trials=found.get("control_trials"),
        )
        sealed, commitment = found["commitment"], key.commitment
    except OSError as error:
        raise BlindError(f"{place} cannot be read: {error.strerror}; give a key file") from None
    except (KeyError, TypeError, ValueError, AttributeError):
        raise BlindError(
            f"{place} is no key file; give the one that 'blind prepare' wrote with --key"
        ) from None
    if commitment != sealed:
        raise BlindError(
            f"{place} DOES NOT FIT ITS COMMITMENT: the key was changed after it was sealed, and "
            "nothing is scored with it; find the untouched key file"
        )
    _check(key, place)
    return key


def _check(key: SealedKey, place: str | Path) -> None:
    find_protocol(key.protocol)
    whole = all(sorted(d) == [str(n) for n in range(len(d))] and len(d) > 1 for d in key.key)
    kinds = set(key.items) <= {"main", "control"}
    if not (whole and kinds and len(key.items) == len(key.key) and _HEX_16.fullmatch(key.pack)):
        raise BlindError(f"{place} holds no whole key; find the file that 'blind prepare' wrote")
