"""Estimates a trigram model from counted phrases, and mixes it with the stock model.

Smoothing is Witten and Bell's (1991, "The zero-frequency problem", method C) in its interpolated
form (Chen and Goodman 1998, section 2.6). Phrases written from templates have no natural counts of
counts, which the discounts of Kneser and Ney or Good and Turing are computed from. People say more that is new
than templates do, so more is kept for new words than the method gives (measured by perplexity of lines that no
template was written from).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from listener.vocabulary.ngrams import BITS, Floats, Ints, Ngrams, Words, context, find, last_word, normalised, packed

_LOW = (1 << 2 * BITS) - 1
#: How many times each kind of word seen after one word, and after two, counts towards what is new.
_NEW_AFTER_ONE, _NEW_AFTER_TWO = 2, 3


def estimated(lines: Iterable[Sequence[str]], words: Words) -> Ngrams:
    """A trigram model of ``lines``; every word of them must be in ``words``."""
    first, second, third, whole = _columns(lines, words)
    unigram = np.bincount(third, minlength=words.size).astype(np.float64)
    unigram /= unigram.sum()
    bigram_keys, bigram_counts = np.unique(packed(second, third), return_counts=True)
    holders = context(bigram_keys)
    kinds = _NEW_AFTER_ONE * np.bincount(holders, minlength=words.size)
    total = np.bincount(holders, bigram_counts, words.size)
    bigram = (bigram_counts + kinds[holders] * unigram[last_word(bigram_keys)]) / (total + kinds)[holders]
    trigram_keys, trigram_counts = np.unique(packed(first[whole], second[whole], third[whole]), return_counts=True)
    _, group = np.unique(context(trigram_keys), return_inverse=True)
    kinds3 = _NEW_AFTER_TWO * np.bincount(group)
    total3 = np.bincount(group, trigram_counts)
    at, _ = find(bigram_keys, trigram_keys & _LOW)
    trigram = (trigram_counts + kinds3[group] * bigram[at]) / (total3 + kinds3)[group]
    return normalised(unigram, bigram_keys, bigram, trigram_keys, trigram)


def _columns(lines: Iterable[Sequence[str]], words: Words) -> tuple[Ints, Ints, Ints, Ints]:
    """Each word of the text with the two before it, and the rows that have two before."""
    flat: list[int] = []
    ids, start, end = words.ids, words.start, words.end
    for line in lines:
        flat.append(start)
        flat.extend(ids[word] for word in line)
        flat.append(end)
    text = np.array(flat, np.int64)
    at = np.flatnonzero(text != start)
    before = np.maximum(at - 2, 0)
    whole = np.flatnonzero(text[at - 1] != start)
    return text[before], text[at - 1], text[at], whole


def mixed(domain: Ngrams, general: Ngrams, weight: float, start: int, temper: float = 0.0) -> Ngrams:
    """``weight`` parts of ``domain`` and the rest of ``general``, n-gram by n-gram (Jelinek and Mercer 1980).

    ``temper`` lets the parts of a context vary with how well each model foresees the context itself: 0 not at
    all, 1 as Bayes' rule has it (Weintraub et al. 1996, "Fast training and portability"). Words in everyday
    company then stay more as the stock model has them. ``start`` is the word before every line.
    """
    unigram = weight * domain.unigram + (1 - weight) * general.unigram
    share1 = _share(weight, domain.unigram, general.unigram, temper)
    share1[start] = weight
    bigram_keys = np.union1d(domain.bigram_keys, general.bigram_keys)
    part = share1[context(bigram_keys)]
    bigram = part * domain.after_one(bigram_keys) + (1 - part) * general.after_one(bigram_keys)
    trigram_keys = np.union1d(domain.trigram_keys, general.trigram_keys)
    contexts, group = np.unique(context(trigram_keys), return_inverse=True)
    foreseen = [_context_chance(model, contexts, start) for model in (domain, general)]
    part = _share(weight, foreseen[0], foreseen[1], temper)[group]
    trigram = part * domain.after_two(trigram_keys) + (1 - part) * general.after_two(trigram_keys)
    return normalised(unigram, bigram_keys, bigram, trigram_keys, trigram)


def _context_chance(model: Ngrams, contexts: Ints, start: int) -> Floats:
    older = context(contexts)
    chance: Floats = np.where(older == start, 1.0, model.unigram[older]) * model.after_one(contexts)
    return chance


def _share(weight: float, domain: Floats, general: Floats, temper: float) -> Floats:
    """The part of ``domain`` in each context: none where it does not know the context, all where only it does."""
    known = (domain > 0) & (general > 0)
    ratio = (np.maximum(domain, 1e-12) / np.maximum(general, 1e-12)) ** temper
    share: Floats = np.where(known, weight * ratio / (weight * ratio + 1 - weight), np.where(domain > 0, 1.0, 0.0))
    return share if temper else np.full(domain.shape, weight)


def pruned(model: Ngrams, threshold: float, start: int) -> Ngrams:
    """Without the trigrams whose loss changes the model least.

    The loss is the weighted difference of Seymore and Rosenfeld (1996, "Scalable backoff language
    models"): p(u v w) times the log ratio of p(w | u v) to its backed-off value.
    """
    keys = model.trigram_keys
    contexts = context(keys)
    older = model.unigram[context(contexts)].copy()
    older[context(contexts) == start] = 1 / 8
    backed = model.weight_of(contexts) * model.after_one(keys & _LOW)
    change = np.abs(np.log(model.trigram / np.maximum(backed, 1e-300)))
    loss = older * model.after_one(contexts) * model.trigram * change
    kept = loss >= threshold
    return normalised(model.unigram, model.bigram_keys, model.bigram, keys[kept], model.trigram[kept])
