"""Measures other libraries on the same negation lines, in their own environment.

    python -m tests.bench.peers FILE.jsonl --python PEERS/bin/python [--run-together 5] [--half A]

Prints precision, recall and F1 of Negated for negspacy, medspaCy and this project, spans given, in one run.
How to make the environment stands in ``tests/bench/README.md``.
"""

from __future__ import annotations

import argparse
import json
import subprocess
from collections.abc import Sequence
from pathlib import Path

from parser.spans import assert_spans
from tests.bench.negation import half, measure, placed
from tests.shared import lines_of

Spans = Sequence[tuple[int, int]]

#: Runs inside the peers' environment: one JSON piece a line in, one list of statuses a line out.
_WORKER = '''
import json, sys
import spacy

def negspacy_pipe():
    from negspacy.negation import Negex
    nlp = spacy.blank("en")
    nlp.add_pipe("sentencizer")
    return nlp, nlp.create_pipe("negex", config={"ent_types": ["FINDING"]}), "negex"

def medspacy_pipe():
    import medspacy.context
    nlp = spacy.blank("en")
    nlp.add_pipe("sentencizer")
    return nlp, nlp.create_pipe("medspacy_context"), "is_negated"

name = sys.argv[1]
nlp, decide, attribute = {"negspacy": negspacy_pipe, "medspacy": medspacy_pipe}[name]()
for line in sys.stdin:
    piece = json.loads(line)
    doc = nlp(piece["text"])
    answers = []
    spans = [doc.char_span(s, e, label="FINDING", alignment_mode="expand") for s, e in piece["spans"]]
    doc.ents = spacy.util.filter_spans([span for span in spans if span is not None])
    decide(doc)
    given = {(ent.start, ent.end): bool(getattr(ent._, attribute)) for ent in doc.ents}
    for span in spans:
        answers.append("absent" if span is not None and given.get((span.start, span.end)) else "present")
    print(json.dumps(answers), flush=True)
'''


class Peer:
    """A library that answers for one piece of text at a time, in a process of its own."""

    def __init__(self, python: Path, name: str) -> None:
        self._process = subprocess.Popen(
            [str(python.absolute()), "-I", "-W", "ignore", "-c", _WORKER, name],  # -I: nothing of this checkout
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def __call__(self, text: str, spans: Spans) -> list[str]:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps({"text": text, "spans": list(spans)}) + "\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        if not answer:
            raise RuntimeError("the peer's process ended; its message stands above")
        statuses: list[str] = json.loads(answer)
        return statuses


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", type=Path)
    parser.add_argument("--python", type=Path, required=True, help="the interpreter of the peers' environment")
    parser.add_argument("--run-together", type=int, default=0, metavar="N")
    parser.add_argument("--half", choices=("A", "B"))
    options = parser.parse_args()
    lines = [placed(line) for line in lines_of(options.file) if options.half in (None, half(line))]
    deciders = {name: Peer(options.python, name) for name in ("negspacy", "medspacy")}
    for name, decide in {**deciders, "crownsole": assert_spans}.items():
        decide("no pain", [(3, 7)])  # loads what is needed
        figures, _ = measure(decide, lines, options.run_together)
        print(name, " ".join(f"{key} {round(value, 4)}" for key, value in figures.items()))


if __name__ == "__main__":
    main()
