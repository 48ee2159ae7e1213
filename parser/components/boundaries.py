"""Finds where one statement ends and the next begins, with or without punctuation.

Marks are taken as they are. Between marks a small trained model (:mod:`parser.components.breaks`) reads
the words; the speaker's pauses and the terms of the lexicon move its score. All scores are log-odds.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from functools import lru_cache

from lexicon import Lexicon
from lexicon.weights import break_weights
from parser.components.breaks import NEVER, BreakModel
from parser.components.cues import CueBook, cue_book
from parser.layers import Boundary
from parser.tokens import Tokens

#: A statement begins where the score reaches this.
THRESHOLD = 0.0
#: Between two marks that stand no further apart than so many words the model has to be surer by so much.
MARKED, WORDS_A_MARK = 4.0, 25
#: What a term of the lexicon adds to the score of the gap before it.
TERM = {"region": 3.0, "measure": 2.0}
#: What a site adds where a finding, a value or a term follows it at once ("abdomen soft", "carotids two plus").
SITE_BEFORE_FINDING = 3.0
#: A pause adds its seconds above the first figure, times the second, within the two limits: pauses fall inside
#: statements too, and words run on over statement ends.
PAUSE_USUAL_S, PAUSE_WEIGHT, PAUSE_LEAST, PAUSE_MOST = 0.25, 1.5, -0.3, 2.0

_STOPS = frozenset(".;!?")
_MARKS = frozenset(".;!?,")
_ABBREVIATIONS = frozenset(("dr", "mr", "mrs", "ms", "st", "vs", "approx", "pt", "hx", "dx", "rt", "lt", "jr", "sr"))


@lru_cache(maxsize=1)
def _model() -> BreakModel:
    return BreakModel(break_weights())


def find_boundaries(
    tokens: Tokens, mentions: Sequence[tuple[int, int, str]], lexicon: Lexicon, model: BreakModel | None = None
) -> tuple[Boundary, ...]:
    """Where statements begin after the first, in order.

    ``mentions`` are token spans ``[start, end)`` with what is known there: "region", "site",
    "concept", "measure" or "scale"; a statement never begins inside one. ``reason`` of a
    :class:`~parser.layers.Boundary` is "mark" (punctuation), "line" (a line end), "term" (a region,
    measure or site that opens a new subject), "pause" or "words" (the words alone). ``model`` is for
    measuring another than the one that comes with the lexicon.
    """
    book = cue_book(lexicon)
    found = _marks(tokens)
    terms = _terms(tokens, mentions, book)
    _bar_cues(tokens, book, terms)
    first = 0
    for last in (*found, len(tokens)):
        kept = [i for i in range(first, last) if tokens.words[i][0].isalnum() and tokens.words[i] not in book.fillers]
        if len(kept) > 1:
            found |= _between(tokens, kept, (first, last), terms, book, model or _model())
        first = last
    return tuple(Boundary(at, found[at]) for at in sorted(found))


def _between(
    tokens: Tokens, kept: list[int], span: tuple[int, int], terms: dict[int, float], book: CueBook, model: BreakModel
) -> dict[int, str]:
    """Statement starts inside a stretch without an end mark; ``kept`` are its words.

    A stretch is read by itself, so that what follows it changes nothing in it.
    """
    words = [tokens.words[i] for i in kept]
    surer = _surer(tokens, kept, span)
    pauses = _pauses(tokens, kept)
    bonus = [terms.get(i, 0.0) + pause - more for i, pause, more in zip(kept, pauses, surer, strict=True)]
    for n in range(1, len(words)):
        if words[n - 1] in book.unfinished:
            bonus[n] = NEVER
    return {
        kept[n]: _reason(score, terms.get(kept[n], 0.0), pauses[n])
        for n, score in enumerate(model.scores(words, bonus, THRESHOLD))
        if score >= THRESHOLD
    }


def _surer(tokens: Tokens, kept: list[int], span: tuple[int, int]) -> list[float]:
    """How much surer the model has to be before each word: where marks stand near, they tell the statements."""
    start, end = span
    marks = [i for i in range(start, end) if tokens.words[i] in _MARKS]
    edges = [bisect_left(kept, mark) for mark in marks]
    out: list[float] = []
    for edge in edges:
        out += [MARKED if edge - len(out) <= WORDS_A_MARK else 0.0] * (edge - len(out))
    near = (start > 0 or edges) and len(kept) - len(out) <= WORDS_A_MARK
    return out + [MARKED if near else 0.0] * (len(kept) - len(out))


def _reason(score: float, term: float, pause: float) -> str:
    if score - max(term, 0.0) - max(pause, 0.0) >= THRESHOLD:
        return "words"
    return "term" if term >= pause else "pause"


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
        letter = len(before) == 1 and before.isalpha() and before not in "ai"
        return not (attached or letter or before == "." or before in _ABBREVIATIONS)
    return not (word == "?" and attached)


def _pauses(tokens: Tokens, kept: list[int]) -> list[float]:
    """What the silence before each kept word adds; nothing where no pause is known."""
    if not any(tokens.pauses):
        return [0.0] * len(kept)
    return [
        min(PAUSE_MOST, max(PAUSE_LEAST, (tokens.pauses[i] - PAUSE_USUAL_S) * PAUSE_WEIGHT)) for i in kept
    ]


def _terms(tokens: Tokens, mentions: Sequence[tuple[int, int, str]], book: CueBook) -> dict[int, float]:
    """What the terms of the lexicon add to the gap before each token."""
    added: dict[int, float] = {}
    ordered = sorted(mentions)
    for n, (start, end, kind) in enumerate(ordered):
        weight = TERM.get(kind, 0.0)
        if kind == "site" and _has_finding(tokens, end, ordered[n + 1] if n + 1 < len(ordered) else None, book):
            weight = SITE_BEFORE_FINDING
        first = start
        while first and tokens.words[first - 1] in book.leads:
            first -= 1
        if weight:
            added[first] = max(weight, added.get(first, weight))
        for place in range(first + 1, end):
            added[place] = NEVER
    return added


def _bar_cues(tokens: Tokens, book: CueBook, added: dict[int, float]) -> None:
    """No statement begins inside a cue, between a cue and what it governs, or at a cue that looks back."""
    reading = book.read(tokens.words)
    for found in book.find(reading.words):
        first, last = found.start + 1, found.end
        if found.cue.side == "before" and found.cue.status != "history":
            first -= 1
        elif found.cue.side == "after" and found.cue.status not in ("none", "break"):
            last += 1
        for place in range(first, min(last, len(reading.at))):
            added[reading.at[place]] = NEVER


def _has_finding(tokens: Tokens, end: int, following: tuple[int, int, str] | None, book: CueBook) -> bool:
    """Whether a finding, a measure or a number stands right behind a site, or behind "is" or "are" after it."""
    while end < len(tokens) and tokens.words[end] in book.links:
        end += 1
    if following is not None and following[0] <= end < following[1]:
        return following[2] in ("concept", "scale", "measure")
    return end < len(tokens) and tokens.words[end][0].isdigit()

