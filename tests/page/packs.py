"""Small packs of every protocol, made by hand: a tone for each version, to be known by."""

from __future__ import annotations

import io
import secrets
from typing import Any

import numpy as np
import soundfile

from stagefx.blind.keys import SealedKey, draw_key
from stagefx.report.listening.blind_page.build import build_page

RATE_HZ = 48000
SECONDS = 2.0


def tone(hz: float, *, seconds: float = SECONDS) -> bytes:
    """A WAV file of a quiet tone, faded at both ends."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    edge = np.clip(np.minimum(t, seconds - t) / 0.01, 0.0, 1.0)
    left = 0.1 * edge * np.sin(2.0 * np.pi * hz * t)
    file = io.BytesIO()
    soundfile.write(file, np.stack([left, left], axis=1), RATE_HZ, format="WAV", subtype="PCM_24")
    return file.getvalue()


def tone_hz(excerpt: int, version: int) -> float:
    """Which tone stands for a version: no two within 140 Hz."""
    return 400.0 + 700.0 * excerpt + 150.0 * version


class HandMadePack:
    """A pack, its key, and which version each file is (which no page may know)."""

    def __init__(
        self,
        protocol: str,
        *,
        title: str = "Trio, 12.0 to 14.0 s",
        excerpts: int = 2,
        trials: int = 16,
        control_trials: int = 5,
        versions: int = 2,
    ) -> None:
        kinds = ("main",) * excerpts + ("control",)
        names = tuple(f"version {n}" for n in range(versions))
        self.key: SealedKey = draw_key(
            protocol, kinds, versions=names, trials=trials, control_trials=control_trials
        )
        self.audio: dict[str, bytes] = {}
        self.version_of: dict[str, int] = {}
        items = [self._item("training", 0, "10", protocol)]
        for n, kind in enumerate(kinds):
            items.append(self._item(kind, n, self.key.key[n], protocol))
        self.pack: dict[str, Any] = {
            "made_by": "stagefx",
            "format": 1,
            "pack": self.key.pack,
            "protocol": protocol,
            "title": title,
            "commitment": self.key.commitment,
            "trials": trials,
            "control_trials": control_trials,
            "versions": versions,
            "rate_hz": RATE_HZ,
            "seconds": SECONDS,
            "bits": 24,
            "items": items,
        }

    def _item(self, kind: str, excerpt: int, order: str, protocol: str) -> dict[str, Any]:
        def add(version: int) -> str:
            name = f"{secrets.token_hex(8)}.wav"
            self.audio[name] = tone(tone_hz(excerpt, version))
            self.version_of[name] = version
            return name

        named = {"abx": {"A": 0, "B": 1}, "triple": {"reference": 0}}.get(protocol, {})
        item: dict[str, Any] = {
            "kind": kind,
            "excerpt": excerpt,
            "title": f"excerpt {excerpt}",
            "named": {label: add(version) for label, version in named.items()},
            "unlabelled": [add(int(digit)) for digit in order],
        }
        return item | ({"answer": order} if kind == "training" else {})

    def html(self) -> str:
        return build_page(self.pack, self.audio)
