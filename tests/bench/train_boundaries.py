"""Trains the boundary model and measures it by cross-validation.

    python -m tests.bench.train_boundaries [--folds 5] [--write]

Learns from the marks of the development texts (the NegEx kit, MTSamples, SYNUR, ACI-Bench and OpenStax
parts described in their README) and from the example sentences of the lexicon: the words are read as a
recogniser gives them, in lower case and without marks, and the model has to tell where statements ended.
A comma may or may not end a statement, so a gap with one counts little.

Folds are by report or document, so that no report is both learnt and measured. The negation of the kept
reports is measured with the model that has not seen them: their sentences run together five at a time, in
the order of the file and in three shuffled orders. ``--write`` trains on everything and writes
``lexicon/data/boundaries.json``.
"""

from __future__ import annotations

import argparse
import json
import random
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from lexicon import DATA, load
from lexicon.forms import expand
from lexicon.reading import read_yaml
from lexicon.weights import BOUNDARIES, BreakWeights
from parser.components.assertion import assert_status
from parser.components.boundaries import find_boundaries, is_stop
from parser.components.breaks import BreakModel, ListShape, features, joins_ahead
from parser.spans import tokens_of_span
from parser.tokens import tokenise, words_of
from tests.bench.negation import measure, placed
from tests.shared import SHARED, lines_of

COMMA_WEIGHT = 0.3
L2 = 1.0
ROUNDS = 150
COPIES = 3
SHUFFLES = 3

_NUMBERS = """zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen
seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred"""
_FUNCTION = """a an the of to in on at for from by with and or no not is are was were s per than up down out"""
NUMBER_WORDS, FUNCTION_WORDS = frozenset(_NUMBERS.split()), frozenset(_FUNCTION.split())
FILLERS = frozenset(("uh", "um", "er", "erm", "hmm", "hm", "mm", "ah"))


@dataclass(frozen=True)
class Sentence:
    """Words as heard, and for each gap inside: 0 nothing, 1 a comma."""

    group: str
    words: tuple[str, ...]
    commas: frozenset[int]


def sentences_of(text: str, group: str) -> Iterator[Sentence]:
    for line in text.split("\n"):
        tokens = tokenise(line)
        words: list[str] = []
        commas: set[int] = set()
        for i, word in enumerate(tokens.words):
            if is_stop(tokens, i) and words:
                yield Sentence(group, tuple(words), frozenset(commas))
                words, commas = [], set()
            elif word == "," and words:
                commas.add(len(words))
            elif word[0].isalnum() and word not in FILLERS:
                words.append(word)
        if words:
            yield Sentence(group, tuple(words), frozenset(commas))


def documents() -> Iterator[tuple[str, list[Sentence]]]:
    """(group, sentences in order) of every development text."""
    assert SHARED is not None, "the development data is needed for training"
    folder = SHARED / "data" / "text"
    reports: dict[int, dict[str, None]] = {}
    for line in lines_of(folder / "negation_dev.jsonl"):
        reports.setdefault(line["report"], {})[line["text"]] = None
    for report, texts in reports.items():
        yield f"negex-{report}", [s for text in texts for s in sentences_of(text, f"negex-{report}")]
    for line in lines_of(folder / "synur_train.jsonl"):
        yield line["id"], list(sentences_of(line["text"], line["id"]))
    for line in lines_of(folder / "spoken_exam_dev.jsonl"):
        yield line["id"], list(sentences_of(line["exam_note"] or "", line["id"]))
        said = [text for text in line["said"] if text.count(".") + text.count(",") > 5]
        yield line["id"], [s for text in said for s in sentences_of(text, line["id"])]
    for name, key in (("exam_gold_dev", "doc"), ("openstax_exam", "case")):
        for line in lines_of(folder / f"{name}.jsonl"):
            yield f"{name}-{line[key]}", list(sentences_of(line["text"], f"{name}-{line[key]}"))


def examples() -> Iterator[tuple[str, list[Sentence]]]:
    """The example sentences of the lexicon, one document a finding file."""
    for path in sorted((DATA / "findings").glob("*.yaml")):
        found = []
        for concept in read_yaml(path).data.get("concepts") or ():
            given = concept.get("examples") or ()
            for example in (given,) if isinstance(given, str) else given:
                said = str(example).partition(" = ")[0]
                found += sentences_of(said, f"lexicon-{path.stem}-{concept['id']}")
        yield f"lexicon-{path.stem}", found


