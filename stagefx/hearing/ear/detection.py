"""How likely a difference between two versions of a piece is noticed."""

from __future__ import annotations

import copy
import math
from array import array
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.hearing.ear.account import LEAST_STEPS_DB, Course, EarAccount, Landscape
from stagefx.hearing.ear.decision import decision, probability
from stagefx.hearing.ear.frames import BATCH_FRAMES, FrameSource
from stagefx.hearing.ear.listening import Desk, Listener
from stagefx.hearing.ear.masking import (
    SHORTEST_S,
    TOO_SHORT,
    WORKERS,
    MaskTally,
    check_pair,
    frame_time_s,
    sounding,
)
from stagefx.hearing.ear.scale import HOP, RATE_HZ, band_centres_hz, band_edges_hz
from stagefx.hearing.ear.spreading import band_table

Array = NDArray[np.float64]

COURSE_FRAMES = 12
"""Frames to a step of the course: 0.256 s."""
BANDS_PER_ROW = 4
"""Bands of the ear to a row of the landscape: a Bark."""
MOST_CELLS = 256


class EarPair:
    """An ear that hears two versions of a piece side by side.

    The versions have to be aligned, within 24 frames by the standard; their level is kept, since
    a step of level is heard, too.  Excitation in 109 bands, 47 times a second; of its difference in
    each band the channel with the larger one.  The probability is calibrated: one half means that
    the median trained listener is right in 75 % of two-interval trials.  It follows from published
    thresholds of level, spectrum and added sound, see `stagefx.hearing.ear.decision`; what the
    standard makes of the same excitations is kept beside it.  Frames are whole ones: of the last
    21 ms only the rising half of a window is seen.  The noise-to-mask ratio takes the first
    version as the music.

    ITU-R BS.1387, annex 2: the ear with a Fourier transform, its probability of detection (4.7),
    noise-to-mask ratio (4.4).  Its overall grade is calibrated on coding faults and not used.
    """

    def __init__(
        self,
        rate_hz: int,
        channels: int,
        full_scale_spl_db: float,
        room_dba: float | None = None,
    ) -> None:
        self._rate_hz, self._channels, self._frames = rate_hz, channels, 0
        self._pool = ThreadPoolExecutor(WORKERS, thread_name_prefix="ear")
        self._source = FrameSource(rate_hz, 2 * channels, self._pool)
        self._heard = _Heard(channels, full_scale_spl_db, room_dba)

    def add(self, first: ArrayLike, second: ArrayLike) -> None:
        """Pass the next stretch of both versions through the ear."""
        rows = check_pair(first, second, self._channels)
        self._frames += rows[0].shape[1]
        for batch in self._source.add(*rows):
            self._heard.take(batch, self._pool)

    def account(self) -> EarAccount:
        """What was found so far."""
        heard = copy.deepcopy(self._heard)
        for batch in self._source.rest():
            heard.take(batch, self._pool)
        return heard.account("" if self._frames >= SHORTEST_S * self._rate_hz else TOO_SHORT)


