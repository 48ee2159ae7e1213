"""Precision, recall and F1 of negation on sentences with one marked concept each.

    python -m tests.bench.negation FILE.jsonl [--run-together 5] [--predictions OUT.jsonl]

FILE holds one JSON object a line with ``id``, ``text``, ``start``, ``end`` and ``label`` ("Negated" or
"Affirmed"), as in the NegEx test kit (Chapman et al., J Biomed Inform 2001;34:301; Harkema et al.,
J Biomed Inform 2009;42:839). ``--run-together N`` reads N lines of the file as a recogniser would give them:
lower case, no punctuation, one after the other. ``--half A`` or ``B`` takes half of the reports.
"""

from __future__ import annotations

import argparse
import json
import re
import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.shared import lines_of

Spans = list[tuple[int, int]]
Decide = Callable[[str, Spans], Sequence[str]]

_WORD = re.compile(r"[^\W_]+(?:['’.][^\W_]+)*")


@dataclass(frozen=True)
class Piece:
    """A text and the spans in it, each with the line it came from."""

    text: str
    spans: Spans
    lines: tuple[dict[str, Any], ...]


def as_heard(text: str, start: int, end: int) -> tuple[str, tuple[int, int]]:
    """The text in lower case without punctuation, and where ``[start, end)`` went."""
    words: list[str] = []
    first = last = None
    at = 0
    for match in _WORD.finditer(text):
        word = match.group().lower()
        if match.end() > start and match.start() < end:
            first = at if first is None else first
            last = at + len(word)
        words.append(word)
        at += len(word) + 1
    if first is None or last is None:
        raise ValueError(f"the span {text[start:end]!r} holds no word")
    return " ".join(words), (first, last)


def pieces(lines: Sequence[dict[str, Any]], together: int) -> Iterator[Piece]:
    """One piece a line as written (``together`` 0), or ``together`` lines as heard."""
    if not together:
        for line in lines:
            yield Piece(line["text"], [(line["start"], line["end"])], (line,))
        return
    for i in range(0, len(lines), together):
        group = tuple(lines[i : i + together])
        texts: list[str] = []
        spans: Spans = []
        at = 0
        for line in group:
            text, (start, end) = as_heard(line["text"], line["start"], line["end"])
            texts.append(text)
            spans.append((start + at, end + at))
            at += len(text) + 1
        yield Piece(" ".join(texts), spans, group)


def measure(decide: Decide, lines: Sequence[dict[str, Any]], together: int = 0) -> tuple[dict[str, float], list[Any]]:
    """Figures for the positive class Negated, and (line, status) for every line."""
    decided = []
    words = 0
    begun = time.perf_counter()
    for piece in pieces(lines, together):
        words += piece.text.count(" ") + 1
        decided += zip(piece.lines, decide(piece.text, piece.spans), strict=True)
    seconds = time.perf_counter() - begun
    hit = sum(status == "absent" and line["label"] == "Negated" for line, status in decided)
    said = sum(status == "absent" for _, status in decided)
    true = sum(line["label"] == "Negated" for line, _ in decided)
    precision, recall = hit / said if said else 0.0, hit / true if true else 0.0
    f1 = 2 * precision * recall / (precision + recall) if hit else 0.0
    figures = {"lines": len(decided), "negated": true, "precision": precision, "recall": recall, "f1": f1,
               "microseconds_a_word": seconds / max(words, 1) * 1e6}
    return figures, decided


def placed(line: dict[str, Any]) -> dict[str, Any]:
    """The line with a place: where the marked concept runs over the end of the text, all of the text is the span."""
    return line if line["start"] is not None else {**line, "start": 0, "end": len(line["text"])}


def half(line: dict[str, Any]) -> str:
    """A or B, by report, so that no report is in both."""
    return "AB"[zlib.crc32(str(line["report"]).encode()) % 2]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", type=Path)
    parser.add_argument("--run-together", type=int, default=0, metavar="N")
    parser.add_argument("--predictions", type=Path)
    parser.add_argument("--half", choices=("A", "B"))
    parser.add_argument("--wrong", action="store_true", help="show every wrong line")
    options = parser.parse_args()
    from parser.spans import assert_spans

    lines = [placed(line) for line in lines_of(options.file) if options.half in (None, half(line))]
    assert_spans("no pain", [(3, 7)])  # loads the lexicon
    figures, decided = measure(assert_spans, lines, options.run_together)
    print(" ".join(f"{name} {round(value, 4)}" for name, value in figures.items()))
    if options.wrong:
        for line, status in decided:
            if (status == "absent") != (line["label"] == "Negated"):
                text, start, end = line["text"], line["start"], line["end"]
                shown = f"{text[max(0, start - 90) : start]}<<{text[start:end]}>>{text[end : end + 50]}"
                print(f"{line['id']} {line['label']} {status}: {shown}")
    if options.predictions:
        with options.predictions.open("w", encoding="utf-8") as out:
            for line, status in decided:
                out.write(json.dumps({"id": line["id"], "status": status}) + "\n")


if __name__ == "__main__":
    main()
