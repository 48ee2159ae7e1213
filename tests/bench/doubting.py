"""Measures doubt: which heard key words are wrong, and which of them say so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from listener.doubt import STANDARD, KeyWords, Limits, doubted
from parser.transcript import Word
from tests.bench.scoring import Scorer


@dataclass(frozen=True)
class KeyWord:
    """A heard key word: its kind, confidence, and whether it was said there."""

    kind: str
    word: Word
    right: bool


@dataclass(frozen=True)
class Outcome:
    """``silent``: wrong key words without a doubt, of all key words; ``needless``: right ones doubted, of the right."""

    key_words: int
    wrong: int
    silent: float
    needless: float


def aligned(said: Sequence[str], heard: Sequence[Word], scorer: Scorer, keys: KeyWords) -> list[KeyWord]:
    """The key words among the heard words, each right when the least-edits alignment pairs it with itself."""
    flat = [(piece, word) for word in heard for piece in scorer.words(word.text)]
    matched = _matches(list(said), [piece for piece, _ in flat])
    found = []
    for i, (piece, word) in enumerate(flat):
        kind = keys.kind(piece) or keys.kind(word.text)
        if kind:
            found.append(KeyWord(kind, replace(word, text=piece), i in matched))
    return found


def _matches(said: list[str], heard: list[str]) -> set[int]:
    """Places in ``heard`` that a least-edits alignment pairs with the same word in ``said``."""
    rows = [list(range(len(heard) + 1))]
    for i, word in enumerate(said, 1):
        row = [i]
        for j, other in enumerate(heard, 1):
            row.append(min(rows[-1][j - 1] + (word != other), rows[-1][j] + 1, row[-1] + 1))
        rows.append(row)
    found, i, j = set(), len(said), len(heard)
    while i and j:
        if rows[i][j] == rows[i - 1][j - 1] + (said[i - 1] != heard[j - 1]):
            if said[i - 1] == heard[j - 1]:
                found.add(j - 1)
            i, j = i - 1, j - 1
        elif rows[i][j] == rows[i - 1][j] + 1:
            i -= 1
        else:
            j -= 1
    return found


def outcome(found: Sequence[KeyWord], keys: KeyWords, limits: Limits) -> Outcome:
    """What doubt with ``limits`` makes of the key words."""
    wrong = sum(not key.right for key in found)
    told = [bool(doubted((key.word,), keys, limits=limits)[0].doubt) for key in found]
    silent = sum(not key.right and not doubt for key, doubt in zip(found, told, strict=True))
    needless = sum(key.right and doubt for key, doubt in zip(found, told, strict=True))
    return Outcome(len(found), wrong, silent / max(1, len(found)), needless / max(1, len(found) - wrong))


def tuned(found: Sequence[KeyWord], keys: KeyWords, most_needless: float) -> Limits:
    """The highest limit, the same for every kind, that doubts at most this share of the right words."""
    best = Limits(0, 0, 0, 0, 0)
    for step in range(50, 101):
        limit = step / 100
        limits = Limits(limit, max(limit, STANDARD.twin), limit, limit, limit)
        if outcome(found, keys, limits).needless <= most_needless:
            best = limits
    return best


def report_doubt(condition: str, found: Sequence[KeyWord], keys: KeyWords, most_needless: float) -> None:
    """Print the limits tuned on the even half of the key words, and what they do on the odd half."""
    limits = tuned(found[::2], keys, most_needless)
    for name, used in (("tuned", limits), ("set", Limits())):
        seen = outcome(found[1::2], keys, used)
        print(f"{condition:15} doubt, {name:5} limit {used.number:.2f}: {seen.key_words} key words, {seen.wrong} wrong,"
              f" silent {1000 * seen.silent:.1f} in 1,000, needless {100 * seen.needless:.1f} %", flush=True)