class _Heard:
    """Ears for both versions, and what they found."""

    def __init__(self, channels: int, full_scale_spl_db: float, room_dba: float | None) -> None:
        bands = band_table().shape[1]
        self._desks = [Desk() for _ in range(channels)]
        self._ears = [Listener(full_scale_spl_db, desk, room_dba) for desk in 2 * self._desks]
        self._noises = np.empty((channels, BATCH_FRAMES, bands))
        self._ratios = np.empty((channels, 2, BATCH_FRAMES, bands))
        self._sizes = np.empty((channels, BATCH_FRAMES, bands))
        self._new_noise = decision().new_noise(room_dba)
        self._settings = decision().kernel_settings()
        self._mean, self._highest = np.zeros(1 + channels * bands), 0.0
        self._smoothed, self._highest_by_standard = np.zeros(2), np.zeros(2)
        self._tally = MaskTally(channels)
        self._course = _CourseKeeper()
        self._landscape = _LandscapeKeeper()

    def take(self, batch: Array, pool: ThreadPoolExecutor) -> None:
        """A batch of frames, the first version's channels before the second's."""
        from stagefx.kernels.ear import detect, detect_by_standard

        channels = len(self._noises)
        alike = [batch] * channels
        count, *_ = list((pool.map if channels > 1 else map)(self._compare, alike, range(channels)))
        evidence, heard, by_standard = np.empty(count), np.empty(count), np.empty((2, count))
        nearest = np.empty((count, self._noises.shape[2]))
        sizes = np.ascontiguousarray(self._sizes[:, :count])
        detect(sizes, self._settings, self._mean, evidence, heard, nearest)
        ratios = np.ascontiguousarray(self._ratios[:, :, :count])
        detect_by_standard(ratios, self._smoothed, by_standard)
        chance = [probability(math.sqrt(square)) for square in heard.tolist()]
        self._highest = max(self._highest, *chance)
        np.maximum(
            self._highest_by_standard, by_standard.max(axis=1), out=self._highest_by_standard
        )
        self._course.take(chance, evidence.tolist())
        self._landscape.take(nearest / decision().step_db)
        self._tally.take(
            [noise[:count] for noise in self._noises],
            [ear.excitation[:count] for ear in self._ears[:channels]],
            sounding(batch, count),
        )

    def _compare(self, batch: Array, channel: int) -> int:
        """One channel of both versions; touches nothing of another channel."""
        from stagefx.kernels.ear import differences, noise_of_difference, steps

        channels = len(self._noises)
        first, second = self._ears[channel], self._ears[channels + channel]
        first.hear(batch[channel])
        count = second.hear(batch[channels + channel])
        noise_of_difference(
            first.magnitudes[:count],
            second.magnitudes[:count],
            band_table(),
            self._desks[channel].squares,
            self._noises[channel, :count],
        )
        levels = first.level_db[:count], second.level_db[:count]
        steps(*levels, self._ratios[channel, :, :count])
        differences(
            first.excitation[:count],
            second.excitation[:count],
            *levels,
            self._new_noise,
            self._sizes[channel, :count],
        )
        return count

    def account(self, reason: str) -> EarAccount:
        """The figures so far."""
        masked = self._tally.account(reason)
        worst = self._landscape.worst
        found = worst[0] > 0.0 and not reason
        return EarAccount(
            detection_probability=None if reason else self._highest,
            standard_probability=None if reason else float(self._highest_by_standard.mean()),
            noise_to_mask_db=masked.noise_to_mask_db,
            disturbed_frames_share=masked.disturbed_frames_share,
            worst_s=frame_time_s(worst[1]) if found else None,
            worst_hz=float(band_centres_hz()[worst[2]]) if found else None,
            worst_steps_db=float(20.0 * np.log10(worst[0])) if found else None,
            course=self._course.course(),
            landscape=self._landscape.landscape(),
            reason=reason,
        )


class _CourseKeeper:
    """Two numbers for every quarter of a second."""

    def __init__(self) -> None:
        self._probability, self._evidence = array("d"), array("d")
        self._frames = 0

    def take(self, chance: list[float], evidence: list[float]) -> None:
        for now, squares in zip(chance, evidence, strict=True):
            if self._frames % COURSE_FRAMES == 0:
                self._probability.append(0.0)
                self._evidence.append(0.0)
            self._probability[-1] = max(self._probability[-1], now)
            self._evidence[-1] += squares / COURSE_FRAMES
            self._frames += 1

    def course(self) -> Course:
        step_s = COURSE_FRAMES * HOP / RATE_HZ
        return Course(step_s, np.array(self._probability), np.array(self._evidence))


class _LandscapeKeeper:
    """The largest difference in every cell; cells grow so that there are never many."""

    def __init__(self) -> None:
        self._starts = np.arange(0, band_centres_hz().size, BANDS_PER_ROW)
        self._cells = np.zeros((MOST_CELLS, self._starts.size))
        self._cell_frames = 1
        self._frames = 0
        self.worst = (0.0, 0, 0)

    def take(self, nearest: Array) -> None:
        frame, band = divmod(int(nearest.argmax()), nearest.shape[1])
        if nearest[frame, band] > self.worst[0]:
            self.worst = (float(nearest[frame, band]), self._frames + frame, band)
        rows = np.maximum.reduceat(nearest, self._starts, axis=1)
        while self._frames + len(rows) > MOST_CELLS * self._cell_frames:
            self._cells[: MOST_CELLS // 2] = np.maximum(self._cells[::2], self._cells[1::2])
            self._cells[MOST_CELLS // 2 :] = 0.0
            self._cell_frames *= 2
        places = (self._frames + np.arange(len(rows))) // self._cell_frames
        np.maximum.at(self._cells, places, rows)
        self._frames += len(rows)

    def landscape(self) -> Landscape:
        cells = -(-self._frames // self._cell_frames)
        edges = band_edges_hz()
        least = 10.0 ** (LEAST_STEPS_DB / 20.0)
        return Landscape(
            cell_s=self._cell_frames * HOP / RATE_HZ,
            edges_hz=np.append(edges[self._starts], edges[-1]),
            steps_db=20.0 * np.log10(np.maximum(self._cells[:cells].T, least)),
        )
