"""Stations: where the dictation announces which part of the examination comes next."""

from __future__ import annotations

from functools import lru_cache

from lexicon import Lexicon
from lexicon.schema import DirectionsFile
from parser.components.layer import register
from parser.components.lists import DOUBTFUL
from parser.layers import Aside, Boundary, Mention, Station
from parser.terms import FormIndex
from parser.tokens import Tokens

_STOPS = frozenset(".!?;:,")
_NO_NAME = frozenset(("of", "for", "to"))
_PLACED = frozenset("over on around under at near between in with from".split())
_LINK = frozenset(("the", "a", "an", "your", "his", "her", "their", "now", "is", "are", "and"))


@lru_cache(maxsize=4)
def _announcements(lexicon: Lexicon) -> FormIndex[str]:
    file = lexicon.files.get("directions") or DirectionsFile()
    return FormIndex((form, form) for form in getattr(file, "announce", ()))


def find_stations(
    tokens: Tokens,
    terms: tuple[Mention, ...],
    asides: tuple[Aside, ...],
    boundaries: tuple[Boundary, ...],
    lexicon: Lexicon,
) -> tuple[Station, ...]:
    """Every announced station with the token from which it is current.

    A name of a station announces it, unless "of" or "for" follows; a heading or a part of the body
    only after words of announcement ("moving on to"), before a colon, or (headings) at the start
    of a statement.
    """
    announced = {end for _, end, _ in _announcements(lexicon).find(tokens.words)}
    aside_tokens = {at for aside in asides for at in range(aside.start, aside.end) if aside.kind == "direction"}
    begins = {boundary.at for boundary in boundaries if boundary.reason != DOUBTFUL}
    found: list[Station] = []
    for mention in terms:
        if mention.start in aside_tokens:
            continue
        region = _announced(tokens, mention, announced, begins, lexicon)
        if region:
            found.append(Station(mention.start, region))
    return tuple(found)


def _announced(tokens: Tokens, mention: Mention, announced: set[int], begins: set[int], lexicon: Lexicon) -> str | None:
    words = tokens.words
    after = words[mention.end] if mention.end < len(words) else ""
    if after in _NO_NAME:
        return None
    introduced = _introduced(words, mention.start, announced) or after == ":"
    opens = (
        mention.start == 0
        or mention.start in begins
        or words[mention.start - 1] in _STOPS
        or tokens.pauses[mention.start] >= 0.4
    )
    for term in mention.terms:
        if term.kind == "region" and not _negated(words, mention.start):
            return term.id
        if term.kind == "heading" and (introduced or (opens and after not in _PLACED)):
            return term.id
        if term.kind == "site" and introduced and lexicon.sites[term.id].opens:
            home = lexicon.home[term.id]
            return home if home in lexicon.regions else None
    return None


def _introduced(words: tuple[str, ...], at: int, announced: set[int]) -> bool:
    """Whether words of announcement end here, a few linking words aside."""
    for back in range(at, max(at - 3, 0) - 1, -1):
        if back in announced:
            return True
        if back == 0 or words[back - 1] not in _LINK:
            return False
    return False


def _negated(words: tuple[str, ...], at: int) -> bool:
    return at > 0 and words[at - 1] in ("no", "any", "without")


create_stations = register("stations", find_stations, ("terms", "asides", "boundaries"))