def streams(docs: list[tuple[str, list[Sentence]]], copies: int) -> Iterator[list[Sentence]]:
    """The sentences of each document in order, and all sentences shuffled ``copies`` times, in runs of 40."""
    for _, sentences in docs:
        yield sentences
    everything = [s for _, sentences in docs for s in sentences]
    for copy in range(copies):
        random.Random(copy).shuffle(everything)
        for i in range(0, len(everything), 40):
            yield everything[i : i + 40]


def instances(stream: Iterable[Sentence], classes: dict[str, str]) -> Iterator[tuple[tuple[str, ...], int, float]]:
    """(features, label, weight) of every gap."""
    words: list[str] = []
    kinds: list[int] = []  # 0 inside, 1 comma, 2 a statement begins
    for sentence in stream:
        for i, word in enumerate(sentence.words):
            words.append(word)
            kinds.append(2 if i == 0 else 1 if i in sentence.commas else 0)
    shape, ahead = ListShape(), joins_ahead(words)
    for i, word in enumerate(words):
        if kinds[i] == 2:
            if i:
                yield features(words, i, shape, ahead[i], classes), 1, 1.0
            shape.begin()
        elif i:
            yield features(words, i, shape, ahead[i], classes), 0, COMMA_WEIGHT if kinds[i] == 1 else 1.0
        shape.step(word)


def train(data: list[tuple[tuple[str, ...], int, float]], classes: dict[str, str], least: int = 2) -> BreakWeights:
    """Weighted logistic regression with an L2 penalty, by full-batch Adam; deterministic."""
    counts = Counter(name for names, _, _ in data for name in names)
    index = {name: n + 1 for n, name in enumerate(sorted(name for name, n in counts.items() if n >= least))}
    table = np.array([[index.get(name, 0) for name in names] for names, _, _ in data], dtype=np.int32)
    labels = np.array([label for _, label, _ in data], dtype=float)
    weight = np.array([w for _, _, w in data])
    w, bias = np.zeros(len(index) + 1), -2.0
    m, v, mb, vb = np.zeros_like(w), np.zeros_like(w), 0.0, 0.0
    for step in range(1, ROUNDS + 1):
        p = 1 / (1 + np.exp(-(w[table].sum(1) + bias)))
        error = (p - labels) * weight
        grad = np.bincount(table.ravel(), np.repeat(error, table.shape[1]), len(w)) + L2 * w
        grad[0] = 0
        m, v = 0.9 * m + 0.1 * grad, 0.99 * v + 0.01 * grad**2
        gb = error.sum()
        mb, vb = 0.9 * mb + 0.1 * gb, 0.99 * vb + 0.01 * gb**2
        rate = 0.1 if step < ROUNDS * 2 // 3 else 0.02
        w -= rate * (m / (1 - 0.9**step)) / (np.sqrt(v / (1 - 0.99**step)) + 1e-8)
        bias -= rate * (mb / (1 - 0.9**step)) / (np.sqrt(vb / (1 - 0.99**step)) + 1e-8)
    weights = {name: float(w[n]) for name, n in index.items() if abs(w[n]) > 0.02}
    return BreakWeights(bias, MappingProxyType(weights), MappingProxyType(classes))


def fold_of(group: str, folds: int) -> int:
    return zlib.crc32(group.encode()) % folds


def boundary_scores(weights: BreakWeights, docs: list[tuple[str, list[Sentence]]], threshold: float) -> Counter[str]:
    """Hits, misses and false alarms over shuffled runs; commas are not judged."""
    tally: Counter[str] = Counter()
    model = BreakModel(weights)
    for stream in streams(docs, 1):
        words = [word for s in stream for word in s.words]
        starts, commas, at = set(), set(), 0
        for s in stream:
            starts.add(at)
            commas |= {at + c for c in s.commas}
            at += len(s.words)
        for i, score in enumerate(model.scores(words, [0.0] * len(words), threshold)):
            if i and i not in commas:
                begins = score >= threshold
                tally[("hit" if i in starts else "false") if begins else "miss" if i in starts else "right"] += 1
    return tally


