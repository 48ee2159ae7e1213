"""Qualifiers of values: how, where and with what a value was taken, and which of several values has which."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from lexicon import Lexicon
from lexicon.schema.measures import MeasuresFile, Qualifier
from parser.grammar import Phrases
from parser.tokens import Tokens

_JOINING = frozenset(("and", "then", ",", ";", "with", "but"))
_ABOUT = frozenset(("about", "approximately", "approx", "around", "roughly", "~", "nearly", "almost"))
_SINGLE = frozenset(("limb_side", "position", "limb", "oxygen", "temperature_site"))
_FORWARD = frozenset(("repeated",))


@dataclass(frozen=True, slots=True)
class Occurrence:
    """A qualifier said at ``[start, end)``."""

    start: int
    end: int
    qualifier: Qualifier


@lru_cache(maxsize=4)
def phrases(lexicon: Lexicon) -> Phrases[Qualifier]:
    """All qualifiers of a lexicon by their words."""
    table: Phrases[Qualifier] = Phrases()
    file = lexicon.files.get("measures")
    if isinstance(file, MeasuresFile):
        for qualifier in file.qualifiers:
            for form in qualifier.forms:
                table.add(form, qualifier)
    return table


def occurrences(
    tokens: Tokens, span: tuple[int, int], groups: frozenset[str], taken: set[int], lexicon: Lexicon
) -> list[Occurrence]:
    """Qualifiers of ``groups`` in tokens of ``span`` outside ``taken``, longest first from the left."""
    table = phrases(lexicon)
    found: list[Occurrence] = []
    at, end = span
    while at < end:
        matches = table.every(tokens.words, at) if at not in taken else ()
        match = next((match for match in matches if match[1].group in groups), None)
        if match is None or match[0] > end or any(place in taken for place in range(at, match[0])):
            at += 1
            continue
        found.append(Occurrence(at, match[0], match[1]))
        at = match[0]
    return found


def distribute(
    found: Sequence[Occurrence], values: Sequence[tuple[int, int]], words: Sequence[str]
) -> list[list[Occurrence]]:
    """For each value (its token span) the qualifiers that belong to it.

    "lying A standing B" and "A lying B standing" pair them off; one said before the first value
    belongs to all.
    """
    given: list[list[Occurrence]] = [[] for _ in values]
    by_group: dict[str, list[Occurrence]] = {}
    for occurrence in found:
        by_group.setdefault(occurrence.qualifier.group, []).append(occurrence)
    for group in by_group.values():
        for index, occurrence in _pairs(group, values, words):
            given[index].append(occurrence)
    return [sorted(own, key=lambda occurrence: occurrence.start) for own in given]


def _pairs(
    group: list[Occurrence], values: Sequence[tuple[int, int]], words: Sequence[str]
) -> list[tuple[int, Occurrence]]:
    before = [occurrence for occurrence in group if occurrence.end <= values[0][0]]
    if len(values) == 1:
        return [(0, occurrence) for occurrence in (_nearest(group, values[0]) if len(group) > 1 else group)]
    if len(before) == len(group):
        return [(index, occurrence) for index in range(len(values)) for occurrence in group]
    pairs: list[tuple[int, Occurrence]] = []
    if before:
        for index, (start, _) in enumerate(values):
            earlier = [occurrence for occurrence in group if occurrence.end <= start]
            pairs.append((index, earlier[-1]))
        return pairs
    for occurrence in group:
        index = max((i for i, (_, end) in enumerate(values) if end <= occurrence.start), default=0)
        if index + 1 < len(values) and _looks_forward(occurrence, words):
            index += 1
        pairs.append((index, occurrence))
    return pairs


def _nearest(group: list[Occurrence], value: tuple[int, int]) -> list[Occurrence]:
    """Of places and postures one value has one: the nearest said."""
    if group[0].qualifier.group not in _SINGLE:
        return group
    start, end = value
    return [min(group, key=lambda o: start - o.end if o.end <= start else o.start - end)]


def _looks_forward(occurrence: Occurrence, words: Sequence[str]) -> bool:
    return occurrence.qualifier.id in _FORWARD or words[occurrence.start - 1] in _JOINING


def roughly(tokens: Tokens, start: int) -> bool:
    """Whether the number at ``start`` was said to be approximate."""
    return start > 0 and tokens.words[start - 1] in _ABOUT
