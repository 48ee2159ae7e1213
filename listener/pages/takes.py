"""Sound as it comes from pages: each byte once and in order, whatever connections break in between.

A *take* is the sound of one page from when its microphone was opened. Every message says where in the take it
begins, and the page is told how far its take has come, so that it can send again what was lost.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from listener.levels import Block

#: Bytes before the samples of a message: where it begins, in samples of its take.
HEADER = 4
_NAME = re.compile(r"[a-z0-9-]{8,40}")
_MOST_TAKES = 64


@dataclass(slots=True)
class Takes:
    """How far the sound of each page has come; one page at a time is listened to."""

    current: str | None = None
    _taken: dict[str, int] = field(default_factory=dict)

    def claim(self, name: str) -> int:
        """Listen to this take from now on; how many samples of it have come already.

        Raises :class:`ValueError` for what is no name of a take.
        """
        if not _NAME.fullmatch(name):
            raise ValueError("this is no name of a take")
        self.current = name
        taken = self._taken.pop(name, 0)
        self._taken[name] = taken
        while len(self._taken) > _MOST_TAKES:
            self._taken.pop(next(iter(self._taken)))
        return taken

    def accept(self, name: str, message: bytes) -> Block:
        """The samples of a message that are new; none when the take is not the one listened to, or there is a gap.

        Raises :class:`ValueError` for a message that is no sound.
        """
        if len(message) < HEADER or len(message) % 2:
            raise ValueError("this is no sound")
        start = int.from_bytes(message[:HEADER], "little")
        samples = np.frombuffer(message, dtype="<i2", offset=HEADER).astype(np.int16)
        known = self._taken.get(name, 0)
        if name != self.current or start > known:
            return samples[:0]
        fresh = samples[known - start :]
        self._taken[name] = known + len(fresh)
        return fresh

    def taken(self, name: str) -> int:
        return self._taken.get(name, 0)
