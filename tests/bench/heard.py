"""Prints how many entries of heard runs are those of the same runs read as text, and whether the rest is marked.

    python -m tests.bench.heard KEPT [--show]

KEPT is what ``tests.bench.hearing --kept`` wrote. The lines of a hand make a run. An entry of the text is the same when
the heard run has one with its concept, status, side and value. Entries that were heard and not said are counted apart,
those that carry a doubt among them.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lexicon import Lexicon, load
from parser.pipeline import understand_all
from parser.record import Entry
from parser.structurer import file
from parser.transcript import Transcript, Word, transcript_of_text, transcript_of_words

_BETWEEN_S = 1.5

Key = tuple[str, str, str | None, str | None]


@dataclass(frozen=True)
class Line:
    """A line of dictation as ``said`` and as ``heard``."""

    said: str
    heard: tuple[Word, ...]


def kept_lines(place: Path) -> dict[tuple[str, str], list[Line]]:
    """(sound, hand) -> its lines in order; the first voice of each line counts."""
    found: dict[tuple[str, str], dict[str, Line]] = defaultdict(dict)
    for row in place.read_text(encoding="utf-8").splitlines():
        condition, hand, _, said, words = json.loads(row)
        found[(condition, hand)].setdefault(said, Line(said, tuple(_word(*word) for word in words)))
    return {run: list(lines.values()) for run, lines in found.items()}


def _word(text: str, heard: str, start: float, end: float, sure: float | None, doubt: str | None) -> Word:
    return Word(text, heard, start, end, sure, doubt)


def spoken(lines: Sequence[Line], source: str) -> Transcript:
    """The lines one after another, with a pause between."""
    runs, at = [], 0.0
    for line in lines:
        runs.append([Word(w.text, w.heard, (w.start or 0) + at, (w.end or 0) + at, w.confidence, w.doubt)
                     for w in line.heard])
        at += (line.heard[-1].end or 0) + _BETWEEN_S if line.heard else _BETWEEN_S
    return transcript_of_words(runs, source, at)


def entries(transcript: Transcript, lexicon: Lexicon) -> list[Entry]:
    record = file(understand_all(transcript), transcript, lexicon, run_id="bench")
    return [entry for region in record.regions for entry in region.entries]


def key(entry: Entry) -> Key:
    return entry.concept, entry.status, entry.side, entry.value and entry.value.text


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("kept", type=Path)
    options.add_argument("--show", action="store_true")
    chosen = options.parse_args()
    lexicon = load()
    totals: dict[str, Counter[str]] = defaultdict(Counter)
    for (condition, hand), lines in kept_lines(chosen.kept).items():
        said = Counter(map(key, entries(transcript_of_text("\n".join(line.said for line in lines), hand), lexicon)))
        heard = entries(spoken(lines, hand), lexicon)
        keys = Counter(map(key, heard))
        more = keys - said
        total = totals[condition]
        total.update(said=said.total(), same=(said & keys).total(), more=more.total())
        total["marked"] += sum(bool(entry.confirm) for entry in heard if key(entry) in more)
        if chosen.show:
            print(f"{condition} {hand}\n  not heard: {sorted(map(str, said - keys))}\n  more: {sorted(map(str, more))}")
    for condition, total in totals.items():
        print(f"{condition:15} entries of the text {total['said']}, the same heard {total['same']} "
              f"({total['same'] / max(1, total['said']):.3f}); heard and not said {total['more']}, "
              f"of them marked {total['marked']}")


if __name__ == "__main__":
    main()
