"""Terms: every place where a spoken form of the lexicon stands."""

from __future__ import annotations

from collections.abc import Iterator

from lexicon import Lexicon
from parser.components.boundaries import is_stop
from parser.components.layer import register
from parser.components.sharing import shared
from parser.layers import Mention, Number, Term
from parser.terms import FormIndex, term_index
from parser.tokens import Tokens

#: Words that may stand between a measure and its number.
#: A measure whose number is further than this many tokens has none ("radial pulse on the left is weak").
NUMBER_NEAR = 6
_BETWEEN = frozenset("is are was of at".split())


def find_terms(tokens: Tokens, numbers: tuple[Number, ...], lexicon: Lexicon) -> tuple[Mention, ...]:
    """Mentions of stations, sites, concepts, measures and scales; longest form first, in order.

    A longer form gives way when a number follows and its end names a measure: "regular respirations
    sixteen" is a rhythm and a rate, not a finding.
    """
    index = term_index(lexicon)
    units = {number.end - 1 for number in numbers if number.readings[0].unit}
    starts = {number.start for number in numbers}
    stops = {number.end for number in numbers}
    grades = {at for number in numbers if number.readings[0].shape == "grade" for at in (number.start, number.end)}
    found: list[Mention] = []
    for start, end, terms in index.find(tokens.words):
        parted = _parted(tokens, start, end, terms, starts, lexicon) if end - start > 1 and starts else None
        if any(term.kind == "site" for term in terms) and end - start == 1 and start in units:
            continue  # "two hundred feet"
        numberless = starts.isdisjoint(_near(tokens, end)) and stops.isdisjoint(range(start - NUMBER_NEAR, start + 1))
        if (
            end - start > 1
            and all(term.kind == "measure" for term in terms)
            and (numberless or not grades.isdisjoint((start, end, end + 1)))
        ):
            parted = [
                Mention(start + a, start + b, t)
                for span in ((0, end - start - 1), (end - start - 1, end - start))
                for a, b, t in _inside(index, tokens.words[start:end], span)
            ]
            if not any(term.kind == "concept" for mention in parted for term in mention.terms):
                parted = None
        found += parted if parted else [Mention(start, end, terms)]
    return shared(tokens.words, found, index, lexicon)


def _near(tokens: Tokens, end: int) -> range:
    """The tokens behind a term in which its number may begin: none behind a mark that ends the sentence."""
    last = min(end + NUMBER_NEAR, len(tokens))
    return range(end, next((at for at in range(end, last) if is_stop(tokens, at)), last))


def _inside(
    index: FormIndex[Term], words: tuple[str, ...], span: tuple[int, int]
) -> Iterator[tuple[int, int, tuple[Term, ...]]]:
    """The terms of a part of a longer form: "brachial pulse" with a grade is a place and its pulse, no rate."""
    for start, end, terms in index.find(words[span[0] : span[1]]):
        yield span[0] + start, span[0] + end, terms


def _parted(
    tokens: Tokens, start: int, end: int, terms: tuple[Term, ...], starts: set[int], lexicon: Lexicon
) -> list[Mention] | None:
    next_word = end + 1 if end < len(tokens) and tokens.words[end] in _BETWEEN else end
    if next_word not in starts or any(term.kind in ("measure", "scale") for term in terms):
        return None
    if any(
        term.kind == "concept" and (lexicon.concepts[term.id].scale or lexicon.concepts[term.id].slots)
        for term in terms
    ):
        return None
    index = term_index(lexicon)
    for at in range(start + 1, end):
        tail = index.find(tokens.words[at:end])
        if (
            tail
            and tail[-1][1] == end - at
            and tail[-1][0] == 0
            and any(term.kind == "measure" for term in tail[-1][2])
        ):
            head = [Mention(start + a, start + b, t) for a, b, t in index.find(tokens.words[start:at])]
            return [*head, Mention(at, end, tail[-1][2])]
    return None


create_terms = register("terms", find_terms, ("numbers",))
