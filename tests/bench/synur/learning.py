"""The trained part: which proposals hold, and which options are meant though no row of the mapping says so.

One logistic regression for each pair of observation and option, and one for each numeric or free-text observation.
Its prior trusts the mapping: the log-odds start at ``bias``, plus ``trust`` where a row proposed the pair. What is
learnt is a deviation from that, over our proposals, our entries, the words of the dictation, the rows that proposed
the pair and the words about them, held small by an L2 penalty (maximum a posteriori under a Gaussian prior;
Newton's method in the dual, one unknown for each dictation). Decisions take the likeliest option above a threshold;
the threshold that is best on dictations not learnt from (an inner cross-validation) is kept with the model.
Everything is deterministic.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from tests.bench.synur.features import Case, Span, schema
from tests.bench.synur.mapping import rows
from tests.bench.synur.scoring import plain, score

MODEL = Path(__file__).parent / "model.json"
Array = np.ndarray[Any, np.dtype[np.float64]]


@dataclass(frozen=True, slots=True)
class Settings:
    """Log-odds of the prior, scales of the groups of features, penalty, and how much is kept."""

    bias: float = -4.0
    trust: float = 5.5
    rule: float = 0.2
    entry: float = 0.2
    words: float = 0.2
    row: float = 2.0
    around: float = 0.2
    penalty: float = 1.2
    rarest: int = 2
    kept: int = 80
    thresholds: tuple[float, ...] = (0.3, 0.34, 0.38, 0.42, 0.46)


USUAL = Settings()


@dataclass(frozen=True, slots=True)
class Judge:
    """The weights of one pair (or of a whole observation when ``value`` is None)."""

    name: str
    value: Any
    bias: float
    weights: dict[str, float]
    rows: dict[int, float]
    any_row: float
    many_rows: float
    around: dict[str, float]
    #: Row -> share of its proposals that held, for choosing among numbers and free text.
    held: dict[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Model:
    judges: tuple[Judge, ...]
    scales: dict[str, float]
    threshold: float = 0.38
    settings: Settings = USUAL


@dataclass(frozen=True, slots=True)
class Finding:
    """One decided observation value: its likelihood, the text it rests on, and whether no row proposed it."""

    name: str
    value: Any
    chance: float
    spans: tuple[Span, ...]
    inferred: bool


def _scales(cases: Sequence[Case], s: Settings) -> dict[str, float]:
    counts = Counter(f for case in cases for f in case.features)
    scales: dict[str, float] = {}
    for name, n in counts.items():
        kind = name.split(" ", 1)[0]
        if kind == "words":
            if n >= s.rarest:
                scales[name] = s.words * min(1.5, float(np.log(len(cases) / n)) / 2 + 0.3)
        else:
            scales[name] = s.rule if kind == "rule" else s.entry
    return scales


def _dual(kernel: Array, y: Array, prior: Array, penalty: float) -> Array:
    """Dual weights of a logistic regression whose log-odds are ``prior + kernel @ a``."""
    a: Array = np.zeros(len(y))
    for _ in range(30):
        inner = kernel @ a
        p = 1 / (1 + np.exp(-(prior + inner)))
        w = np.maximum(p * (1 - p), 1e-6)
        new = np.linalg.solve(w[:, None] * kernel + penalty * np.eye(len(y)), w * inner + (y - p)).astype(np.float64)
        done = float(np.abs(new - a).max()) < 1e-5
        a = new
        if done:
            break
    return a


@dataclass(slots=True)
class _Training:
    cases: Sequence[Case]
    s: Settings
    scales: dict[str, float]
    names: list[str]
    x: Array
    mean: Array
    kernel: Array

    @classmethod
    def of(cls, cases: Sequence[Case], s: Settings) -> _Training:
        scales = _scales(cases, s)
        names = sorted(scales)
        index = {name: i for i, name in enumerate(names)}
        x = np.zeros((len(cases), len(names)))
        for i, case in enumerate(cases):
            for name in case.features:
                if name in index:
                    x[i, index[name]] = scales[name]
        mean = x.mean(0)
        x -= mean
        return cls(cases, s, scales, names, x, mean, x @ x.T + 0.3)

    def judge(self, name: str, value: Any, y: Array, fired: list[list[int]], around: list[frozenset[str]]) -> Judge:
        s = self.s
        rowed = sorted({r for rs in fired for r in rs})
        counts = Counter(w for said in around for w in said)
        words = sorted(w for w, n in counts.items() if n >= s.rarest)
        own = _own(fired, around, rowed, words, s)
        prior = np.array([s.bias + (s.trust if rs else 0.0) for rs in fired])
        a = _dual(self.kernel + own @ own.T, y, prior, s.penalty)
        learnt = self.x.T @ a
        bias = s.bias + 0.3 * float(a.sum()) - float(self.mean @ learnt)
        weights = self._strongest(learnt) if y.any() or any(fired) else {}
        mine = [round(float(m), 4) for m in own.T @ a]
        n = len(rowed)
        said = {w: m for w, m in zip(words, mine[n + 2 :], strict=True) if abs(m) > 1e-3}
        return Judge(name, value, bias, weights, dict(zip(rowed, mine[:n], strict=True)), mine[n], mine[n + 1], said)

    def _strongest(self, learnt: Array) -> dict[str, float]:
        """The weights that move the log-odds most."""
        scaled = np.abs(learnt * np.array([self.scales[n] for n in self.names]))
        top = np.argsort(-scaled, kind="stable")[: self.s.kept]
        return {self.names[i]: round(float(learnt[i]), 4) for i in top if abs(learnt[i]) > 1e-3}


def _own(
    fired: list[list[int]], around: list[frozenset[str]], rowed: list[int], words: list[str], s: Settings
) -> Array:
    """What is seen of one pair alone: the rows that proposed it, whether any or several did, the words about them."""
    own = np.zeros((len(fired), len(rowed) + 2 + len(words)))
    row_at, word_at = {r: i for i, r in enumerate(rowed)}, {w: len(rowed) + 2 + i for i, w in enumerate(words)}
    for i, rs in enumerate(fired):
        own[i, [row_at[r] for r in set(rs)]] = s.row
        own[i, len(rowed)] = s.row if rs else 0.0
        own[i, len(rowed) + 1] = 0.7 * s.row if len(rs) > 1 else 0.0
        own[i, [word_at[w] for w in around[i] if w in word_at]] = s.around
    return own


def train(cases: Sequence[Case], s: Settings = USUAL, *, threshold: float | None = None) -> Model:
    """Learn from dictations with gold; the threshold too, from an inner cross-validation, unless given."""
    t = _Training.of(cases, s)
    judges = [_option(t, name, value) for name, value in _options(cases)]
    judges += [_open(t, c.name) for c in schema().values() if not c.select]
    model = Model(tuple(judges), t.scales, threshold or 0.38, s)
    return model if threshold is not None else replace(model, threshold=_best_threshold(cases, s))


def _options(cases: Sequence[Case]) -> list[tuple[str, Any]]:
    concepts = schema()
    seen = {(n, v) for case in cases for n, v in case.pairs if n in concepts and concepts[n].select}
    ruled = {(r.name, plain(r.value)) for r in rows() if "{" not in r.value and concepts[r.name].select}
    open_rows = {r.name for r in rows() if "{" in r.value}
    ruled |= {(name, plain(o)) for name in open_rows for o in concepts[name].options}
    proposed = {(p.name, plain(p.value)) for case in cases for p in case.proposals if concepts[p.name].select}
    return sorted(seen | ruled | proposed, key=str)


def _option(t: _Training, name: str, value: Any) -> Judge:
    y = np.array([(name, value) in case.pairs for case in t.cases], float)
    fired = [[p.row for p in case.own(name, value)] for case in t.cases]
    return t.judge(name, value, y, fired, [case.around.get((name, value), frozenset()) for case in t.cases])


def _open(t: _Training, name: str) -> Judge:
    tally: dict[int, list[float]] = {}
    for case in t.cases:
        for p in case.own(name):
            held = tally.setdefault(p.row, [1.0, 1.5])
            held[0] += (name, plain(p.value)) in case.pairs
            held[1] += 1
    rates = {row: round(a / b, 4) for row, (a, b) in tally.items()}
    chosen = [_choose(case, name, rates) for case in t.cases]
    y = np.array(
        [p is not None and (name, plain(p.value)) in case.pairs for p, case in zip(chosen, t.cases, strict=True)], float
    )
    judge = t.judge(name, None, y, [[p.row] if p else [] for p in chosen], [frozenset()] * len(t.cases))
    return replace(judge, held=rates)


def _choose(case: Case, name: str, rates: dict[int, float]) -> Any:
    """The proposal of the row that held most often; the first of equals."""
    return max(case.own(name), key=lambda p: rates.get(p.row, 0.6), default=None)


def _chance(
    judge: Judge, case: Case, model: Model, fired: Sequence[int], around: frozenset[str]
) -> tuple[float, list[tuple[float, str]]]:
    s = model.settings
    shares = [(w * model.scales[f], f) for f, w in judge.weights.items() if f in case.features]
    total = judge.bias + sum(share for share, _ in shares)
    if fired:
        total += s.trust + s.row * (judge.any_row + sum(judge.rows.get(r, 0.0) for r in set(fired)))
        total += 0.7 * s.row * judge.many_rows if len(fired) > 1 else 0.0
        total += s.around * sum(judge.around.get(w, 0.0) for w in around)
    return 1 / (1 + float(np.exp(-total))), shares


def decide(model: Model, case: Case) -> list[Finding]:
    """The observations of one dictation. Nothing is given that rests on no word of it."""
    best: dict[str, list[Finding]] = {}
    for judge in model.judges:
        own = case.own(judge.name, judge.value)
        if judge.value is None:
            chosen = _choose(case, judge.name, judge.held)
            own = [chosen] if chosen else []
            if not own:
                continue
        chance, shares = _chance(
            judge, case, model, [p.row for p in own], case.around.get((judge.name, judge.value), frozenset())
        )
        if chance < model.threshold:
            continue
        spans = tuple(dict.fromkeys(span for p in own for span in p.spans))
        if not own:
            spans = tuple(
                dict.fromkeys(case.features[f][0] for share, f in sorted(shares, reverse=True)[:4] if share > 0)
            )
        if spans:
            value = judge.value if judge.value is not None else own[0].value
            best.setdefault(judge.name, []).append(Finding(judge.name, value, chance, spans, not own))
    out: list[Finding] = []
    for name, found in best.items():
        many = schema()[name].type == "MULTI_SELECT"
        out += found if many else [max(found, key=lambda f: f.chance)]
    return out


def observations(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Findings in the data set's own form."""
    out: dict[str, dict[str, Any]] = {}
    for f in findings:
        concept = schema()[f.name]
        value = next((o for o in concept.options if plain(o) == plain(f.value)), f.value)
        if concept.type == "MULTI_SELECT":
            out.setdefault(f.name, _one(concept, []))["value"].append(value)
        elif concept.type == "NUMERIC":
            number = float(value)
            out[f.name] = _one(concept, int(number) if number.is_integer() else number)
        else:
            out[f.name] = _one(concept, str(value))
    return list(out.values())


