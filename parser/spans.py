"""Status of given spans of a text, with nothing else of the pipeline."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence

import lexicon as knowledge
from lexicon import Lexicon
from parser.components.assertion import assert_status
from parser.components.boundaries import find_boundaries
from parser.layers import Assertion
from parser.tokens import Tokens, tokenise


def assert_spans(text: str, spans: Sequence[tuple[int, int]], lexicon: Lexicon | None = None) -> list[str]:
    """The status of each character span ``[start, end)`` of ``text``, in the order of ``spans``.

    A status is one of present, absent, uncertain, not_assessed, history, family, hypothetical. Works
    with or without punctuation and for spans in any order. ``lexicon`` gives the cues; None takes the
    lexicon that comes with the project. Raises ValueError for a span that is no part of the text.
    """
    return [assertion.status for assertion in assertions_of_spans(text, spans, lexicon)]


def assertions_of_spans(
    text: str, spans: Sequence[tuple[int, int]], lexicon: Lexicon | None = None
) -> tuple[Assertion, ...]:
    """As :func:`assert_spans`, with the cue that decided each; its place is in tokens of the text."""
    for start, end in spans:
        if not 0 <= start < end <= len(text):
            raise ValueError(f"span ({start}, {end}) is no part of a text of {len(text)} characters")
    lexicon = lexicon or knowledge.load()
    tokens = tokenise(text)
    placed = [tokens_of_span(tokens, start, end) for start, end in spans]
    whole = [place for place in placed if place is not None]
    boundaries = find_boundaries(tokens, [(start, end, "concept") for start, end in sorted(set(whole))], lexicon)
    given = iter(assert_status(tokens, whole, boundaries, lexicon))
    return tuple(Assertion("present") if place is None else next(given) for place in placed)


def tokens_of_span(tokens: Tokens, start: int, end: int) -> tuple[int, int] | None:
    """The tokens that a character span touches; None where it touches none (blanks)."""
    first, last = bisect_right(tokens.ends, start), bisect_left(tokens.starts, end)
    return (first, last) if first < last else None
