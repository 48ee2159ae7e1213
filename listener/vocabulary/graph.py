"""The recogniser's grammar graph of a trigram model: a state for each context, back-off by the empty label.

A word that the recogniser lacks stands in the model as one word and in the graph as a chain of the
words it is respelled with, so that what comes before and after it is foreseen as for any other word.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from listener.vocabulary.fst import Automaton
from listener.vocabulary.ngrams import BITS, Floats, Ints, Ngrams, Words, context, find, last_word


@dataclass(frozen=True)
class _States:
    """State 0 is the empty context; then one-word contexts, then two-word contexts."""

    single: Ints
    double: Ints

    def of_single(self, words: Ints) -> Ints:
        at, known = find(self.single, words)
        return np.where(known, at + 1, 0)

    def of_double(self, keys: Ints) -> Ints:
        at, known = find(self.double, keys)
        return np.where(known, at + 1 + self.single.size, self.of_single(last_word(keys)))

    @property
    def count(self) -> int:
        return 1 + self.single.size + self.double.size


@dataclass(frozen=True)
class Grammar:
    """The automaton of a model, words that the recogniser lacks still as one label each; state 0: the empty context."""

    automaton: Automaton
    states: _States


def grammar(model: Ngrams, words: Words) -> Grammar:
    """The automaton of ``model`` over all of ``words``."""
    double = np.unique(context(model.trigram_keys))
    single = np.unique(np.concatenate([context(model.bigram_keys), last_word(double)]))
    states = _States(single, double)
    seen = np.flatnonzero(model.unigram > 0)
    source = np.concatenate([
        np.zeros(seen.size, np.int64),
        states.of_single(context(model.bigram_keys)),
        states.of_double(context(model.trigram_keys)),
    ])
    label = np.concatenate([seen, last_word(model.bigram_keys), last_word(model.trigram_keys)])
    chance = np.concatenate([model.unigram[seen], model.bigram, model.trigram])
    target = np.concatenate([
        states.of_single(seen),
        states.of_double(model.bigram_keys),
        states.of_double(model.trigram_keys & ((1 << 2 * BITS) - 1)),
    ])
    cost = -np.log(np.maximum(chance, 1e-30))
    final = np.full(states.count, np.inf)
    ends = label == words.end
    final[source[ends]] = cost[ends]
    kept = ~ends & (label != words.start)
    back_source, back_cost, back_target = _backoffs(model, states)
    start = int(states.of_single(np.array([words.start]))[0])
    arcs = (
        np.concatenate([source[kept], back_source]),
        np.concatenate([label[kept], np.zeros(back_source.size, np.int64)]),
        np.concatenate([cost[kept], back_cost]),
        np.concatenate([target[kept], back_target]),
    )
    return Grammar(Automaton(start, final, *arcs), states)


def _backoffs(model: Ngrams, states: _States) -> tuple[Ints, Floats, Ints]:
    one = states.of_single(states.single)
    two = states.of_double(states.double)
    weights = np.concatenate([model.backoff1[states.single], model.weight_of(states.double)])
    target = np.concatenate([np.zeros(one.size, np.int64), states.of_single(last_word(states.double))])
    return np.concatenate([one, two]), -np.log(weights), target


def respelled(plain: Automaton, words: Words, spellings: Mapping[str, Sequence[Sequence[str]]]) -> Automaton:
    """Each word beyond the recogniser's labels needs an entry in ``spellings``; one within may have some as well.

    Chains beside the arcs of words that are respelled; arcs of words without a label go. Equal ends share a chain.

    Every way of a word costs what the word costs: pronunciations are weighed so that the likeliest is free
    (Chen et al. 2015, "Pronunciation and silence probability modeling for ASR").
    """
    ids = words.ids
    respelt = {ids[word]: [[ids[piece] for piece in way] for way in ways] for word, ways in spellings.items()}
    wanted = np.zeros(words.size, bool)
    wanted[list(respelt)] = True
    chosen = np.flatnonzero(wanted[plain.label])
    order = chosen[np.argsort(plain.label[chosen], kind="stable")]
    kept = plain.label < words.labels
    pieces = [(plain.source[kept], plain.label[kept], plain.cost[kept], plain.target[kept])]
    count = plain.final.size
    numbers, firsts = np.unique(plain.label[order], return_index=True)
    for number, rows in zip(numbers.tolist(), np.split(order, firsts[1:]) if order.size else [], strict=True):
        ends, which = np.unique(plain.target[rows], return_inverse=True)
        for labels in respelt[number]:
            cost = plain.cost[rows]
            if len(labels) == 1:
                pieces.append((plain.source[rows], np.full(rows.size, labels[0]), cost, plain.target[rows]))
                continue
            pieces.append((plain.source[rows], np.full(rows.size, labels[0]), cost, count + which))
            here = count + np.arange(ends.size)
            for piece in labels[1:-1]:
                pieces.append((here, np.full(ends.size, piece), np.zeros(ends.size), here + ends.size))
                here = here + ends.size
            pieces.append((here, np.full(ends.size, labels[-1]), np.zeros(ends.size), ends))
            count += ends.size * (len(labels) - 1)
    source, label, cost, target = (np.concatenate(column) for column in zip(*pieces, strict=True))
    final = np.append(plain.final, np.full(count - plain.final.size, np.inf))
    return Automaton(plain.start, final, source, label, cost, target)
