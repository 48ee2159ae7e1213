"""Back-off trigram models as sorted arrays, and the arithmetic on them.

A model gives p(w | u v): the probability of a seen n-gram, or else the back-off weight of its
context times the probability under the shorter context (Katz 1987, the form of every ARPA file).
An n-gram is packed into one integer, twenty bits a word, so that looking up and merging are
operations on sorted arrays. All probabilities are plain, not logarithms.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

BITS = 20
_MASK = (1 << BITS) - 1
NO_WORD = -1
#: No context keeps less than this for words it has not seen: a sum a hair above one must not turn negative.
_LEAST_LEFT = 1e-7


@dataclass(frozen=True)
class Words:
    """Numbers of words: labels of the recogniser first, then start, end and words it lacks."""

    ids: dict[str, int]
    labels: int
    size: int

    @classmethod
    def of(cls, symbols: Sequence[str]) -> "Words":
        ids = {word: i for i, word in enumerate(symbols) if word and word[0] not in "<#"}
        return cls({**ids, "<s>": len(symbols), "</s>": len(symbols) + 1}, len(symbols), len(symbols) + 2)

    @property
    def start(self) -> int:
        return self.labels

    @property
    def end(self) -> int:
        return self.labels + 1

    def with_words(self, words: Iterable[str]) -> "Words":
        """The same numbering with further words after it."""
        new = [word for word in dict.fromkeys(words) if word not in self.ids]
        ids = {**self.ids, **{word: self.size + i for i, word in enumerate(new)}}
        return Words(ids, self.labels, self.size + len(new))


def packed(*columns: Ints) -> Ints:
    """One integer for each row of words, oldest word first."""
    key = columns[0].astype(np.int64)
    for column in columns[1:]:
        key = (key << BITS) | column
    return key


def last_word(keys: Ints) -> Ints:
    return keys & _MASK


def context(keys: Ints) -> Ints:
    """The n-gram without its last word."""
    return keys >> BITS


def find(keys: Ints, wanted: Ints) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """Where each of ``wanted`` stands in the sorted ``keys``, and whether it does."""
    if keys.size == 0:
        return np.zeros(wanted.shape, np.int64), np.zeros(wanted.shape, bool)
    at = np.minimum(np.searchsorted(keys, wanted), keys.size - 1)
    return at, keys[at] == wanted


@dataclass(frozen=True)
class Ngrams:
    """A back-off trigram model over ``unigram.size`` words.

    ``bigram_keys``, ``trigram_keys`` and ``context_keys`` (contexts of two words) are sorted packed
    n-grams, with ``bigram``, ``trigram`` and ``backoff2`` beside them. ``unigram`` and ``backoff1``
    are indexed by word; a context never seen has back-off weight 1.
    """

    unigram: Floats
    backoff1: Floats
    bigram_keys: Ints
    bigram: Floats
    context_keys: Ints
    backoff2: Floats
    trigram_keys: Ints
    trigram: Floats

    @classmethod
    def of_entries(
        cls, size: int, *, older: Ints, newer: Ints, words: Ints, probabilities: Floats,
        context_older: Ints, context_newer: Ints, backoff: Floats,
    ) -> "Ngrams":
        """From rows (older, newer, word, p) and contexts (older, newer, weight); NO_WORD fills short ones."""
        one, two = newer == NO_WORD, (newer != NO_WORD) & (older == NO_WORD)
        three = older != NO_WORD
        unigram = np.zeros(size)
        unigram[words[one]] = probabilities[one]
        backoff1 = np.ones(size)
        single = (context_newer != NO_WORD) & (context_older == NO_WORD)
        backoff1[context_newer[single]] = backoff[single]
        bigrams = _sorted(packed(newer[two], words[two]), probabilities[two])
        trigrams = _sorted(packed(older[three], newer[three], words[three]), probabilities[three])
        double = context_older != NO_WORD
        contexts = _sorted(packed(context_older[double], context_newer[double]), backoff[double])
        return cls(unigram, backoff1, *bigrams, *contexts, *trigrams)

    def resized(self, size: int) -> "Ngrams":
        """The same model over more words, which it never predicts."""
        extra = size - self.unigram.size
        return Ngrams(
            np.append(self.unigram, np.zeros(extra)), np.append(self.backoff1, np.ones(extra)),
            self.bigram_keys, self.bigram, self.context_keys, self.backoff2, self.trigram_keys, self.trigram,
        )

    def within(self, known: npt.NDArray[np.bool_]) -> "Ngrams":
        """The same model with bigrams and trigrams of ``known`` words only; every word may still come alone."""
        two = known[context(self.bigram_keys)] & known[last_word(self.bigram_keys)]
        three = known[self.trigram_keys >> 2 * BITS] & known[context(self.trigram_keys) & _MASK]
        three &= known[last_word(self.trigram_keys)]
        return normalised(
            self.unigram, self.bigram_keys[two], self.bigram[two], self.trigram_keys[three], self.trigram[three]
        )

    def after_one(self, keys: Ints) -> Floats:
        """p(w | v) for packed bigrams (v, w)."""
        at, seen = find(self.bigram_keys, keys)
        backed = self.backoff1[context(keys)] * self.unigram[last_word(keys)]
        return np.where(seen, self.bigram[at], backed) if self.bigram.size else backed

    def weight_of(self, contexts: Ints) -> Floats:
        """The back-off weight of packed contexts of two words."""
        at, seen = find(self.context_keys, contexts)
        return np.where(seen, self.backoff2[at], 1.0) if self.backoff2.size else np.ones(contexts.shape)

    def after_two(self, keys: Ints) -> Floats:
        """p(w | u v) for packed trigrams (u, v, w)."""
        at, seen = find(self.trigram_keys, keys)
        backed = self.weight_of(context(keys)) * self.after_one(keys & ((1 << 2 * BITS) - 1))
        return np.where(seen, self.trigram[at], backed) if self.trigram.size else backed


def normalised(unigram: Floats, bigram_keys: Ints, bigram: Floats, trigram_keys: Ints, trigram: Floats) -> Ngrams:
    """A model from its seen n-grams, with the back-off weights that make every context sum to one.

    The weight of a context is what its seen words leave, over what the shorter context leaves
    beside those words (Katz 1987, equation 17).
    """
    size = unigram.size
    holders = context(bigram_keys)
    left = np.subtract(1.0, np.bincount(holders, bigram, size), dtype=np.float64)
    below = np.subtract(1.0, np.bincount(holders, unigram[last_word(bigram_keys)], size), dtype=np.float64)
    seen = np.bincount(holders, minlength=size) > 0
    backoff1 = np.where(seen, _ratio(left, below), 1.0)
    shorter = Ngrams(unigram, backoff1, bigram_keys, bigram, *_NONE, *_NONE)
    contexts, group = np.unique(context(trigram_keys), return_inverse=True)
    under = shorter.after_one(trigram_keys & ((1 << 2 * BITS) - 1))
    left2 = np.subtract(1.0, np.bincount(group, trigram, contexts.size), dtype=np.float64)
    below2 = np.subtract(1.0, np.bincount(group, under, contexts.size), dtype=np.float64)
    backoff2 = _ratio(left2, below2)
    return Ngrams(unigram, backoff1, bigram_keys, bigram, contexts, backoff2, trigram_keys, trigram)


_NONE = (np.zeros(0, np.int64), np.zeros(0))


def _ratio(left: Floats, below: Floats) -> Floats:
    return np.maximum(left, _LEAST_LEFT) / np.maximum(below, _LEAST_LEFT)


def _sorted(keys: Ints, values: Floats) -> tuple[Ints, Floats]:
    order = np.argsort(keys, kind="stable")
    return keys[order], values[order]
