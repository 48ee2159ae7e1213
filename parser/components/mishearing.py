"""Mishearing: tokens that were heard as something else, read as the term they stand for.

Common mishearings are data (``mishearings.yaml``), each limited to stations where its term belongs.
Every repair is kept with what was heard; numbers and opposites are never repaired.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from spacy.language import Language
from spacy.tokens import Doc

from lexicon import Lexicon, load
from lexicon.schema import Mishearing
from parser.components.layer import PREFIX, situation_of, tokens_of
from parser.layers import Repair
from parser.spelling import SHORTEST, near_misses
from parser.terms import FormIndex, term_index
from parser.tokens import Tokens, words_of


@lru_cache(maxsize=4)
def _index(lexicon: Lexicon) -> FormIndex[Mishearing]:
    entries = getattr(lexicon.files.get("mishearings"), "mishearings", ())
    return FormIndex((form, entry) for entry in entries for form in entry.heard)


def find_repairs(tokens: Tokens, region: str | None, lexicon: Lexicon) -> tuple[Repair, ...]:
    """Places to be read differently, in order, without overlap.

    A mishearing that is an ordinary phrase (``needs`` not empty) is repaired only when one of the
    words it needs stands within five tokens, or the station that is current is one of its own.
    """
    found: list[Repair] = []
    for start, end, entries in _index(lexicon).find(tokens.words):
        entry = entries[0]
        if entry.needs or entry.regions:
            around = {*tokens.words[max(start - 5, 0) : start], *tokens.words[end : end + 5]}
            here = region is not None and region in entry.regions
            if not here and not around & set(entry.needs):
                continue
        found.append(_repair(tokens, start, end, entry.read_as, entry.id))
    taken = {at for repair in found for at in range(repair.start, repair.end)}
    slips = near_misses(lexicon)
    for at, word in enumerate(tokens.words):
        if len(word) >= SHORTEST and at not in taken and (near := slips.of(word)):
            found.append(_repair(tokens, at, at + 1, near, "one slip away"))
    return tuple(sorted(found, key=lambda repair: repair.start))


def _repair(tokens: Tokens, start: int, end: int, text: str, reason: str) -> Repair:
    return Repair(start, end, (tokens.starts[start], tokens.ends[end - 1]), tokens.slice_text(start, end), text, reason)


def repaired(tokens: Tokens, repairs: tuple[Repair, ...]) -> Tokens:
    """Tokens with the repairs read in; every new token keeps the place of what was heard."""
    if not repairs:
        return tokens
    columns: list[tuple[str, int, int, float]] = []
    at = 0
    for repair in repairs:
        columns += zip(
            tokens.words[at : repair.start],
            tokens.starts[at : repair.start],
            tokens.ends[at : repair.start],
            tokens.pauses[at : repair.start],
            strict=True,
        )
        start, end = tokens.starts[repair.start], tokens.ends[repair.end - 1]
        for i, word in enumerate(words_of(repair.text)):
            columns.append((word, start, end, tokens.pauses[repair.start] if i == 0 else 0.0))
        at = repair.end
    columns += zip(tokens.words[at:], tokens.starts[at:], tokens.ends[at:], tokens.pauses[at:], strict=True)
    words, starts, ends, pauses = zip(*columns, strict=True)
    return Tokens(tokens.text, words, starts, ends, pauses)


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
