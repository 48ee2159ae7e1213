"""Lists: which of the boundaries found from words alone fall inside a list of findings.

"denies sore throat ear pain or congestion" is one list though nothing but its shape says so. A model
of prose sees statements there; the lexicon sees three abnormal findings in a row.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from lexicon import Lexicon
from parser.layers import Boundary, Mention
from parser.tokens import Tokens

_SMALL = frozenset(
    "the a an any of her his their left right both bilateral some mild and or nor , / & other recent".split()
)
_JOIN = frozenset(("or", "nor"))
_AFTER = frozenset(("bilaterally", "bilateral", "bilat", "throughout"))
_TOLD = frozenset("is are was were present noted seen positive has shows plus".split())

#: A stretch of no more tokens than this that tells nothing belongs to the statement before it.
STRETCH = 8
#: A list may go on for this many terms before its "or" comes.
LIST = 6

WORDS, DOUBTFUL = "words", "doubtful"


def settled(
    tokens: Tokens, terms: tuple[Mention, ...], found: tuple[Boundary, ...], lexicon: Lexicon
) -> tuple[Boundary, ...]:
    """The boundaries that stand; those inside a list of uncertain length are kept with reason "doubtful"."""
    tell = [mention.start for mention in terms if any(term.kind != "site" for term in mention.terms)]
    starts = [mention.start for mention in terms]
    ends = [boundary.at for boundary in found[1:]] + [len(tokens)]
    kept: list[Boundary] = []
    last = 0
    for boundary, end in zip(found, ends, strict=False):
        if boundary.reason != WORDS:
            kept.append(boundary)
            last = boundary.at
            continue
        if _tells_nothing(tell, boundary.at, end) or _names_only(tell, starts, last, boundary.at):
            continue
        if tokens.words[boundary.at] in _AFTER:
            continue
        shape = _inside_list(tokens.words, terms, bisect_left(starts, boundary.at), boundary.at, lexicon)
        if shape != "list":
            kept.append(Boundary(boundary.at, DOUBTFUL) if shape == DOUBTFUL else boundary)
            last = boundary.at if shape != DOUBTFUL else last
    return tuple(kept)


def _tells_nothing(tell: Sequence[int], start: int, end: int) -> bool:
    """ "edema | right leg": a place or a side is no statement."""
    return end - start <= STRETCH and bisect_left(tell, end) <= bisect_left(tell, start)


def _names_only(tell: Sequence[int], starts: Sequence[int], start: int, end: int) -> bool:
    """ "left heel | stage two pressure injury": the place belongs to what follows."""
    return _tells_nothing(tell, start, end) and bisect_left(starts, end) > bisect_left(starts, start)


def _inside_list(words: Sequence[str], terms: tuple[Mention, ...], following: int, at: int, lexicon: Lexicon) -> str:
    """ "list" when the boundary is inside a list, "doubtful" when it may be, else ""."""
    if not 0 < following < len(terms):
        return ""
    before, after = terms[following - 1], terms[following]
    if after.start - before.end > 3 or not all(word in _SMALL for word in words[before.end : after.start]):
        return ""
    if not _listable(before, lexicon) or (after.end < len(words) and words[after.end] in _TOLD):
        return ""
    if not _listable(after, lexicon):
        compound = _is_site(after) and following + 1 < len(terms) and terms[following + 1].start == after.end
        return (
            DOUBTFUL
            if compound and _listable(terms[following + 1], lexicon) and _closes(words, terms, following, lexicon)
            else ""
        )
    if _closes(words, terms, following, lexicon):
        return "list"
    return DOUBTFUL


def _closes(words: Sequence[str], terms: tuple[Mention, ...], following: int, lexicon: Lexicon) -> bool:
    """Whether an "or" ahead joins the next terms into one list."""
    for i in range(following, min(following + LIST, len(terms))):
        if i > following:
            gap = words[terms[i - 1].end : terms[i].start]
            if any(word in _JOIN for word in gap):
                return all(word in _SMALL for word in gap)
            if not all(word in _SMALL for word in gap):
                return False
        if not (_listable(terms[i], lexicon) or _is_site(terms[i])):
            return False
    return False


def _is_site(mention: Mention) -> bool:
    return any(term.kind == "site" for term in mention.terms)


def _listable(mention: Mention, lexicon: Lexicon) -> bool:
    """A finding, report or device that can be one of several in a negated list: no normal word."""
    return any(
        term.kind == "concept" and not term.absent and lexicon.concepts[term.id].nature != "normal"
        for term in mention.terms
    )
