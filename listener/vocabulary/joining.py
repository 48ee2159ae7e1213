"""Joins a grammar of dictation and one of everyday speech: whoever dictates stays with dictation.

A mixture of two models weighs them anew at every word. People do not: a line is dictation or talk, and mostly
stays so. Here each grammar keeps its own states, a line begins in either, and changing sides has a price, so that
the whole of a line decides (a hidden state over models, as in Kneser and Steinbiss 1993, "On the dynamic
adaptation of stochastic language models"). Everyday speech is then heard as the stock model hears it.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from listener.vocabulary.fst import Automaton
from listener.vocabulary.graph import Grammar
from listener.vocabulary.ngrams import Floats, Ints


def joined(
    dictation: Grammar, everyday: Grammar, known: npt.NDArray[np.bool_], *, begins: float, returns: float
) -> Automaton:
    """One automaton of both; the states of ``dictation`` come first, then those of ``everyday``, then the start.

    ``known``: by label, whether dictation has the word; after one that it has not, a line goes on in either
    grammar. ``begins``: the share of lines that begin as dictation. ``returns``: the chance that everyday speech
    turns to dictation where it has lost the thread.
    """
    here, there = dictation.automaton, everyday.automaton
    shift, start = here.final.size, here.final.size + there.final.size
    leaving = (here.source == 0) & (here.label > 0) & ~known[here.label]
    cost, their_cost = here.cost.copy(), there.cost.copy()
    cost[leaving] += math.log(2)
    their_cost[there.source == 0] -= math.log(1 - returns)
    left = here.label[leaving]
    pieces = [
        (here.source, here.label, cost, here.target),
        (here.source[leaving], left, cost[leaving], shift + everyday.states.of_single(left)),
        (there.source + shift, there.label, their_cost, there.target + shift),
        _silent([(shift, returns, 0), (start, begins, here.start), (start, 1 - begins, there.start + shift)]),
    ]
    source, label, costs, target = (np.concatenate(column) for column in zip(*pieces, strict=True))
    return Automaton(start, np.concatenate([here.final, there.final, [np.inf]]), source, label, costs, target)


def _silent(arcs: list[tuple[int, float, int]]) -> tuple[Ints, Ints, Floats, Ints]:
    """Arcs without a word: (from, chance, to)."""
    source, chance, target = (np.array(column) for column in zip(*arcs, strict=True))
    return source, np.zeros(source.size, np.int64), -np.log(chance), target
