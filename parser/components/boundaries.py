"""Finds where one statement ends and the next begins, with or without punctuation.

Marks are taken as they are. Between marks a small trained model (:mod:`parser.components.breaks`) reads
the words; pauses of the speaker and the terms of the lexicon are weighed in.
"""

from __future__ import annotations

from collections.abc import Sequence

from lexicon import Lexicon
from lexicon.weights import break_weights
from parser.components.breaks import probabilities
from parser.components.cues import cue_book
from parser.layers import Boundary
from parser.tokens import Tokens

#: A statement begins where the model is at least this sure; in text with marks it has to be surer.
UNMARKED, MARKED = 0.5, 0.98
#: Text with fewer words a mark than this is text with marks.
WORDS_A_MARK = 25

_STOPS = frozenset(".;!?")
_MARKS = frozenset(".;!?,")
_ABBREVIATIONS = frozenset("dr mr mrs ms st vs approx pt hx dx rt lt jr sr no".split())


def find_boundaries(
    tokens: Tokens, mentions: Sequence[tuple[int, int, str]], lexicon: Lexicon
) -> tuple[Boundary, ...]:
    """Where statements begin after the first, in order.

    ``mentions`` are token spans ``[start, end)`` with what is known there: "region", "site",
    "concept", "measure" or "scale".
    """
    found = _marks(tokens)
    marks = sum(word in _MARKS for word in tokens.words)
    threshold = MARKED if marks * WORDS_A_MARK >= len(tokens) else UNMARKED
    inside = {place for start, end, _ in mentions for place in range(start + 1, end)}
    fillers = cue_book(lexicon).fillers
    kept = [i for i, word in enumerate(tokens.words) if word[0].isalnum() and word not in fillers]
    for i, p in zip(kept, probabilities([tokens.words[i] for i in kept], break_weights(), threshold), strict=True):
        if p >= threshold and i not in inside:
            found.setdefault(i, "words")
    return tuple(Boundary(at, found[at]) for at in sorted(found))


def _marks(tokens: Tokens) -> dict[int, str]:
    """Statement starts given by punctuation and line ends."""
    found: dict[int, str] = {}
    for i in range(1, len(tokens)):
        if is_stop(tokens, i - 1):
            found[i] = "mark"
        elif tokens.starts[i] - tokens.ends[i - 1] > 0 and "\n" in tokens.text[tokens.ends[i - 1] : tokens.starts[i]]:
            found[i] = "line"
    return found


def is_stop(tokens: Tokens, i: int) -> bool:
    """Whether token ``i`` is a mark that ends a statement, and not part of "Dr.", "p.r.n." or "uh..."."""
    word = tokens.words[i]
    if word not in _STOPS:
        return False
    attached = i + 1 < len(tokens) and tokens.starts[i + 1] == tokens.ends[i]
    if word == ".":
        before = tokens.words[i - 1] if i else ""
        return not (attached or before in _ABBREVIATIONS or before == "." or (len(before) == 1 and before.isalpha() and before not in "ai"))
    return not (word == "?" and attached)
