"""One channel of sound, frame by frame: its weighted spectrum and the excitation it causes."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from stagefx.hearing.ear.background import bands_in
from stagefx.hearing.ear.frames import BATCH_FRAMES
from stagefx.hearing.ear.scale import FRAME, HOP, spectrum_scale, window
from stagefx.hearing.ear.spreading import band_table, line_range, line_weights

Array = NDArray[np.float64]

AT_ONCE = 16
"""Frames transformed at a time, so that they stay in a processor's cache."""


class Desk:
    """Room to work in, for listeners that take turns."""

    def __init__(self) -> None:
        self.windowed = np.empty((AT_ONCE, FRAME))
        self.spectra = np.empty((AT_ONCE, FRAME // 2 + 1), dtype=np.complex128)
        self.squares = np.empty(line_weights().shape[1])
        self.bands = np.empty((3, band_table().shape[1]))


class Listener:
    """An ear that hears one channel of one version."""

    def __init__(self, full_scale_spl_db: float, desk: Desk, room_dba: float | None = None) -> None:
        self._desk = desk
        self._window = window() * spectrum_scale(full_scale_spl_db)
        self._lines, self._bands = line_weights(), bands_in(room_dba)
        lines, bands = self._lines.shape[1], self._bands.shape[1]
        self._memory = np.zeros(bands)
        self.magnitudes = np.empty((BATCH_FRAMES, lines))
        self.excitation = np.empty((BATCH_FRAMES, bands))
        self.level_db = np.empty((BATCH_FRAMES, bands))

    def look(self, samples: Array) -> int:
        """Take the spectra of a batch of frames."""
        from stagefx.kernels.ear import weigh

        frames = sliding_window_view(samples, FRAME)[::HOP]
        desk, first = self._desk, line_range()[0]
        for start in range(0, len(frames), AT_ONCE):
            few = frames[start : start + AT_ONCE]
            windowed, spectra = desk.windowed[: len(few)], desk.spectra[: len(few)]
            np.multiply(few, self._window, out=windowed)
            np.fft.rfft(windowed, out=spectra)
            weigh(
                spectra.view(np.float64),
                self._lines,
                first,
                self.magnitudes[start : start + AT_ONCE],
            )
        return len(frames)

    def hear(self, samples: Array) -> int:
        """Take the spectra of a batch of frames, and the excitation they cause."""
        from stagefx.kernels.ear import excite

        count = self.look(samples)
        excite(
            self.magnitudes[:count],
            self._bands,
            self._memory,
            self._desk.squares,
            self._desk.bands,
            self.excitation[:count],
            self.level_db[:count],
        )
        return count
