"""Asides: words that are no dictation, because they are spoken to the tool or to somebody.

A direction counts only straight after the tool's name, when nothing comes before it in the breath
and nothing follows it; anything else that sounds like one does nothing. Talk to the person opens
with a cue ("take a deep breath") and ends where dictation starts again ("lungs are clear").
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

from lexicon import Lexicon
from lexicon.schema import AsideCue, DirectionsFile
from parser.components.layer import register
from parser.layers import Aside, Mention
from parser.terms import FormIndex, spellings
from parser.tokens import Tokens

#: A silence of this many seconds ends talk to the person; breath pauses are shorter (common practice).
LONG_PAUSE = 0.8
_END = frozenset(".!?;")
_STATES = frozenset(
    "is are was were looks look sounds sound has have shows show appears appear feels feel remains".split()
)
_NEGATIVE = frozenset("no denies without negative not nontender none".split())
_YOURS = frozenset(("your", "you", "my", "his"))
_BEFORE_NAME = frozenset("the a an my our your this that tape voice video flight event call data".split())


class _Index(NamedTuple):
    names: FormIndex[str]
    directions: FormIndex[str]
    cues: FormIndex[AsideCue]
    resume: FormIndex[str]
    abnormal: frozenset[str]


@lru_cache(maxsize=4)
def _index(lexicon: Lexicon) -> _Index:
    file = lexicon.files.get("directions") or DirectionsFile()
    assert isinstance(file, DirectionsFile)
    spell = spellings(lexicon)
    return _Index(
        FormIndex(((form, form) for form in file.names), spell),
        FormIndex(((form, d.id) for d in file.directions for form in d.forms), spell),
        FormIndex(((form, cue) for cue in file.asides for form in cue.forms), spell),
        FormIndex(((form, form) for form in file.resume), spell),
        frozenset(c.id for c in lexicon.concepts.values() if c.nature != "neutral"),
    )


def find_asides(tokens: Tokens, terms: tuple[Mention, ...], lexicon: Lexicon) -> tuple[Aside, ...]:
    """Directions to the tool, and talk to the person or to others, in order, without overlap."""
    index = _index(lexicon)
    found = list(_directions(tokens, index))
    taken = [(aside.start, aside.end) for aside in found]
    cues = index.cues.find(tokens.words)
    if cues:
        starts = {mention.start: mention for mention in terms}
        resumes = {start for start, _, _ in index.resume.find(tokens.words)}
        last = 0
        for start, end, items in cues:
            if start < last or any(a <= start < b for a, b in taken):
                continue
            last = _reach(tokens, start, end, items[0], starts, resumes, index)
            found.append(Aside(start, last, items[0].kind, items[0].id))
    return tuple(sorted(found, key=lambda aside: aside.start))


def _directions(tokens: Tokens, index: _Index) -> list[Aside]:
    found: list[Aside] = []
    for start, end, _ in index.names.find(tokens.words):
        if not _opens_breath(tokens, start):
            continue
        at = end
        while at < len(tokens) and tokens.words[at] in (",", "please"):
            at += 1
        for first, last, items in index.directions.find(tokens.words[at : at + 8]):
            if first == 0 and _closes_breath(tokens, at + last):
                found.append(Aside(start, at + last, "direction", items[0]))
            break
    return found


def _opens_breath(tokens: Tokens, at: int) -> bool:
    if at == 0:
        return True
    before = tokens.words[at - 1]
    return before not in _BEFORE_NAME and (before in _END or before == "," or tokens.pauses[at] >= LONG_PAUSE / 2)


def _closes_breath(tokens: Tokens, at: int) -> bool:
    while at < len(tokens) and tokens.words[at] in ("please", "now", ","):
        at += 1
    return at >= len(tokens) or tokens.words[at] in _END or tokens.pauses[at] >= LONG_PAUSE / 2


def _reach(
    tokens: Tokens,
    start: int,
    cue_end: int,
    cue: AsideCue,
    starts: dict[int, Mention],
    resumes: set[int],
    index: _Index,
) -> int:
    """The first token after the aside."""
    words = tokens.words
    limit = min(len(words), start + max(cue.reach, cue_end - start))
    at = cue_end
    while at < limit:
        if words[at] in _END:
            return at + 1
        if tokens.pauses[at] >= LONG_PAUSE or at in resumes:
            return at
        if _restarts(words, at, starts, cue.question, index):
            return at
        at += 1
    return at


def _restarts(words: Sequence[str], at: int, starts: dict[int, Mention], question: bool, index: _Index) -> bool:
    if words[at] in _NEGATIVE and (at + 1 in starts or at + 2 in starts):
        return True
    mention = starts.get(at)
    if mention is None:
        return False
    end = mention.end
    if question:
        return end < len(words) and words[end] in _STATES and words[at - 1] not in _YOURS
    if end < len(words) and words[end] in _STATES:
        return True
    if words[at - 1] in _YOURS:
        return False
    follows = starts.get(end) or starts.get(end + 1)
    return _tells(mention, index) or (follows is not None and _tells(follows, index))


def _tells(mention: Mention, index: _Index) -> bool:
    return any(term.id in index.abnormal for term in mention.terms)


create_asides = register("asides", find_asides, ("terms",))
