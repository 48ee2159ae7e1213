"""Words said once for a list: "normal mood and affect" is also a normal affect.

The first word of a form may stand for every item of a list ("joint pain or swelling"), and its last word too
("suicidal or homicidal ideation"). Whether it does is asked of the lexicon: "joint swelling" is a form.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lexicon import ANY, Lexicon
from parser.layers import Mention, Term
from parser.terms import FormIndex

_JOIN = frozenset(("and", "or", "nor", ",", "/", "&"))
#: An item that shares a word with another is no longer than this many words.
ITEM = 3
#: Words that stand before a finding and are no part of its name.
_NO_HEAD = frozenset("no not non without a an the any and or nor is are".split())


def shared(
    words: Sequence[str], found: Sequence[Mention], index: FormIndex[Term], lexicon: Lexicon
) -> tuple[Mention, ...]:
    """The mentions with those added, or read anew, whose first or last word was said with another of the list."""
    by_start = {mention.start: mention for mention in found}
    taken = {at for mention in found for at in range(mention.start, mention.end)}
    added: dict[int, Mention] = {}
    for mention in found:
        if mention.end - mention.start < 2 or not _is_concept(mention):
            continue
        for one in (*_after(words, mention, by_start, index, lexicon), *_before(words, mention, taken, index)):
            added.setdefault(one.start, one)
    if not added:
        return tuple(found)
    ends = {start: mention.end for start, mention in added.items()}
    kept = [m for m in found if m.start not in ends and not any(s < m.start < e for s, e in ends.items())]
    return tuple(sorted((*kept, *added.values()), key=lambda mention: mention.start))


def _after(
    words: Sequence[str], mention: Mention, by_start: dict[int, Mention], index: FormIndex[Term], lexicon: Lexicon
) -> Iterator[Mention]:
    first, end = words[mention.start], mention.end
    if first in _NO_HEAD or any(term.absent for term in mention.terms):
        return
    while (at := _joined(words, end)) is not None:
        own = by_start.get(at)
        read = index.find((first, *words[at : at + ITEM]))
        if not read or read[0][0] != 0 or read[0][1] < 2 or not _concepts(read[0][2]):
            return
        end = at + read[0][1] - 1
        if own is not None and (own.end > end or not _vague(own, lexicon)):
            return
        yield Mention(at, end, _concepts(read[0][2]))


def _before(words: Sequence[str], mention: Mention, taken: set[int], index: FormIndex[Term]) -> Iterator[Mention]:
    last, start = words[mention.end - 1], mention.start
    while start >= 2 and words[start - 1] in _JOIN:
        at = start - 2 if words[start - 2] not in _JOIN else start - 3
        if at < 0 or at in taken or words[at] in _NO_HEAD:
            return
        read = index.find((words[at], last))
        if not read or read[0][:2] != (0, 2) or not _concepts(read[0][2]):
            return
        yield Mention(at, at + 1, _concepts(read[0][2]))
        start = at


def _joined(words: Sequence[str], end: int) -> int | None:
    """Where the next item of a list begins behind ``end``; None when nothing joins one."""
    at = end
    while at < len(words) and at - end < 2 and words[at] in _JOIN:
        at += 1
    return at if end < at < len(words) else None


def _is_concept(mention: Mention) -> bool:
    return any(term.kind == "concept" for term in mention.terms)


def _concepts(terms: Sequence[Term]) -> tuple[Term, ...]:
    return tuple(term for term in terms if term.kind == "concept" and not term.absent)


def _vague(mention: Mention, lexicon: Lexicon) -> bool:
    """Whether a mention says less than the word shared with it would: a place, a measure, a word of any station."""
    return all(term.kind != "concept" or lexicon.home[term.id] == ANY for term in mention.terms)
