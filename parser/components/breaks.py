"""A small trained model of where one statement ends and the next begins in words without punctuation.

Logistic regression over the words around each gap, and over how far the current statement and the
list of an open negation have run. The weights are data (``lexicon/data/boundaries.json``), made by
``tests/bench/train_boundaries.py``; training (:func:`features`) and reading (:class:`BreakModel`) see the
same features.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise

from lexicon.weights import BreakWeights

#: Words that open a negated list and words that announce its last item, for the features of its shape.
LIST_OPENERS = frozenset(
    ("no", "denies", "denied", "deny", "denying", "without", "negative", "not", "never", "neither")
)
LIST_ENDS = frozenset(("or", "nor", "and"))
#: Words that show, before they come, that a list is not over.
LIST_JOINS = frozenset(("or", "nor"))
FARTHEST_JOIN = 7
EDGE = "<>"
NEVER = float("-inf")


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


def joins_ahead(words: Sequence[str]) -> list[int]:
    """For each word how far the next "or" is, within :data:`FARTHEST_JOIN` words and before a new negation; else 0."""
    out, far = [0] * len(words), 0
    for i in range(len(words) - 1, -1, -1):
        if words[i] in LIST_JOINS:
            far = 1
        elif far and (far >= FARTHEST_JOIN or words[i] in LIST_OPENERS):
            far = 0
        elif far:
            far += 1
        out[i] = far
    return out


def class_of(word: str, classes: Mapping[str, str]) -> str:
    """The class of a word by its use in the lexicon; "#" for a number, "?" for any other word."""
    return classes.get(word) or ("#" if word[0].isdigit() else "?")


def features(
    words: Sequence[str], i: int, shape: ListShape, ahead: int, classes: Mapping[str, str]
) -> tuple[str, ...]:
    """The features of the gap before word ``i`` (0 < i < len(words)). The first letter names the template.

    ``ahead`` is the entry of :func:`joins_ahead` for word i.
    """
    before, after = words[i - 1], words[i]
    second = words[i - 2] if i > 1 else EDGE
    later = words[i + 1] if i + 1 < len(words) else EDGE
    latest = words[i + 2] if i + 2 < len(words) else EDGE
    key = shape.key()
    c_second, c_before, c_after, c_later = (class_of(word, classes) for word in (second, before, after, later))
    return (
        f"a{second}", f"b{before}", f"c{after}", f"d{later}", f"e{latest}", f"i{before[-3:]}", f"j{after[-3:]}",
        f"f{before} {after}", f"g{after} {later}", f"h{second} {before}",
        f"k{c_before}{c_after}{c_later}", f"t{c_second}{c_before}{c_after}{c_later}",
        f"r{c_before}{after}", f"s{before} {c_after}",
        f"n{key}", f"l{key}{c_after}", f"m{key}{c_before}", f"p{key}{after}", f"q{key}{later}",
        f"o{min(shape.since_begin, 8)}", f"u{key} {ahead}",
    )  # fmt: skip


class _Remembered(dict[str, tuple[float, ...]]):
    """A function of a string, remembered; bounded, however long a process lives."""

    def __init__(self, compute: Callable[[str], tuple[float, ...]]) -> None:
        super().__init__()
        self._compute = compute

    def __missing__(self, key: str) -> tuple[float, ...]:
        if len(self) > 200_000:
            self.clear()
        found = self[key] = self._compute(key)
        return found


class BreakModel:
    """The weights arranged for reading: what depends on the same words is added up once and remembered."""

    def __init__(self, weights: BreakWeights) -> None:
        self._table = weights.table
        self._bias = weights.bias
        self._classes = weights.classes
        self._words = _Remembered(self._of_word)
        self._pairs = _Remembered(self._of_pair)
        self._kinds = _Remembered(self._of_kinds)
        self._shapes = _Remembered(self._of_shape)
        self._length = [self._sum(f"o{n}") for n in range(9)]

    def _sum(self, *names: str) -> float:
        get = self._table.get
        return sum(get(name, 0.0) for name in names)

    def _of_word(self, word: str) -> tuple[float, ...]:
        """The word as the second before, the second after and the third after a gap."""
        return self._sum("a" + word), self._sum("d" + word), self._sum("e" + word)

    def _of_pair(self, pair: str) -> tuple[float, ...]:
        """Two words, with the gap between them, before them and after them."""
        before, after = pair.split(" ")
        kind_before, kind_after = class_of(before, self._classes), class_of(after, self._classes)
        between = self._sum(
            "b" + before, "c" + after, "i" + before[-3:], "j" + after[-3:], "f" + pair,
            f"r{kind_before}{after}", f"s{before} {kind_after}",
        )  # fmt: skip
        return between, self._sum("g" + pair), self._sum("h" + pair)

    def _of_kinds(self, four: str) -> tuple[float, ...]:
        return (self._sum("k" + four[1:], "t" + four),)

    def _of_shape(self, key: str) -> tuple[float, ...]:
        """``key`` is the list shape and the kinds of the words around the gap, separated by blanks."""
        shape, before, after = key.split(" ")
        return (self._sum("n" + shape, f"l{shape}{after}", f"m{shape}{before}"),)

    def scores(self, words: Sequence[str], bonus: Sequence[float], threshold: float) -> list[float]:
        """For each word the log-odds that a statement begins with it, ``bonus`` added; -inf for the first.

        A statement is taken to begin where a score reaches ``threshold``: the words behind it see a new
        list shape.
        """
        if not words:
            return []
        get, shapes, kinds_of, length = self._table.get, self._shapes, self._kinds, self._length
        padded = (EDGE, *words, EDGE, EDGE)
        one = [self._words[word] for word in padded]
        pairs = [self._pairs[f"{first} {second}"] for first, second in pairwise(padded)]
        kinds = [class_of(word, self._classes) for word in padded]
        ahead = joins_ahead(words)
        shape, out = ListShape(), [NEVER]
        shape.step(words[0])
        for i in range(1, len(words)):
            word, score = words[i], bonus[i]
            if score > NEVER:
                key, later = shape.key(), padded[i + 2]
                score += self._bias + pairs[i][0] + pairs[i + 1][1] + pairs[i - 1][2]
                score += one[i - 1][0] + one[i + 2][1] + one[i + 3][2]
                score += kinds_of[kinds[i - 1] + kinds[i] + kinds[i + 1] + kinds[i + 2]][0]
                score += shapes[f"{key} {kinds[i]} {kinds[i + 1]}"][0] + length[min(shape.since_begin, 8)]
                score += get(f"p{key}{word}", 0.0) + get(f"q{key}{later}", 0.0) + get(f"u{key} {ahead[i]}", 0.0)
            out.append(score)
            if score >= threshold:
                shape.begin()
            shape.step(word)
        return out
