"""Spells a word that the recogniser lacks as the known words that sound nearest: bruit -> "brew e".

A word's phonemes are cut into pieces and each piece is matched with words of the same manner of
articulation, position by position. The cost of a spelling is what its sounds differ by, a toll for
each piece, and a toll for being likely English: a spelling that people might say for its own sake
would be turned into the trade word when it is heard, so such spellings are refused.
"""

from __future__ import annotations

import heapq
import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lexicon.sounds import Sounds
from listener.vocabulary.ngrams import Ngrams, Words

Spelling = tuple[str, ...]

#: A spelling must be rarer than this in the stock model: one in thirty million words of everyday speech.
LIKELIEST = 3e-8
_PIECE_TOLL = 0.2
_LONGEST_PIECE = 10
_KEPT = 6
_WORST_PIECE = 1.6
#: A consonant that no piece takes up ("kinked" as "kink").
_LOST = 1.3

#: Place of vowels: height (high 0), backness (front 0), and length of glide, as phoneticians draw them.
_VOWELS: Mapping[str, tuple[float, float, str]] = {
    "IY": (0, 0, ""), "IH": (0.5, 0.3, ""), "EH": (1.2, 0.3, ""), "AE": (1.8, 0.3, ""), "AH": (1.2, 1.0, ""),
    "AA": (2.0, 1.5, ""), "AO": (1.6, 2.0, ""), "UH": (0.5, 1.7, ""), "UW": (0, 2.0, ""), "ER": (1.1, 1.0, "r"),
    "EY": (0.9, 0.1, "y"), "AY": (2.0, 1.0, "y"), "OY": (1.4, 2.0, "y"), "OW": (1.0, 2.0, "w"), "AW": (2.0, 1.0, "w"),
}
_MANNERS = ("P B", "T D", "K G", "F V", "TH DH", "S Z", "SH ZH CH JH", "M N NG", "L", "R", "W", "Y", "HH")
_MANNER = {sound: group.split()[0] for group in _MANNERS for sound in group.split()} | dict.fromkeys(_VOWELS, "V")
_WITHIN_MANNER = 0.55


def difference(a: str, b: str) -> float:
    """How unlike two phonemes of one manner sound; 0 for the same, infinite for another manner."""
    if a == b:
        return 0.0
    if _MANNER[a] != _MANNER[b]:
        return math.inf
    if a not in _VOWELS:
        return _WITHIN_MANNER
    (high, back, glide), (high2, back2, glide2) = _VOWELS[a], _VOWELS[b]
    distance = 0.45 * math.hypot(high - high2, back - back2) + 0.35 * (glide != glide2)
    return max(0.15, distance)


def distance(a: Sounds, b: Sounds) -> float:
    """How unlike two pronunciations sound: edit distance with :func:`difference`, a lost or added sound at 1.3."""
    row = [_LOST * i for i in range(len(b) + 1)]
    for i, mine in enumerate(a, 1):
        above, row = row, [_LOST * i]
        for j, theirs in enumerate(b, 1):
            swapped = above[j - 1] + min(difference(mine, theirs), 2 * _LOST)
            row.append(min(swapped, above[j] + _LOST, row[j - 1] + _LOST))
    return row[-1]


@dataclass(frozen=True)
class Respelled:
    """A spelling, how far it sounds from the word, and how likely it is as plain English."""

    pieces: Spelling
    distance: float
    likelihood: float

    @property
    def rare(self) -> bool:
        """Whether no one would say the pieces for their own sake."""
        return self.likelihood < LIKELIEST


class Respeller:
    """Spellings over the words that the recogniser knows."""

    def __init__(self, words: Words, stock: Ngrams, said: Mapping[str, tuple[Sounds, ...]]) -> None:
        """``said`` tells how the recogniser pronounces its words."""
        self._words = words
        self._stock = stock
        self._by_manner: dict[Sounds, list[tuple[Sounds, list[tuple[float, str]]]]] = {}
        self._near: dict[Sounds, list[tuple[float, str, float]]] = {}
        found: dict[Sounds, list[tuple[float, str]]] = defaultdict(list)
        chances = stock.unigram.tolist()
        for word, ways in said.items():
            number = words.ids.get(word, words.labels)
            if number < words.labels and chances[number] > 0 and word.isalpha():
                for way in ways:
                    found[way].append((chances[number], word))
        for sounds, same in sorted(found.items()):
            same.sort()
            self._by_manner.setdefault(tuple(_MANNER[sound] for sound in sounds), []).append((sounds, same))

    def spellings(self, sounds: Sounds) -> list[Respelled]:
        """Spellings of ``sounds``, the nearest and rarest first; none when nothing comes near."""
        best: list[list[tuple[float, float, Spelling]]] = [[] for _ in range(len(sounds) + 1)]
        best[0] = [(0.0, 0.0, ())]
        for at in range(len(sounds)):
            if not best[at]:
                continue
            for end in range(at + 1, min(len(sounds), at + _LONGEST_PIECE) + 1):
                for distance, word, toll in self._nearest(sounds[at:end]):
                    for cost, so_far, pieces in best[at]:
                        best[end].append((cost + distance + toll, so_far + distance, (*pieces, word)))
                if end == at + 1 and sounds[at] not in _VOWELS:
                    best[end].extend((cost + _LOST, so_far + _LOST, pieces) for cost, so_far, pieces in best[at])
                best[end] = heapq.nsmallest(_KEPT * 3, best[end])
        return [Respelled(pieces, distance, self.likelihood(pieces)) for _, distance, pieces in best[-1] if pieces]

    def likelihood(self, pieces: Spelling) -> float:
        """Probability of the pieces in a row in the stock model, at their place in the middle of speech."""
        ids = np.array([self._words.ids[piece] for piece in pieces])
        chance = float(self._stock.unigram[ids[0]])
        for older, newer in pairwise(ids):
            chance *= float(self._stock.after_one(np.array([(older << 20) | newer]))[0])
        return chance

    def _nearest(self, sounds: Sounds) -> list[tuple[float, str, float]]:
        """Words that sound like ``sounds``: (distance, word, toll), the rarest of those that sound the same."""
        known = self._near.get(sounds)
        if known is None:
            near: list[tuple[float, str, float]] = []
            for other, same in self._by_manner.get(tuple(_MANNER[sound] for sound in sounds), ()):
                unlike = sum(map(difference, sounds, other))
                if unlike <= _WORST_PIECE:
                    near.extend((unlike, word, _toll(chance, sounds)) for chance, word in same[:2])
            known = self._near[sounds] = heapq.nsmallest(_KEPT, near, key=lambda item: (item[0] + item[2], item[1]))
        return known


def _toll(chance: float, sounds: Sounds) -> float:
    """A piece costs the more the commoner it is in everyday speech; a single sound, or one without a vowel, is
    hardly heard as a word."""
    bare = 0.6 * (len(sounds) == 1) + 1.5 * (not any(sound in _VOWELS for sound in sounds))
    return _PIECE_TOLL + 0.08 * max(0.0, math.log10(chance) + 7.5) + bare
