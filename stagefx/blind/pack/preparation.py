"""A pack: equal files under random names, what the page may know, and the key sealed elsewhere."""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.blind.keys import SealedKey, draw_key
from stagefx.blind.pack.equal import changed_plainly, equalised
from stagefx.blind.pack.excerpts import Excerpt
from stagefx.blind.pack.readme import read_me
from stagefx.blind.protocol import find_protocol
from stagefx.dsp.dither import quantise
from stagefx.dsp.resampling import resample
from stagefx.dsp.true_peak import TruePeakMeter
from stagefx.errors import BlindError
from stagefx.hearing.ear.detection import EarPair
from stagefx.io.atomic_file import WholeFile
from stagefx.io.atomic_folder import whole_folder
from stagefx.io.wav_header import sample_bytes, wave_header

Array = NDArray[np.float64]

USUAL_TRIALS, CONTROL_TRIALS = 16, 5
CONTROL_CUTS_DB = (3.0, 6.0, 12.0, 24.0)
SURELY_HEARD = 0.99
CONTROL_SPL_DB = 92.0
"""Sound level of a full-scale sine at which the control has to be heard: a middling one."""
HIGHEST_PEAK_DBTP = -1.0
BITS = 24
TIME_STAMP = 946684800
"""All files of a pack carry it: the first second of the year 2000."""
PAGE_NAME, LIST_NAME, README_NAME = "listen.html", "pack.json", "READ ME.txt"


@dataclass(frozen=True)
class Prepared:
    """A pack that was made.

    Parameters
    ----------
    folder : Path
        Where it is.
    key_place : Path
        Where its key is.
    pack : str
        Its identity.
    commitment : str
        SHA-256 of the sealed text.
    trials, control_trials : int
        Of a whole reply.
    seconds : float, s
        Length of each version.
    files : int
        How many versions there are.
    control_cut_db : float, dB
        How much treble the positive control lacks.
    """

    folder: Path
    key_place: Path
    pack: str
    commitment: str
    trials: int
    control_trials: int
    seconds: float
    files: int
    control_cut_db: float

    def as_json(self) -> dict[str, Any]:
        """What was made, as plain values; nothing of the key.

        Returns
        -------
        dict
            The keys of ``stagefx blind prepare --json``.
        """
        return {**vars(self), "folder": str(self.folder), "key_place": str(self.key_place)}


@dataclass(frozen=True)
class _Item:
    """What trials are made of: versions, and what kind of item they are."""

    kind: str
    excerpt: int
    title: str
    versions: tuple[Array, ...]


PageBuilder = Callable[[Mapping[str, Any], Mapping[str, bytes]], str]


def prepare_pack(
    excerpts: Sequence[Excerpt],
    folder: str | Path,
    key_place: str | Path,
    *,
    protocol: str = "abx",
    trials: int = USUAL_TRIALS,
    versions: Sequence[str] = ("first", "second"),
    title: str = "",
    page: PageBuilder,
    force: bool = False,
) -> Prepared:
    """Make a pack and seal its key.

    Names, order, dither and key come from the operating system's entropy; there is no seed.  The
    positive control is the first excerpt with so much treble taken away that the ear model notices
    it for sure, at the same loudness.
    """
    kind = find_protocol(protocol)
    _check(excerpts, Path(folder), Path(key_place), kind.name, trials)
    even = [_even(excerpt) for excerpt in excerpts]
    mains = [
        _Item("main", n, excerpt.title, tuple(equalised(excerpt.versions, excerpt.rate_hz)))
        for n, excerpt in enumerate(_equally_long(even))
    ]
    rate_hz = even[0].rate_hz
    plain = mains[0].versions[0]
    cut_db = _surely_heard_cut_db(plain, rate_hz)
    control = _plain_item("control", mains[0].title, plain, rate_hz, cut_db)
    training = _plain_item("training", "less treble", plain, rate_hz, 2.0 * cut_db)
    items = [*mains, control, training]
    items = _below_peak(items, rate_hz)
    key = draw_key(
        protocol,
        tuple(item.kind for item in items if item.kind != "training"),
        versions=tuple(versions),
        trials=trials,
        control_trials=CONTROL_TRIALS,
    )
    listing, audio = _files_of(items, key, rate_hz, title)
    with WholeFile(key_place, force=force) as sealed:
        os.fchmod(sealed.file.fileno(), 0o600)
        sealed.file.write(json.dumps(key.as_json(), indent=2).encode() + b"\n")
        with whole_folder(Path(folder), force=force) as inside:
            _write(inside, listing, audio, page(listing, audio))
    return Prepared(
        folder=Path(folder),
        key_place=Path(key_place),
        pack=key.pack,
        commitment=key.commitment,
        trials=trials,
        control_trials=CONTROL_TRIALS,
        seconds=len(plain) / rate_hz,
        files=len(audio),
        control_cut_db=cut_db,
    )


def _check(
    excerpts: Sequence[Excerpt], folder: Path, key_place: Path, protocol: str, trials: int
) -> None:
    if not excerpts:
        raise BlindError("a pack needs music; name a piece")
    if key_place.resolve().is_relative_to(folder.resolve()):
        raise BlindError(
            f"the key would lie in the pack ({key_place}), where every listener finds it; keep it "
            "elsewhere"
        )
    if not 1 <= trials <= 200:
        raise BlindError(f"{trials} trials are out of reason; give 1 to 200")
    count = len(excerpts[0].versions)
    if count < 2 or (count > 2 and protocol != "preference"):
        raise BlindError(
            f"{count} versions do not make a test by {protocol}; give two, or more for a preference"
        )
    for excerpt in excerpts:
        first, *others = excerpt.versions
        apart = max(float(np.abs(other - first).max()) for other in others)
        if apart < 2.0**-BITS:
            raise BlindError(
                f"the versions of '{excerpt.title}' are the same: there is nothing to hear; give "
                "versions that differ"
            )


