"""Listening without keeping: to check the microphone, until "recorder begin" is said."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

import numpy as np

from listener.levels import Block, RunningGain
from listener.pages.ears import Hears
from listener.session import Words
from listener.sound import RATE
from parser.pipeline import understand
from parser.statements import Situation
from parser.transcript import utterance_of_words

_REMEMBERED_S = 3.0
_AFTER_WORD_S = 0.1


class Trial:
    """Hears sound and tells the words; ``tell(text, ended)``. Nothing of it is kept."""

    def __init__(self, ears: Hears, packs: tuple[str, ...], tell: Callable[[str, bool], None]) -> None:
        assert ears.listen is not None
        self._packs = packs
        self._tell = tell
        self._hearing = ears.listen(lambda text: tell(text, False))
        self._gain = RunningGain()
        self._samples = 0
        self._last: deque[Block] = deque()

    def hear(self, block: Block) -> list[Block] | None:
        """Hear a block. When the words ask for the beginning: the sound that came after them; else None."""
        self._samples += len(block)
        self._remember(block)
        for words in self._hearing.accept(self._gain.apply(block)):
            self._tell(" ".join(word.text for word in words), True)
            if self._asks_to_begin(words):
                return self._after(words[-1].end or 0.0)
        return None

    def _remember(self, block: Block) -> None:
        self._last.append(block)
        while sum(map(len, self._last)) - len(self._last[0]) > _REMEMBERED_S * RATE:
            self._last.popleft()

    def _asks_to_begin(self, words: Words) -> bool:
        understood = understand(utterance_of_words(tuple(words), 1, 0, 0), Situation(), self._packs, last=True)
        return any(aside.kind == "direction" and aside.id == "begin" for aside, _ in understood.asides)

    def _after(self, end: float) -> list[Block]:
        sound = np.concatenate(list(self._last))
        wanted = max(0, self._samples - round((end + _AFTER_WORD_S) * RATE))
        return [sound[max(0, len(sound) - wanted) :]]