def word_classes() -> dict[str, str]:
    """Words by what the lexicon uses them for: M measure, R region, S site, N normal, A abnormal, O other, # number."""
    votes: dict[str, Counter[str]] = {}

    def vote(forms: Iterable[str], name: str) -> None:
        for form in forms:
            for word in words_of(form):
                if word not in FUNCTION_WORDS and word.isalpha():
                    votes.setdefault(word, Counter())[name] += 1

    for path in sorted(DATA.rglob("*.yaml")):
        data = read_yaml(path).data
        if path.parent.name == "findings":
            for site in data.get("sites") or ():
                vote(ways(site), "S")
            for concept in data.get("concepts") or ():
                vote(ways(concept), {"normal": "N", "abnormal": "A"}.get(concept.get("nature"), "O"))
        elif path.stem in ("measures", "regions"):
            for entry in data.get(path.stem) or ():
                vote(ways(entry), path.stem[0].upper())
    chosen = {word: max(sorted(counts), key=counts.__getitem__) for word, counts in votes.items()}
    return {**chosen, **dict.fromkeys(NUMBER_WORDS, "#")}


def ways(entry: dict[str, object]) -> Iterator[str]:
    """The spoken forms of an entry of a lexicon file."""
    forms = entry.get("forms") or ()
    for form in (forms,) if isinstance(forms, str) else forms:  # type: ignore[union-attr]
        try:
            yield from expand(str(form).lower())
        except ValueError:
            continue


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--folds", type=int, default=5)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    docs, classes = [*documents(), *examples()], word_classes()
    if options.write:
        data = [row for stream in streams(docs, COPIES) for row in instances(stream, classes)]
        write(train(data, classes))
        return
    total: Counter[str] = Counter()
    negation: list[Counter[str]] = [Counter() for _ in range(1 + SHUFFLES)]
    for fold in range(options.folds):
        learnt = [doc for doc in docs if fold_of(doc[0], options.folds) != fold]
        kept = [doc for doc in docs if fold_of(doc[0], options.folds) == fold]
        weights = train([row for stream in streams(learnt, COPIES) for row in instances(stream, classes)], classes)
        total += boundary_scores(weights, kept, 0.0)
        for order in range(1 + SHUFFLES):
            negation[order] += negation_scores(weights, fold, options.folds, order)
    print("boundaries", figures(total))
    for order, tally in enumerate(negation):
        print("negation, five run together,", f"shuffle {order}:" if order else "file order:", figures(tally))


def negation_scores(weights: BreakWeights, fold: int, folds: int, order: int) -> Counter[str]:
    """Hits, misses and false alarms of "absent" over the reports of a fold; ``order`` 0 is that of the file."""
    assert SHARED is not None
    model, lexicon = BreakModel(weights), load()
    lines = [placed(line) for line in lines_of(SHARED / "data" / "text" / "negation_dev.jsonl")]
    lines = [line for line in lines if fold_of(f"negex-{line['report']}", folds) == fold]
    if order:
        random.Random(order).shuffle(lines)

    def decide(text: str, spans: list[tuple[int, int]]) -> list[str]:
        tokens = tokenise(text)
        whole = [place for span in spans if (place := tokens_of_span(tokens, *span)) is not None]
        bounds = find_boundaries(tokens, [(start, end, "concept") for start, end in whole], lexicon, model)
        return [given.status for given in assert_status(tokens, whole, bounds, lexicon)]

    tally: Counter[str] = Counter()
    for line, status in measure(decide, lines, 5)[1]:
        said, true = status == "absent", line["label"] == "Negated"
        tally["hit" if said and true else "false" if said else "miss" if true else "right"] += 1
    return tally


def figures(tally: Counter[str]) -> str:
    hit, said, true = tally["hit"], tally["hit"] + tally["false"], tally["hit"] + tally["miss"]
    return f"precision {hit / max(said, 1):.3f} recall {hit / max(true, 1):.3f} f1 {2 * hit / max(said + true, 1):.3f}"


def write(weights: BreakWeights) -> None:
    scale = 0.01
    rounded = {name: round(w / scale) for name, w in sorted(weights.table.items()) if abs(w) > 0.05}
    classes: dict[str, list[str]] = {}
    for word, name in sorted(weights.classes.items()):
        classes.setdefault(name, []).append(word)
    data = {
        "bias": round(weights.bias, 4),
        "scale": scale,
        "classes": {name: " ".join(words) for name, words in classes.items()},
        "weights": rounded,
    }
    BOUNDARIES.write_text(json.dumps(data, ensure_ascii=False, separators=(",", ":")) + "\n", encoding="utf-8")
    print(f"{len(rounded)} weights, {BOUNDARIES.stat().st_size} bytes")


if __name__ == "__main__":
    main()