def _even(excerpt: Excerpt) -> Excerpt:
    """At a rate every browser plays."""
    if excerpt.rate_hz in {44100, 48000}:
        return excerpt
    moved = tuple(resample(one, excerpt.rate_hz, 48000) for one in excerpt.versions)
    return replace(excerpt, rate_hz=48000, versions=moved)


def _equally_long(excerpts: Sequence[Excerpt]) -> list[Excerpt]:
    """All excerpts at one rate, with as many channels and as long as each other."""
    if len({excerpt.rate_hz for excerpt in excerpts}) > 1:
        raise BlindError("the pieces have different sampling rates; convert them to one rate first")
    channels = max(excerpt.versions[0].shape[1] for excerpt in excerpts)
    if channels > 2:
        raise BlindError(f"a listening page plays one or two channels, not {channels}")
    frames = min(len(excerpt.versions[0]) for excerpt in excerpts)
    return [
        replace(
            excerpt,
            versions=tuple(
                np.ascontiguousarray(np.broadcast_to(one[:frames], (frames, channels)))
                for one in excerpt.versions
            ),
        )
        for excerpt in excerpts
    ]


def _plain_item(kind: str, title: str, plain: Array, rate_hz: int, cut_db: float) -> _Item:
    """Training or control: a change that anybody hears."""
    pair = (plain, changed_plainly(plain, rate_hz, cut_db))
    return _Item(kind, 0, title, tuple(equalised(pair, rate_hz)))


def _surely_heard_cut_db(plain: Array, rate_hz: int) -> float:
    for cut_db in CONTROL_CUTS_DB:
        pair = EarPair(rate_hz, plain.shape[1], CONTROL_SPL_DB)
        pair.add(*equalised((plain, changed_plainly(plain, rate_hz, cut_db)), rate_hz))
        if (pair.account().detection_probability or 0.0) >= SURELY_HEARD:
            return cut_db
    return CONTROL_CUTS_DB[-1]


def _below_peak(items: Sequence[_Item], rate_hz: int) -> list[_Item]:
    """One gain for all, so that nothing clips and every item plays equally loud."""
    highest = 0.0
    for item in items:
        for version in item.versions:
            meter = TruePeakMeter(rate_hz, version.shape[1])
            meter.add(version)
            highest = max(highest, float(meter.peak.max()))
    gain = min(1.0, 10.0 ** (HIGHEST_PEAK_DBTP / 20.0) / highest) if highest else 1.0
    return [replace(item, versions=tuple(gain * one for one in item.versions)) for item in items]


def _files_of(
    items: Sequence[_Item], key: SealedKey, rate_hz: int, title: str
) -> tuple[dict[str, Any], dict[str, bytes]]:
    """What the page may know, and the files; each version is dithered anew every time."""
    audio: dict[str, bytes] = {}
    keys = iter(key.key)
    listed = []
    for item in items:
        training = item.kind == "training"
        order = ("01", "10")[secrets.randbelow(2)] if training else next(keys)
        entry: dict[str, Any] = {
            "kind": item.kind,
            "excerpt": item.excerpt,
            "title": item.title,
            "named": {},
            "unlabelled": [],
        }
        for name, version in _named(key.protocol):
            entry["named"][name] = _put(audio, item.versions[version], rate_hz)
        entry["unlabelled"] = [_put(audio, item.versions[int(d)], rate_hz) for d in order]
        if training:
            entry["answer"] = order
        listed.append(entry)
    listing = {
        "made_by": "stagefx",
        "format": 1,
        "pack": key.pack,
        "protocol": key.protocol,
        "title": title,
        "commitment": key.commitment,
        "trials": key.trials,
        "control_trials": key.control_trials,
        "versions": max(len(digits) for digits in key.key),
        "rate_hz": rate_hz,
        "seconds": len(items[0].versions[0]) / rate_hz,
        "bits": BITS,
        "items": listed,
    }
    return listing, audio


def _named(protocol: str) -> tuple[tuple[str, int], ...]:
    """The labelled versions of an item, and which version each is."""
    return {"abx": (("A", 0), ("B", 1)), "triple": (("reference", 0),)}.get(protocol, ())


def _put(audio: dict[str, bytes], version: Array, rate_hz: int) -> str:
    made = quantise(version, bits=BITS, first_frame=0, seed=secrets.randbits(63))
    header = wave_header(rate_hz=rate_hz, channels=version.shape[1], bits="24", frames=len(version))
    name = f"{secrets.token_hex(8)}.wav"
    audio[name] = header + sample_bytes(made.codes, "24")
    return name


def _write(inside: Path, listing: dict[str, Any], audio: dict[str, bytes], page: str) -> None:
    for name in sorted(audio):
        (inside / name).write_bytes(audio[name])
    text = json.dumps(listing, indent=1, sort_keys=True, ensure_ascii=False)
    (inside / LIST_NAME).write_text(text + "\n", encoding="utf-8")
    (inside / README_NAME).write_text(read_me(listing), encoding="utf-8")
    (inside / PAGE_NAME).write_text(page, encoding="utf-8")
    for path in inside.iterdir():
        os.utime(path, (TIME_STAMP, TIME_STAMP))
