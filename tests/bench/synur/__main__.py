"""Our record of nurses' dictations against the gold observations of the data set.

    python -m tests.bench.synur FILE.jsonl [--predictions OUT.jsonl] [--evidence OUT.jsonl]
                                [--folds 5] [--by-concept] [--rules]

FILE is in the data set's own form (``id``, ``transcript``, ``observations``) or that of the development data
(``text``, ``annotations``). Without ``--folds`` the shipped model (``model.json``, learnt from the training
dictations by ``python -m tests.bench.synur.train``) decides; with it FILE is cross-validated: everything learnt is
learnt on the other folds. ``--rules`` leaves the trained part out. Predictions are written in the data set's own
form; ``--evidence`` writes, for each value, the words it rests on, its likelihood and whether it is inferred. How
it is scored: scoring.py.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.bench.synur import learning
from tests.bench.synur.features import SCHEMA, Case, case_of, schema, use_schema
from tests.bench.synur.learning import Finding, decide, folds, observations, train
from tests.bench.synur.scoring import READINGS, score
from tests.shared import lines_of


def by_rules(case: Case) -> list[Finding]:
    """What the mapping alone says: the first proposal of each observation, every option of a multiple one."""
    found: dict[tuple[str, Any], Finding] = {}
    for p in case.proposals:
        many = schema()[p.name].type == "MULTI_SELECT"
        found.setdefault((p.name, p.value if many else None), Finding(p.name, p.value, 1.0, p.spans, False))
    return list(found.values())


def cross_validated(cases: Sequence[Case], n: int) -> list[list[Finding]]:
    out: list[list[Finding]] = [[] for _ in cases]
    for known, kept in folds(cases, n):
        model = train([cases[i] for i in known])
        for i in kept:
            out[i] = decide(model, cases[i])
    return out


def report(cases: Sequence[Case], found: Sequence[Sequence[Finding]], by_concept: bool) -> None:
    golds = [case.gold or [] for case in cases]
    ours = [observations(f) for f in found]
    for reading in READINGS:
        total, by_name = score(golds, ours, reading)
        print(total.line(f"observations, {reading}"))
        if by_concept and reading == READINGS[0]:
            for name, count in sorted(by_name.items(), key=lambda item: -(item[1].missed + item[1].extra)):
                print("  " + count.line(name))


def write(path: str, lines: Sequence[dict[str, Any]]) -> None:
    with open(path, "w", encoding="utf-8") as stream:
        stream.writelines(json.dumps(line, ensure_ascii=False) + "\n" for line in lines)


def evidence_of(case: Case, finding: Finding) -> dict[str, Any]:
    return {
        "name": finding.name,
        "value": finding.value,
        "chance": round(finding.chance, 3),
        "inferred": finding.inferred,
        "evidence": [{"chars": span, "text": case.text[span[0] : span[1]]} for span in finding.spans],
    }


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("file")
    options.add_argument("--predictions")
    options.add_argument("--evidence")
    options.add_argument("--folds", type=int, default=0)
    options.add_argument("--by-concept", action="store_true")
    options.add_argument("--rules", action="store_true")
    given = options.parse_args()
    beside = Path(given.file).with_name(SCHEMA)
    if beside.is_file():
        use_schema(beside)
    lines = list(lines_of(given.file))
    case_of(lines[0])
    began = time.process_time()
    cases = [case_of(line) for line in lines]
    understood = time.process_time()
    if given.rules:
        found = [by_rules(case) for case in cases]
    elif given.folds:
        found = cross_validated(cases, given.folds)
    else:
        model = learning.load()
        start = time.process_time()
        found = [decide(model, case) for case in cases]
        print(f"deciding: {1000 * (time.process_time() - start) / len(cases):.1f} ms of processor time a dictation")
    print(f"understanding: {1000 * (understood - began) / len(cases):.1f} ms of processor time a dictation")
    if any(case.gold is not None for case in cases):
        report(cases, found, given.by_concept)
    every = [f for one in found for f in one]
    bare, inferred = sum(not f.spans for f in every), sum(f.inferred for f in every)
    print(f"{len(every)} values; without evidence: {bare}; inferred: {inferred}")
    if given.predictions:
        write(
            given.predictions,
            [{"id": c.id, "observations": observations(f)} for c, f in zip(cases, found, strict=True)],
        )
    if given.evidence:
        write(
            given.evidence,
            [{"id": c.id, "values": [evidence_of(c, one) for one in f]} for c, f in zip(cases, found, strict=True)],
        )


if __name__ == "__main__":
    main()
