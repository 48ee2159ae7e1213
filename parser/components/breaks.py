"""A small trained model of where one statement ends and the next begins in words without punctuation.

Logistic regression over the words around each gap, and over how far the current statement and the
list of an open negation have run. The weights are data (``lexicon/data/boundaries.json``), made by
``tests/bench/train_boundaries.py``; training (:func:`features`) and reading (:class:`BreakModel`) see the
same features.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from lexicon.weights import BreakWeights

#: Words that open a negated list and words that announce its last item, for the features of its shape.
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


def class_of(word: str, classes: Mapping[str, str]) -> str:
    """The class of a word by its use in the lexicon; "#" for a number, "?" for any other word."""
    return classes.get(word) or ("#" if word[0].isdigit() else "?")


def features(words: Sequence[str], i: int, shape: ListShape, classes: Mapping[str, str]) -> tuple[str, ...]:
    """The features of the gap before word ``i`` (0 < i < len(words)). The first letter names the template."""
    before, after = words[i - 1], words[i]
    second = words[i - 2] if i > 1 else EDGE
    later = words[i + 1] if i + 1 < len(words) else EDGE
    latest = words[i + 2] if i + 2 < len(words) else EDGE
    key = shape.key()
    c_second, c_before, c_after, c_later = (class_of(word, classes) for word in (second, before, after, later))
    return (
        f"a{second}", f"b{before}", f"c{after}", f"d{later}", f"e{latest}", f"i{before[-3:]}", f"j{after[-3:]}",
        f"f{before} {after}", f"g{after} {later}", f"h{second} {before}",
        f"k{c_before}{c_after}{c_later}", f"t{c_second}{c_before}{c_after}{c_later}", f"r{c_before}{after}", f"s{before} {c_after}",
        f"n{key}", f"l{key}{c_after}", f"m{key}{c_before}", f"p{key}{after}", f"q{key}{later}", f"o{min(shape.since_begin, 8)}",
    )  # fmt: skip


class _Weights(dict[str, tuple[float, ...]]):
    """Key -> the weights of several templates that share the key; made when first asked for."""

    def __init__(self, table: Mapping[str, float], templates: str) -> None:
        super().__init__()
        self._table = table
        self._templates = templates

    def __missing__(self, key: str) -> tuple[float, ...]:
        found = tuple(self._table.get(template + key, 0.0) for template in self._templates)
        if len(self) < 200_000:  # bounded, however long a process lives
            self[key] = found
        return found


class _Words(dict[str, tuple[float, ...]]):
    """Word -> its weights as second, before, after, later and latest word of a gap (endings included)."""

    def __init__(self, table: Mapping[str, float]) -> None:
        super().__init__()
        self._table = table

    def __missing__(self, word: str) -> tuple[float, ...]:
        get = self._table.get
        a, b, c, d, e = (get(template + word, 0.0) for template in "abcde")
        ending = word[-3:]
        found = (a, b + get("i" + ending, 0.0), c + get("j" + ending, 0.0), d, e)
        if len(self) < 200_000:
            self[word] = found
        return found


class BreakModel:
    """The weights arranged for reading."""

    def __init__(self, weights: BreakWeights) -> None:
        table = weights.table
        self._bias = weights.bias
        self._classes = weights.classes
        self._words = _Words(table)
        self._pairs = _Weights(table, "fgh")
        self._kinds3, self._kinds4 = _Weights(table, "k"), _Weights(table, "t")
        self._kind_word, self._word_kind = _Weights(table, "r"), _Weights(table, "s")
        self._shapes = {name: weight for name, weight in table.items() if name[0] in "nlmpq"}
        self._length = [table.get(f"o{n}", 0.0) for n in range(9)]

    def scores(self, words: Sequence[str], bonus: Sequence[float], threshold: float) -> list[float]:
        """For each word the log-odds that a statement begins with it, ``bonus`` added; -inf for the first.

        A statement is taken to begin where a score reaches ``threshold``: the words behind it see a new
        list shape.
        """
        classes = self._classes
        kinds = [class_of(word, classes) for word in words] + ["?"]
        kinds.append("?")
        one = [self._words[word] for word in words]
        edge = self._words[EDGE]
        one += (edge, edge)
        pairs = [self._pairs[f"{words[i]} {words[i + 1]}"] for i in range(len(words) - 1)]
        first = self._pairs[f"{EDGE} {words[0]}"] if words else ()
        last = self._pairs[f"{words[-1]} {EDGE}"] if words else ()
        pairs = [first, *pairs, last]  # type: ignore[list-item]
        shape, out = ListShape(), []
        for i, word in enumerate(words):
            score = float("-inf")
            if i:
                score = bonus[i] + self._bias + one[i - 1][1] + one[i][2] + one[i + 1][3] + one[i + 2][4]
                score += (one[i - 2][0] if i > 1 else edge[0]) + pairs[i][0] + pairs[i + 1][1] + pairs[i - 1][2]
                score += self._of_kinds(words[i - 1], word, kinds, i) + self._of_shape(shape, word, words, kinds, i)
            out.append(score)
            if score >= threshold:
                shape.begin()
            shape.step(word)
        return out

    def _of_kinds(self, before: str, word: str, kinds: list[str], i: int) -> float:
        three = kinds[i - 1] + kinds[i] + kinds[i + 1]
        four = (kinds[i - 2] if i > 1 else "?") + three
        return (
            self._kinds3[three][0] + self._kinds4[four][0]
            + self._kind_word[kinds[i - 1] + word][0] + self._word_kind[f"{before} {kinds[i]}"][0]
        )  # fmt: skip

    def _of_shape(self, shape: ListShape, word: str, words: Sequence[str], kinds: list[str], i: int) -> float:
        key, get = shape.key(), self._shapes.get
        later = words[i + 1] if i + 1 < len(words) else EDGE
        return (
            get("n" + key, 0.0) + get(f"l{key}{kinds[i]}", 0.0) + get(f"m{key}{kinds[i - 1]}", 0.0)
            + get(f"p{key}{word}", 0.0) + get(f"q{key}{later}", 0.0) + self._length[min(shape.since_begin, 8)]
        )  # fmt: skip
