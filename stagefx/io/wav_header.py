"""WAV and RF64 headers: the same audio gives the same bytes, at any length, and to a pipe.

Written here rather than by libsndfile, whose headers of floating-point files hold the time of
day, and which has to know beforehand whether a file will pass 4 GiB.
"""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

from stagefx.io.containers import Bits

LARGEST_RIFF_BYTES = 0xFFFF0000
"""Beyond it a file becomes RF64; the lengths just below 2**32 mean "not known"."""
UNKNOWN_BYTES = 0xFFFFFFFF

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_GUID_TAIL = bytes.fromhex("000000001000800000aa00389b71")
"""What follows the two bytes of the format in its globally unique name."""
_SPEAKERS = (0, 0x4, 0x3, 0x7, 0x33, 0x37, 0x3F, 0x13F, 0x63F)
"""Speaker positions by the number of channels: L R C and so on, surrounds behind."""
BYTES_PER_SAMPLE = {"16": 2, "24": 3, "float": 4}


def wave_header(
    *, rate_hz: int, channels: int, bits: Bits, frames: int | None, rf64: bool = False
) -> bytes:
    """Everything that comes before the samples.

    ITU-R BS.2088 and EBU Tech 3306: RF64, and the chunk reserved for it in a short file.
    """
    sample_bytes = BYTES_PER_SAMPLE[bits]
    body = _format_chunk(rate_hz, channels, bits)
    if bits == "float":  # a count of frames is asked for wherever samples are not integers
        counted = 0xFFFFFFFF if frames is None else min(frames, 0xFFFFFFFF)
        body += struct.pack("<4sII", b"fact", 4, counted)
    data_bytes = UNKNOWN_BYTES if frames is None else frames * channels * sample_bytes
    riff_bytes = 4 + 36 + len(body) + 8 + data_bytes + data_bytes % 2
    if frames is not None and (rf64 or riff_bytes > LARGEST_RIFF_BYTES):
        start = struct.pack("<4sI4s", b"RF64", UNKNOWN_BYTES, b"WAVE")
        sizes = struct.pack("<4sIQQQI", b"ds64", 28, riff_bytes, data_bytes, frames, 0)
        return start + sizes + body + struct.pack("<4sI", b"data", UNKNOWN_BYTES)
    start = struct.pack("<4sI4s", b"RIFF", min(riff_bytes, UNKNOWN_BYTES), b"WAVE")
    room = struct.pack("<4sI28x", b"JUNK", 28)
    return start + room + body + struct.pack("<4sI", b"data", data_bytes)


def _format_chunk(rate_hz: int, channels: int, bits: Bits) -> bytes:
    sample_bytes = BYTES_PER_SAMPLE[bits]
    code = _FLOAT if bits == "float" else _PCM
    frame_bytes = channels * sample_bytes
    numbers = (channels, rate_hz, rate_hz * frame_bytes, frame_bytes, 8 * sample_bytes)
    if channels <= 2:
        plain = struct.pack("<HHIIHH", code, *numbers)
        plain += b"\0\0" if code == _FLOAT else b""
        return struct.pack("<4sI", b"fmt ", len(plain)) + plain
    extended = struct.pack("<HHIIHH", _EXTENSIBLE, *numbers)
    extended += struct.pack("<HHIH", 22, 8 * sample_bytes, _SPEAKERS[channels], code) + _GUID_TAIL
    return struct.pack("<4sI", b"fmt ", len(extended)) + extended


def sample_bytes(samples: NDArray[np.int32] | NDArray[np.float64], bits: Bits) -> bytes:
    """Samples as they stand in a WAV file."""
    if bits == "float":
        return samples.astype("<f4").tobytes()
    if bits == "16":
        return samples.astype("<i2").tobytes()
    quads = samples.astype("<i4", copy=False).view(np.uint8).reshape(-1, 4)
    return quads[:, :3].tobytes()
