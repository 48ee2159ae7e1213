"""Terms: every place where a spoken form of the lexicon stands."""

from __future__ import annotations

from lexicon import Lexicon
from parser.components.layer import register
from parser.layers import Mention
from parser.terms import term_index
from parser.tokens import Tokens


def find_terms(tokens: Tokens, lexicon: Lexicon) -> tuple[Mention, ...]:
    """Mentions of stations, sites, concepts, measures and scales; longest form first, in order."""
    return tuple(Mention(start, end, terms) for start, end, terms in term_index(lexicon).find(tokens.words))


register("terms", find_terms)
