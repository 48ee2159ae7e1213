"""How predictions for the data set are scored.

Micro-averaged precision, recall and F1 over pairs of observation and value, summed over all dictations.
Our reading of the rules, from the paper (Corbeil et al. 2025) and the schema; the official program was not
at hand, so two readings are counted side by side:

``sets``     one pair for each observation; a MULTI_SELECT value is right only when the whole set is equal,
             in any order. This stricter reading is the headline figure.
``options``  as above, but every option of a MULTI_SELECT value is a pair of its own.

In both, an observation counts once for each dictation (the first stands). Strings are compared without
case and surrounding or doubled space; NUMERIC values by number (``88``, ``88.0`` and ``"88"`` are equal).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

Pair = tuple[str, Any]
READINGS = ("sets", "options")


@dataclass
class Count:
    """Counts of pairs: right, missed (gold only) and extra (predicted only)."""

    right: int = 0
    missed: int = 0
    extra: int = 0

    @property
    def precision(self) -> float:
        return self.right / max(self.right + self.extra, 1)

    @property
    def recall(self) -> float:
        return self.right / max(self.right + self.missed, 1)

    @property
    def f1(self) -> float:
        return 2 * self.right / max(2 * self.right + self.missed + self.extra, 1)

    def add(self, gold: set[Pair], ours: set[Pair]) -> None:
        self.right += len(gold & ours)
        self.missed += len(gold - ours)
        self.extra += len(ours - gold)

    def line(self, name: str) -> str:
        return (
            f"{name:44} P {self.precision:.3f}  R {self.recall:.3f}  F1 {self.f1:.3f}  "
            f"({self.right} right, {self.missed} missed, {self.extra} extra)"
        )


def plain(value: Any) -> Any:
    """A value as it is compared: a number, or lower-case text."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return float(value)
    text = " ".join(str(value).lower().split())
    try:
        return float(text)
    except ValueError:
        return text


def pairs(observations: Iterable[dict[str, Any]], reading: str = "sets") -> set[Pair]:
    """The pairs of one dictation; the first observation of a name stands."""
    found: dict[str, Any] = {}
    for one in observations:
        found.setdefault(one["name"], one["value"])
    out: set[Pair] = set()
    for name, value in found.items():
        if not isinstance(value, list):
            out.add((name, plain(value)))
        elif reading == "sets":
            out.add((name, frozenset(plain(v) for v in value)))
        else:
            out |= {(name, plain(v)) for v in value}
    return out


def score(
    golds: Iterable[list[dict[str, Any]]], ours: Iterable[list[dict[str, Any]]], reading: str = "sets"
) -> tuple[Count, dict[str, Count]]:
    """The whole count, and the count by observation."""
    total = Count()
    by_name: dict[str, Count] = {}
    for gold, predicted in zip(golds, ours, strict=True):
        a, b = pairs(gold, reading), pairs(predicted, reading)
        total.add(a, b)
        for name in {n for n, _ in a | b}:
            by_name.setdefault(name, Count()).add({p for p in a if p[0] == name}, {p for p in b if p[0] == name})
    return total, by_name
