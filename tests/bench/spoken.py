"""What a clinician's written examination has and the record of what was said lacks, by class.

    python -m tests.bench.spoken spoken_exam_dev.jsonl [--show]

Both the spoken words and the written note are read by the same pipeline, each note line by itself. A fact is a concept
with its status and value; sides are compared on their own. A written fact that was never said cannot be recorded: such
lines are counted with the rest, so the share lacking is an upper bound. Spoken visits without a word of examination are
left out.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from pathlib import Path

from parser.pipeline import understand_all
from parser.statements import Statement
from parser.transcript import transcript_of_text

_SAME = {"normal": "present"}

Fact = tuple[str, str, str]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file", type=Path)
    parser.add_argument("--show", action="store_true", help="print what is lacking, visit by visit")
    asked = parser.parse_args()
    has: Counter[str] = Counter()
    lacks: Counter[str] = Counter()
    concepts: Counter[str] = Counter()
    sides: Counter[str] = Counter()
    visits = 0
    for line in asked.file.read_text(encoding="utf-8").splitlines():
        visit = json.loads(line)
        if not visit["said"]:
            continue
        visits += 1
        said, written = statements("\n".join(visit["said"])), statements(visit["exam_note"])
        spoken = {fact(each) for each in said}
        for each in written:
            has[kind(each)] += 1
            if fact(each) not in spoken:
                lacks[kind(each)] += 1
                concepts[f"{each.concept} {each.status}"] += 1
                if asked.show:
                    print(f"{visit['id']}: {each.concept} {each.status} {fact(each)[2]}: {each.evidence.text}")
            elif each.side is not None:
                same = {other.side for other in said if fact(other) == fact(each)}
                sides["the same side" if each.side in same else "no side" if same == {None} else "another side"] += 1
    print(f"{visits} visits in which an examination was spoken; written facts, and those the record lacks:")
    for name, count in has.most_common():
        print(f"  {name:28} {count:5} written {lacks[name]:5} lacking ({lacks[name] / count:.0%})")
    total = sum(has.values())
    print(f"  {'all':28} {total:5} written {sum(lacks.values()):5} lacking ({sum(lacks.values()) / total:.0%})")
    print("sides of the facts that both have:", ", ".join(f"{name} {count}" for name, count in sides.most_common()))
    print("lacking most:", ", ".join(f"{name} {count}" for name, count in concepts.most_common(15)))


def statements(text: str) -> list[Statement]:
    return [each for one in understand_all(transcript_of_text(text, "")) for each in one.statements
            if each.kind in ("finding", "measure", "scale", "device", "report")]


def fact(statement: Statement) -> Fact:
    value = statement.value.text if statement.value else ""
    return statement.concept, _SAME.get(statement.status, statement.status), value


def kind(statement: Statement) -> str:
    return f"{statement.kind} {'with a value' if statement.value else statement.status}"


if __name__ == "__main__":
    main()