def _one(concept: Any, value: Any) -> dict[str, Any]:
    return {"id": concept.id, "value_type": concept.type, "name": concept.name, "value": value}


def folds(cases: Sequence[Case], n: int, seed: int = 0) -> list[tuple[list[int], list[int]]]:
    """Places of the dictations learnt from and kept out, fold by fold."""
    order = np.random.default_rng(seed).permutation(len(cases)).tolist()
    return [([i for k, i in enumerate(order) if k % n != f], order[f::n]) for f in range(n)]


def _best_threshold(cases: Sequence[Case], s: Settings) -> float:
    models = [(train([cases[i] for i in known], s, threshold=0.38), kept) for known, kept in folds(cases, 3, seed=1)]

    def f1(threshold: float) -> float:
        golds, ours = [], []
        for model, kept in models:
            for i in kept:
                golds.append(cases[i].gold or [])
                ours.append(observations(decide(replace(model, threshold=threshold), cases[i])))
        return score(golds, ours)[0].f1

    return max(s.thresholds, key=f1)


def save(model: Model, path: Path = MODEL) -> None:
    """Write a model as JSON; judges that have learnt nothing are left to the prior."""
    data = {
        "settings": asdict(model.settings),
        "threshold": model.threshold,
        "scales": {k: round(v, 4) for k, v in model.scales.items() if any(k in j.weights for j in model.judges)},
        "judges": [asdict(j) for j in model.judges],
    }
    path.write_text(json.dumps(data, separators=(",", ":"), sort_keys=True), encoding="utf-8")


def load(path: Path = MODEL) -> Model:
    data = json.loads(path.read_text(encoding="utf-8"))
    judges = tuple(
        Judge(
            **{
                **j,
                "rows": {int(k): v for k, v in j["rows"].items()},
                "held": {int(k): v for k, v in j["held"].items()},
            }
        )
        for j in data["judges"]
    )
    settings = Settings(**{**data["settings"], "thresholds": tuple(data["settings"]["thresholds"])})
    return Model(judges, data["scales"], data["threshold"], settings)
