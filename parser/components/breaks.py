"""A small trained model of where one statement ends and the next begins in words without punctuation.

Logistic regression over the words around each gap, and over how far the current statement and the
list of an open negation have run. The weights are data (``lexicon/data/boundaries.json``), made by
``tests/bench/train_boundaries.py``; the same features serve training and reading.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from lexicon.weights import BreakWeights

#: Words that open a negated list, for the features of its shape.
LIST_OPENERS = frozenset("no denies denied deny denying without negative not never neither".split())
LIST_ENDS = frozenset(("or", "nor", "and"))
EDGE = "<>"


class ListShape:
    """How far the statement has run: words since it began, since its negation and since its "or"."""

    __slots__ = ("since_begin", "since_end", "since_open")

    def __init__(self) -> None:
        self.begin()

    def begin(self) -> None:
        """A statement begins."""
        self.since_begin = 0
        self.since_open = -1
        self.since_end = -1

    def step(self, word: str) -> None:
        """Take in the next word of the statement."""
        self.since_begin += 1
        if word in LIST_OPENERS:
            self.since_open, self.since_end = 0, -1
        elif self.since_open >= 0:
            self.since_open += 1
            if word in LIST_ENDS:
                self.since_end = 0
            elif self.since_end >= 0:
                self.since_end += 1

    def key(self) -> str:
        """The shape as a feature: "-" outside a negated list, else its two distances, capped."""
        if self.since_open < 0:
            return "-"
        return f"{min(self.since_open, 5)}{'-' if self.since_end < 0 else min(self.since_end, 3)}"


def features(words: Sequence[str], i: int, shape: ListShape, classes: Mapping[str, str]) -> tuple[str, ...]:
    """The features of the gap before word ``i`` (0 < i < len(words))."""
    before, after = words[i - 1], words[i]
    second = words[i - 2] if i > 1 else EDGE
    later = words[i + 1] if i + 1 < len(words) else EDGE
    latest = words[i + 2] if i + 2 < len(words) else EDGE
    key = shape.key()
    class_before, class_after, class_later = _class(before, classes), _class(after, classes), _class(later, classes)
    return (
        f"a{second}", f"b{before}", f"c{after}", f"d{later}", f"e{latest}",
        f"f{before} {after}", f"g{after} {later}", f"h{second} {before}",
        f"i{before[-3:]}", f"j{after[-3:]}", f"k{class_before}{class_after}{class_later}", f"r{class_before}{after}", f"s{before} {class_after}",
        f"t{_class(second, classes)}{class_before}{class_after}{class_later}", f"l{key}{class_after}",
        f"m{key}{class_before}", f"n{key}", f"o{min(shape.since_begin, 8)}", f"p{key}{after}", f"q{key}{later}",
    )


def _class(word: str, classes: Mapping[str, str]) -> str:
    return classes.get(word) or ("#" if word[0].isdigit() else "?")


def probabilities(words: Sequence[str], weights: BreakWeights, threshold: float) -> list[float]:
    """For each word the probability that a statement begins with it; 0 for the first.

    ``threshold`` is where a statement is taken to begin, for the shape that later words see.
    """
    table, classes, bias = weights.table, weights.classes, weights.bias
    get = table.get
    shape = ListShape()
    out: list[float] = []
    for i, word in enumerate(words):
        score = bias
        if i:
            for name in features(words, i, shape, classes):
                score += get(name, 0.0)
            p = 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, score))))
        else:
            p = 0.0
        out.append(p)
        if p >= threshold:
            shape.begin()
        shape.step(word)
    return out
