"""The words of an utterance as understanding reads them: lower case, with places kept.

Understanding does not depend on how a host pipeline tokenises: it reads these tokens, made from
the text alone, and gives its results back as character spans.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

_TOKEN = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)*|\d+(?:,\d{3})+(?!\d)|\d+(?:\.\d+)?|\.\d+|[^\w\s]|_")
_HYPHENS = frozenset("-‐‑–")
_SPELLINGS = str.maketrans({"’": "'"})


@dataclass(frozen=True, slots=True)
class Tokens:
    """Parallel sequences: the i-th token is ``words[i]``, found at ``text[starts[i]:ends[i]]``.

    A hyphen inside a word is no token: "non-tender" and "non tender" read the same. ``pauses[i]``
    is the silence before token i in seconds, 0.0 where unknown. ``confidences[i]`` is how surely it
    was heard, 0..1; empty for text.
    """

    text: str
    words: tuple[str, ...]
    starts: tuple[int, ...]
    ends: tuple[int, ...]
    pauses: tuple[float, ...]
    confidences: tuple[float, ...] = ()

    def __len__(self) -> int:
        return len(self.words)

    def slice_text(self, start: int, end: int) -> str:
        """The text of tokens ``[start, end)`` as written."""
        return self.text[self.starts[start] : self.ends[end - 1]] if end > start else ""


def tokenise(text: str) -> Tokens:
    """Read ``text`` into tokens; any text is accepted."""
    words: list[str] = []
    starts: list[int] = []
    ends: list[int] = []
    lowered = text.lower()
    if len(lowered) != len(text):  # a few letters lower to two: keep the places true
        lowered = "".join(c.lower() if len(c.lower()) == 1 else c for c in text)
    for match in _TOKEN.finditer(lowered.translate(_SPELLINGS)):
        word = match.group()
        if word in _HYPHENS and _inside_word(text, match.start()):
            continue
        words.append(word)
        starts.append(match.start())
        ends.append(match.end())
    return Tokens(text, tuple(words), tuple(starts), tuple(ends), (0.0,) * len(words))


def words_of(form: str) -> tuple[str, ...]:
    """The tokens of a spoken form: the key under which it is found in dictation."""
    return tokenise(form).words


def _inside_word(text: str, at: int) -> bool:
    return 0 < at < len(text) - 1 and text[at - 1].isalpha() and text[at + 1].isalpha()


def with_pauses(tokens: Tokens, pauses: Sequence[float], confidences: Sequence[float] = ()) -> Tokens:
    """The same tokens with the silence before each, in seconds, and how surely each was heard."""
    return Tokens(tokens.text, tokens.words, tokens.starts, tokens.ends, tuple(pauses), tuple(confidences))
