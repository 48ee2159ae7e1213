"""Near misses: a word that is no English and no trade word, but one slip away from a trade word.

Typed transcripts and other recognisers bring "bruitt" and "popliteel". A near miss is read as the trade
word only when it is in no dictionary of English and one trade word alone is that near.
"""

from __future__ import annotations

from collections import defaultdict
from functools import lru_cache

from rapidfuzz.distance import OSA

from lexicon import Lexicon
from lexicon.sounds import dictionary
from parser.terms import spellings
from parser.tokens import words_of

#: Shorter words have too many neighbours.
SHORTEST = 6


class NearMisses:
    """Finds the trade word that an unknown word is a slip of. Slips: one letter more, less, other or swapped."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._known = _vocabulary(lexicon)
        self._slips: dict[str, set[str]] = defaultdict(set)
        for word in self._known:
            if len(word) >= SHORTEST:
                for slip in _shortened(word):
                    self._slips[slip].add(word)
        self._found: dict[str, str | None] = {}

    def of(self, word: str) -> str | None:
        """The trade word that ``word`` stands for, or None."""
        if len(word) < SHORTEST or word in self._known or not word.isalpha():
            return None
        if word not in self._found:
            self._found[word] = self._near(word)
        return self._found[word]

    def _near(self, word: str) -> str | None:
        candidates = {known for slip in _shortened(word) for known in self._slips.get(slip, ())}
        near = [known for known in candidates if known[0] == word[0] and OSA.distance(word, known) == 1]
        if len(near) != 1:  # singular and plural of one word are one candidate
            stems = {known.removesuffix("s") for known in near}
            near = sorted(near, key=len)[:1] if len(stems) == 1 else []
        return near[0] if near and not _inflected(word, near[0]) and not _english(word) else None


def _inflected(word: str, known: str) -> bool:
    """Whether the two are forms of one word ("granulomas", "granuloma"), which is no slip."""
    return word.removesuffix("s") == known.removesuffix("s") or word.removesuffix("y") == known.removesuffix("s")


@lru_cache(maxsize=4)
def near_misses(lexicon: Lexicon) -> NearMisses:
    return NearMisses(lexicon)


def _vocabulary(lexicon: Lexicon) -> frozenset[str]:
    forms = [form for c in lexicon.concepts.values() for form in (*c.forms, *c.absent_forms)]
    forms += [form for site in lexicon.sites.values() for form in site.forms]
    words = {word for form in forms for word in words_of(form)}
    british = {word.replace(american, british) for word in words for british, american in spellings(lexicon).items()}
    return frozenset(words | british)


def _shortened(word: str) -> set[str]:
    """The word, and the word with any one letter taken out."""
    return {word, *(word[:i] + word[i + 1 :] for i in range(len(word)))}


def _english(word: str) -> bool:
    """Whether the word, or what it is the plural or past of, stands in the CMU pronouncing dictionary."""
    stems = {word, word.removesuffix("s"), word.removesuffix("es"), word.removesuffix("ed"), word.removesuffix("d"),
             word.removesuffix("ing"), word.removesuffix("ly"), word.removesuffix("ing") + "e"}
    return any(stem in dictionary() for stem in stems)
