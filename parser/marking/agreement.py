"""Agreement of the tool's marks with a person's: Cohen's kappa, computed by scikit-learn.

Every step that both have marked is a pair of categories: none, part or all of its points. Kappa is agreement
beyond chance (Cohen 1960); the weighted one counts none against all as twice as far as none against part
(Cohen 1968, linear weights).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from parser.marking.model import Mark, Marking

Category = Literal["none", "part", "all"]
CATEGORIES: tuple[Category, ...] = ("none", "part", "all")


class MissingKappa(RuntimeError):
    """scikit-learn is not installed."""


@dataclass(frozen=True, slots=True)
class Pair:
    """One step of one run, by the tool and by a person. ``apart``: the person had not seen the tool's."""

    run: str
    step: str
    label: str
    tool: Category
    person: Category
    apart: bool = False


@dataclass(frozen=True, slots=True)
class Agreement:
    """``table[i][j]``: pairs with the tool's category i and the person's j, in the order of :data:`CATEGORIES`.

    ``observed`` is the share of equal pairs; kappas are None where they are not defined (all marks alike).
    ``apart`` counts pairs whose person had not seen the proposals.
    """

    pairs: int
    runs: int
    table: tuple[tuple[int, ...], ...]
    observed: float | None
    kappa: float | None
    weighted: float | None
    apart: int
    differing: tuple[tuple[str, int, int], ...]


def category(points: float, possible: float) -> Category:
    """None, part or all of the points."""
    return "none" if points <= 0 else "all" if points >= possible else "part"


def pairs_of(marking: Marking) -> Iterable[Pair]:
    """Steps that the tool and a person have both marked: those changed, and all others once the marks are settled."""
    for mark in marking.marks().values():
        if _judged(mark, settled=marking.settled is not None):
            tool = category(mark.points, mark.possible)
            yield Pair(marking.run, mark.step, mark.label, tool, category(mark.standing, mark.possible))


def _judged(mark: Mark, *, settled: bool) -> bool:
    return mark.possible > 0 and (mark.given is not None or (settled and mark.counted))


def agreement(pairs: Sequence[Pair]) -> Agreement:
    """Raises :class:`MissingKappa` when scikit-learn is not installed."""
    counts = Counter((pair.tool, pair.person) for pair in pairs)
    equal = sum(counts[name, name] for name in CATEGORIES)
    tool, person = [pair.tool for pair in pairs], [pair.person for pair in pairs]
    apart = Counter(pair.label for pair in pairs)
    unlike = Counter(pair.label for pair in pairs if pair.tool != pair.person)
    return Agreement(
        pairs=len(pairs),
        runs=len({pair.run for pair in pairs}),
        table=tuple(tuple(counts[one, other] for other in CATEGORIES) for one in CATEGORIES),
        observed=equal / len(pairs) if pairs else None,
        kappa=kappa(tool, person, CATEGORIES),
        weighted=kappa(tool, person, CATEGORIES, weights="linear"),
        apart=sum(pair.apart for pair in pairs),
        differing=tuple((label, n, apart[label]) for label, n in unlike.most_common(10)),
    )


def kappa(
    one: Sequence[str], other: Sequence[str], labels: Sequence[str], weights: Literal["linear"] | None = None
) -> float | None:
    """Cohen's kappa of two lists of equal length; None where chance alone gives full agreement.

    Raises :class:`MissingKappa` when scikit-learn is not installed.
    """
    if len(set(one) | set(other)) < 2:
        return None
    try:
        from sklearn.metrics import cohen_kappa_score
    except ImportError:
        raise MissingKappa(
            "Agreement needs one more package. Install it with: pip install 'crownsole[marking]'"
        ) from None
    found = float(cohen_kappa_score(one, other, labels=list(labels), weights=weights))
    return None if math.isnan(found) else found
