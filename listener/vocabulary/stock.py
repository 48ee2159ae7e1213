"""Reads the stock language model of an acoustic model: an OpenFst file of type ``ngram``.

The format keeps a back-off n-gram model in two bit-coded trees (Sorensen and Allauzen, "Unary data
structures for language models", Interspeech 2011; layout of OpenFst's ngram extension). Contexts
stand in a tree whose parent is the back-off context; the words that may follow stand beside them.
Everything is read with numpy, without a loop over the model.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from listener.errors import ModelError
from listener.vocabulary.ngrams import NO_WORD, Ints, Ngrams, Words

_MAGIC = 2125659606
_SYMBOLS_MAGIC = 2125658996
_HAS_INPUT_SYMBOLS, _HAS_OUTPUT_SYMBOLS, _ALIGNED = 1, 2, 4


@dataclass(frozen=True)
class StockModel:
    """``symbols[i]`` is the word with label i, in the recogniser's numbering; ``ngrams`` its model, orders 1 to 3."""

    symbols: tuple[str, ...]
    ngrams: Ngrams


def read_stock(path: Path) -> StockModel:
    """Read ``graph/Gr.fst`` of an acoustic model.

    Raises :class:`ModelError` when the file is missing, cut short, damaged, or of another kind.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ModelError(f"{path} cannot be read ({error.strerror}); fetch the acoustic model again") from None
    try:
        return _Reader(data).model()
    except (struct.error, ValueError, UnicodeDecodeError, IndexError, OverflowError) as error:
        raise ModelError(
            f"{path} is damaged or no n-gram language model ({error}); fetch the acoustic model again"
        ) from None


class _Reader:
    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 0

    def number(self, code: str) -> int:
        (value,) = struct.unpack_from("<" + code, self.data, self.at)
        self.at += struct.calcsize("<" + code)
        return int(value)

    def text(self) -> str:
        size = self.number("i")
        if not 0 <= size <= 4096 or self.at + size > len(self.data):
            raise ValueError("a name is too long")
        value = self.data[self.at : self.at + size].decode()
        self.at += size
        return value

    def table(self) -> dict[int, str]:
        if self.number("i") != _SYMBOLS_MAGIC:
            raise ValueError("the word list is missing")
        self.text()
        self.number("q")
        names = {}
        for _ in range(self.number("q")):
            name = self.text()
            names[self.number("q")] = name
        return names

    def array(self, kind: str, count: int) -> npt.NDArray[np.generic]:
        if count < 0 or self.at + count * np.dtype(kind).itemsize > len(self.data):
            raise ValueError("the file is cut short")
        values = np.frombuffer(self.data, kind, count, self.at)
        self.at += values.nbytes
        return values

    def bits(self, count: int) -> npt.NDArray[np.bool_]:
        words = self.array("<u8", (count + 63) // 64)
        return np.unpackbits(words.view(np.uint8), bitorder="little")[:count].astype(bool)

    def model(self) -> StockModel:
        if self.number("i") != _MAGIC:
            raise ValueError("it does not begin as an OpenFst file")
        kind, arcs = self.text(), self.text()
        if (kind, arcs) != ("ngram", "standard"):
            raise ValueError(f"its type is {kind}/{arcs}, not ngram/standard")
        self.number("i")
        flags = self.number("i")
        self.number("Q")
        start = self.number("q")
        self.number("q"), self.number("q")
        names: dict[int, str] = {}
        for flag in (_HAS_INPUT_SYMBOLS, _HAS_OUTPUT_SYMBOLS):
            if flags & flag:
                names = self.table() or names
        if not names or not 0 <= min(names) <= max(names) < 1 << 20:
            raise ValueError("its word list is missing")
        if flags & _ALIGNED:
            self.at = (self.at + 15) // 16 * 16
        symbols = tuple(names.get(i, "") for i in range(max(names) + 1))
        return StockModel(symbols, self.ngrams(Words.of(symbols), start))

    def ngrams(self, words: Words, start: int) -> Ngrams:
        states, futures, finals = self.number("Q"), self.number("Q"), self.number("Q")
        if max(states, futures, finals) > len(self.data):
            raise ValueError("the file is cut short")
        context_bits = self.bits(states * 2 + 1)
        future_bits = self.bits(futures + states + 1)
        final_bits = self.bits(states)
        context_words = self.array("<i4", states + 1)[:states].astype(np.int64)
        future_words = self.array("<i4", futures).astype(np.int64)
        backoff = self.array("<f4", states + 1)[:states].astype(np.float64)
        final_costs = self.array("<f4", finals).astype(np.float64)
        costs = self.array("<f4", futures).astype(np.float64)
        if future_words.size and not 0 <= future_words.min() <= future_words.max() < words.size:
            raise ValueError("a label lies outside the word list")
        first, second = _contexts(context_bits, context_words, states, words, start)
        counts = _counts(future_bits, states)
        holder = np.repeat(np.arange(states), counts)
        ended = np.flatnonzero(final_bits)
        holder = np.concatenate([holder, ended])
        future_words = np.concatenate([future_words, np.full(ended.size, words.end)])
        costs = np.concatenate([costs, final_costs])
        kept = first[holder] != _DEEP
        return Ngrams.of_entries(
            words.size,
            older=first[holder][kept],
            newer=second[holder][kept],
            words=future_words[kept],
            probabilities=np.exp(-costs[kept]),
            context_older=first[first != _DEEP],
            context_newer=second[first != _DEEP],
            backoff=np.exp(-backoff[first != _DEEP]),
        )


_DEEP = -2


def _contexts(bits: npt.NDArray[np.bool_], labels: Ints, states: int, words: Words, start: int) -> tuple[Ints, Ints]:
    """The last two words of each state's context: (older, newer), NO_WORD where there is none.

    In the tree of contexts, state k is the k-th set bit; its parent, the back-off context, is the
    number of clear bits before it, less one. A context of more than two words is marked deep.
    """
    nodes = np.flatnonzero(bits)[:states]
    parent = nodes - np.arange(states) - 1
    parent[0] = 0
    if parent.min() < 0 or parent.max() >= states or np.any(parent[1:] >= np.arange(1, states)):
        raise ValueError("its tree of contexts does not hold together")
    own = labels.copy()
    own[start] = words.start
    depth = np.zeros(states, np.int64)
    above = np.arange(states)
    while above.any():
        depth += above != 0
        above = parent[above]
    older = np.where(depth == 1, NO_WORD, own)
    newer = np.where(depth == 1, own, own[parent])
    older[0], newer[0] = NO_WORD, NO_WORD
    older[depth > 2] = _DEEP
    return older, newer


def _counts(bits: npt.NDArray[np.bool_], states: int) -> Ints:
    zeros = np.flatnonzero(~bits)
    if zeros.size < states + 1:
        raise ValueError("its lists of following words do not hold together")
    return (zeros[1 : states + 1] - zeros[:states] - 1).astype(np.int64)
