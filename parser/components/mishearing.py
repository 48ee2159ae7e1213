"""Mishearing: tokens that were heard as something else, read as the term they stand for.

Three ways, in this order: common mishearings are data (``mishearings.yaml``), each limited to stations or company where
its term belongs; slips of a letter (:mod:`parser.spelling`); and words that make no sense where they stand, read as the
piece of the lexicon they sound like (:mod:`parser.components.mishearing_sounds`). Every repair is kept with what was
heard; numbers and opposites are never repaired.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from spacy.language import Language
from spacy.tokens import Doc

from lexicon import Lexicon, load
from lexicon.schema import Mishearing
from parser.components.layer import PREFIX, situation_of, tokens_of
from parser.components.mishearing_sounds import repairer
from parser.layers import Repair
from parser.spelling import SHORTEST, near_misses
from parser.terms import FormIndex, term_index
from parser.tokens import Tokens, words_of

#: Words within this many are near by; names of findings have at most so many words.
_NEAR = 5
_LONGEST_NAME = 6
#: How often what was read is read again.
_PASSES = 3


@lru_cache(maxsize=4)
def _index(lexicon: Lexicon) -> FormIndex[Mishearing]:
    entries = getattr(lexicon.files.get("mishearings"), "mishearings", ())
    return FormIndex((form, entry) for entry in entries for form in entry.heard)


def find_repairs(tokens: Tokens, region: str | None, lexicon: Lexicon) -> tuple[Repair, ...]:
    """Places to be read differently, in order, without overlap.

    What was repaired can tell what stands beside it, so what was read is read again until nothing more is found,
    a few times at most: with the repairs read in, nothing is left to repair.
    """
    repairs = _find(tokens, region, lexicon)
    for _ in range(_PASSES):
        if not repairs:
            break
        read = repaired(tokens, repairs)
        more = _find(read, region, lexicon)
        if not more:
            break
        before = repairs
        for repair in more:
            repairs = _with(tokens, repairs, before, read, repair)
    return repairs


def _with(
    tokens: Tokens, repairs: tuple[Repair, ...], before: tuple[Repair, ...], read: Tokens, more: Repair
) -> tuple[Repair, ...]:
    """``repairs`` of ``tokens`` with one more, found in what ``before`` made of them (``read``).

    Where another was added already, the next reading will find it.
    """
    start = bisect_left(tokens.starts, read.starts[more.start])
    end = bisect_left(tokens.ends, read.ends[more.end - 1]) + 1
    within = [r for r in repairs if r.start < end and r.end > start]
    if any(r not in before for r in within):
        return repairs
    start, end = min([start, *(r.start for r in within)]), max([end, *(r.end for r in within)])
    first = bisect_left(read.starts, tokens.starts[start])
    last = bisect_right(read.ends, tokens.ends[end - 1])
    text = " ".join((*read.words[first : more.start], more.text, *read.words[more.end : last]))
    reason = "; ".join((*(r.reason for r in within), more.reason))
    kept = [r for r in repairs if r not in within]
    return tuple(sorted([*kept, _repair(tokens, start, end, text, reason)], key=lambda repair: repair.start))


def _find(tokens: Tokens, region: str | None, lexicon: Lexicon) -> tuple[Repair, ...]:
    index = _index(lexicon)
    found: list[Repair] = []
    for start, end, entries in index.find(tokens.words):
        entry = next((e for e in entries if _believed(e, tokens.words, start, end, region, lexicon)), None)
        if entry is not None:
            found.append(_repair(tokens, start, end, entry.read_as, entry.id))
    taken = {at for repair in found for at in range(repair.start, repair.end)}
    slips = near_misses(lexicon)
    for at, word in enumerate(tokens.words):
        if len(word) >= SHORTEST and at not in taken and (near := slips.of(word)):
            found.append(_repair(tokens, at, at + 1, near, "one slip away"))
            taken.add(at)
    found += _sounded(tokens, region, lexicon, taken)
    return tuple(sorted(found, key=lambda repair: repair.start))


def _believed(
    entry: Mishearing, words: Sequence[str], start: int, end: int, region: str | None, lexicon: Lexicon
) -> bool:
    """Whether a common mishearing keeps the company that its entry asks for."""
    before = words[start - 1] if start else ""
    if before in entry.not_after or (entry.after and before not in entry.after):
        return False
    if entry.then == "end" and end < len(words) and words[end].isalnum():
        return False
    if entry.then == "finding" and not _abnormal_at(words, end, lexicon):
        return False
    if not (entry.needs or entry.regions):
        return True
    around = {*words[max(start - _NEAR, 0) : start], *words[end : end + _NEAR]}
    return (region is not None and region in entry.regions) or bool(around & set(entry.needs))


def _abnormal_at(words: Sequence[str], at: int, lexicon: Lexicon) -> bool:
    found = term_index(lexicon).find(words[at : at + _LONGEST_NAME])
    if not found or found[0][0] != 0:
        return False
    concepts = (lexicon.concepts.get(term.id) for term in found[0][2] if term.kind == "concept")
    return any(concept is not None and concept.nature == "abnormal" for concept in concepts)


def _sounded(tokens: Tokens, region: str | None, lexicon: Lexicon, taken: set[int]) -> Iterator[Repair]:
    """Words that sound like a piece of the lexicon, where nothing else has read them."""
    confidences = tokens.confidences or (None,) * len(tokens)
    for one in repairer(lexicon).readings(tokens.words, confidences, region):
        if taken.isdisjoint(range(one.start, one.end)):
            text = " ".join(one.piece)
            yield _repair(tokens, one.start, one.end, text, f"sounds like '{text}'")


def _repair(tokens: Tokens, start: int, end: int, text: str, reason: str) -> Repair:
    return Repair(start, end, (tokens.starts[start], tokens.ends[end - 1]), tokens.slice_text(start, end), text, reason)


def repaired(tokens: Tokens, repairs: tuple[Repair, ...]) -> Tokens:
    """Tokens with the repairs read in; every new token keeps the place of what was heard."""
    if not repairs:
        return tokens
    confidences = tokens.confidences or (1.0,) * len(tokens)
    columns: list[tuple[str, int, int, float, float]] = []
    at = 0
    for repair in repairs:
        columns += zip(
            tokens.words[at : repair.start],
            tokens.starts[at : repair.start],
            tokens.ends[at : repair.start],
            tokens.pauses[at : repair.start],
            confidences[at : repair.start],
            strict=True,
        )
        start, end = tokens.starts[repair.start], tokens.ends[repair.end - 1]
        sure = min(confidences[repair.start : repair.end])
        for i, word in enumerate(words_of(repair.text)):
            columns.append((word, start, end, tokens.pauses[repair.start] if i == 0 else 0.0, sure))
        at = repair.end
    rest = (tokens.words, tokens.starts, tokens.ends, tokens.pauses, confidences)
    columns += zip(*(column[at:] for column in rest), strict=True)
    words, starts, ends, pauses, sure_of = zip(*columns, strict=True)
    return Tokens(tokens.text, words, starts, ends, pauses, sure_of if tokens.confidences else ())


@dataclass(frozen=True)
class _MishearingComponent:
    lexicon: Lexicon

    def __call__(self, doc: Doc) -> Doc:
        tokens = tokens_of(doc)
        repairs = find_repairs(tokens, situation_of(doc).region, self.lexicon)
        doc._.crownsole_repairs = repairs
        doc._.crownsole_tokens = repaired(tokens, repairs)
        return doc


@Language.factory(
    PREFIX + "mishearing", default_config={"packs": []}, assigns=["doc._.crownsole_repairs", "doc._.crownsole_tokens"]
)
def create_mishearing(nlp: Language, name: str, packs: list[str]) -> _MishearingComponent:
    """Component that reads mishearings as the terms they stand for; ``packs`` are lexicon folders."""
    lexicon = load(packs)
    term_index(lexicon)
    return _MishearingComponent(lexicon)
