"""Cohen's kappa against published worked examples, and which marks are compared."""

from __future__ import annotations

import builtins
import sys
from typing import Any

import pytest

from lexicon import load
from parser.marking import Settled, rubric_of, with_given
from parser.marking.agreement import MissingKappa, Pair, agreement, category, kappa, pairs_of
from parser.marking.text import agreement_text
from tests.parser.marking.test_marking import VITALS, marked, points

pytest.importorskip("sklearn", reason="needs the extra `marking`: pip install '.[marking]'")

#: Source, table of counts (rows: one rater, columns: the other), kappa as printed, its decimals.
PUBLISHED: list[tuple[str, list[list[int]], float, int]] = [
    # Table (as shares of 200) and result as the help of cohen.kappa in the R package psych gives them.
    ("Cohen 1968, Psychological Bulletin 70:213-220", [[88, 14, 18], [10, 40, 10], [2, 6, 12]], 0.492, 3),
    # From memory.
    ("Viera and Garrett 2005, Family Medicine 37:360-363, noon lectures", [[15, 5], [10, 70]], 0.57, 2),
    # From memory: 100 persons in the shares .75 .01 .04 / .05 .04 .01 / .00 .00 .10.
    ("Fleiss, Statistical Methods for Rates and Proportions, diagnosis by two raters",
     [[75, 1, 4], [5, 4, 1], [0, 0, 10]], 0.68, 2),
]  # fmt: skip


def lists(table: list[list[int]]) -> tuple[list[str], list[str], list[str]]:
    labels = [f"c{n}" for n in range(len(table))]
    cells = [(labels[i], labels[j]) for i, row in enumerate(table) for j, count in enumerate(row) for _ in range(count)]
    return [one for one, _ in cells], [other for _, other in cells], labels


@pytest.mark.parametrize(("table", "printed", "decimals"), [p[1:] for p in PUBLISHED], ids=[p[0] for p in PUBLISHED])
def test_kappa_agrees_with_published_examples(table: list[list[int]], printed: float, decimals: int) -> None:
    one, other, labels = lists(table)
    found = kappa(one, other, labels)
    assert found is not None
    assert round(found, decimals) == printed


def weighted(table: list[list[int]]) -> float:
    """1 - sum(w o) / sum(w e) with w = |i - j| (Cohen 1968, formula for disagreement weights)."""
    size, n = len(table), sum(map(sum, table))
    rows, columns = [sum(row) for row in table], [sum(column) for column in zip(*table, strict=True)]
    seen = sum(abs(i - j) * table[i][j] for i in range(size) for j in range(size))
    chance = sum(abs(i - j) * rows[i] * columns[j] / n for i in range(size) for j in range(size))
    return 1 - seen / chance


@pytest.mark.parametrize("table", [p[1] for p in PUBLISHED], ids=[p[0] for p in PUBLISHED])
def test_weighted_kappa_agrees_with_its_formula(table: list[list[int]]) -> None:
    one, other, labels = lists(table)
    assert kappa(one, other, labels, weights="linear") == pytest.approx(weighted(table))


@pytest.mark.parametrize(("one", "other"), [([], []), (["all"] * 5, ["all"] * 5)])
def test_kappa_is_not_defined_where_all_are_alike(one: list[str], other: list[str]) -> None:
    assert kappa(one, other, ["none", "all"]) is None


@pytest.mark.parametrize(
    ("value", "possible", "name"), [(0, 2, "none"), (0.5, 2, "part"), (2, 2, "all"), (1.99, 2, "part")]
)
def test_points_become_categories(value: float, possible: float, name: str) -> None:
    assert category(value, possible) == name


def test_only_what_both_have_marked_is_compared() -> None:
    rubric = rubric_of(load(), "complete")
    changed = with_given(marked(VITALS), rubric, [points("hand_hygiene", 3)])
    assert [(pair.step, pair.tool, pair.person) for pair in pairs_of(changed)] == [("hand_hygiene", "none", "all")]
    settled = with_given(
        marked(VITALS), rubric, [points("hand_hygiene", 3)],
        Settled(by="x", at="2026-11-25", rubric="complete", rubric_version=rubric.version),
    )  # fmt: skip
    found = agreement(list(pairs_of(settled)))
    asked = [one for one in settled.marks().values() if one.outcome != "not_due"]
    assert found.pairs == len(asked)
    assert (found.observed, found.runs) == (pytest.approx((len(asked) - 1) / len(asked)), 1)
    assert found.table[0][2] == 1
    assert "with the proposal in view" in agreement_text(found)
    assert "hand hygiene (1 of 1)" in agreement_text(found)


def test_nothing_to_compare_is_told() -> None:
    assert "crownsole mark settle" in agreement_text(agreement([]))


def test_the_absent_package_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name.startswith("sklearn"):
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    monkeypatch.delitem(sys.modules, "sklearn.metrics", raising=False)
    pairs = [Pair("r", "a", "a", "none", "all"), Pair("r", "b", "b", "all", "all")]
    with pytest.raises(MissingKappa, match=r"crownsole\[marking\]"):
        agreement(pairs)
