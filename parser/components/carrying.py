"""What an utterance leaves open for the next one: pauses fall inside statements too."""

from __future__ import annotations

from collections.abc import Sequence

from lexicon import Lexicon
from parser.components.cues import cue_book
from parser.layers import Assertion
from parser.tokens import Tokens

#: Words that go on with a list of the utterance before: "no masses" ... "or tenderness".
CONTINUES = frozenset(("or", "nor"))


def left_open(tokens: Tokens, lexicon: Lexicon) -> str | None:
    """The last words when they cannot end a statement, else None: "no", "denies any", "redness or", "edema of the".

    A mark that ends a sentence closes whatever stands before it.
    """
    book = cue_book(lexicon)
    reading = book.read(tokens.words)
    words = reading.words
    if not words:
        return None
    last = words[-1]
    if last in book.unfinished or last in book.joins:
        return last
    cues = book.find(words)
    if not cues or cues[-1].end < len(words):
        return None
    found = cues[-1]
    waits = found.cue.side == "after" and found.cue.status not in ("none", "break")
    alone = found.cue.side == "either" and found.start == 0
    return " ".join(words[found.start :]) if waits or alone else None


def open_negation(
    tokens: Tokens, spans: Sequence[tuple[int, int]], assertions: Sequence[Assertion]
) -> str | None:
    """The cue of a negated list that the utterance ends in, else None: "no masses lesions".

    ``assertions`` are parallel to ``spans``, as :func:`parser.components.assertion.assert_status` gives
    them. When the next utterance begins with "or" or "nor", pass the cue there as ``open_negation``.
    """
    if not spans:
        return None
    last = max(range(len(spans)), key=lambda i: spans[i][1])
    given = assertions[last]
    if given.status != "absent" or given.cue is None or given.cue[0] >= spans[last][0]:
        return None
    rest = tokens.words[spans[last][1] :]
    return given.cue_text if all(word == "," for word in rest) else None
