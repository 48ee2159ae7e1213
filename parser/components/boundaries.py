"""Finds where one statement ends and the next begins, with or without punctuation."""

from __future__ import annotations

from collections.abc import Sequence

from lexicon import Lexicon
from parser.components.cues import cue_book
from parser.layers import Boundary
from parser.tokens import Tokens

_STOPS = frozenset(".;!?")
_ABBREVIATIONS = frozenset("dr mr mrs ms st vs approx no pt hx dx rt lt st jr sr".split())


def find_boundaries(
    tokens: Tokens, mentions: Sequence[tuple[int, int, str]], lexicon: Lexicon
) -> tuple[Boundary, ...]:
    """Where statements begin after the first, in order.

    ``mentions`` are token spans ``[start, end)`` with what is known there: "region", "site",
    "concept", "measure" or "scale".
    """
    book = cue_book(lexicon)
    found: dict[int, str] = {}
    for i, word in enumerate(tokens.words):
        if not i:
            continue
        if _is_stop(tokens, i - 1):
            found[i] = "mark"
        elif "\n" in tokens.text[tokens.ends[i - 1] : tokens.starts[i]]:
            found[i] = "line"
        elif word in book.openers and tokens.words[i - 1] not in book.unfinished:
            found[i] = "opener"
    return tuple(Boundary(at, found[at]) for at in sorted(found))


def _is_stop(tokens: Tokens, i: int) -> bool:
    word = tokens.words[i]
    if word not in _STOPS:
        return False
    before = tokens.words[i - 1] if i else ""
    after = tokens.words[i + 1] if i + 1 < len(tokens) else ""
    if word == ".":
        attached = i + 1 < len(tokens) and tokens.starts[i + 1] == tokens.ends[i]
        return not (attached or after == "." or before in _ABBREVIATIONS or (before == "." and after == "."))
    if word == "?":
        return not (i + 1 < len(tokens) and tokens.starts[i + 1] == tokens.ends[i])
    return True
