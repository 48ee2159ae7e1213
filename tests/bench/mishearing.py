"""How often words read otherwise come nearer to what was said, and whether ordinary talk is left alone.

    python -m tests.bench.mishearing KEPT [--show]

``KEPT`` is a folder of heard words as tests/bench/audit_sound.py keeps them (``--kept``): each file has the lines as
they were spoken and the words as they were heard. Every repair is judged by the words that stand in its place in the
lines, found by aligning the whole run: "right" brings the words nearer to them, "spoiled" changes words that were heard
well. Everyday speech is that of the shared development data (transcripts of people, read in every station, as text, as
words heard clearly, and as words all heard weakly).
"""

from __future__ import annotations

import argparse
import csv
import json
import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from difflib import SequenceMatcher
from pathlib import Path
from typing import Any

import jiwer
from rapidfuzz.distance import Levenshtein

from lexicon import load
from parser.anchoring import confidences_of
from parser.components.mishearing import find_repairs, repaired
from parser.components.mishearing_sounds import repairer
from parser.layers import Repair
from parser.pipeline import understand
from parser.statements import Situation
from parser.tokens import Tokens, tokenise, with_pauses
from parser.transcript import Word, transcript_of_words
from tests.shared import SHARED


def utterances(kept: dict[str, Any]) -> Iterator[tuple[Tokens, str | None]]:
    """The tokens of every utterance, and the station that was current before it."""
    spoken = transcript_of_words([[Word(**word) for word in run] for run in kept["words"]], "kept", kept["s"])
    situation = Situation()
    for utterance in spoken.utterances:
        tokens = tokenise(utterance.text)
        yield with_pauses(tokens, (0.0,) * len(tokens), confidences_of(utterance, tokens)), situation.region
        situation = understand(utterance, situation).situation


class Places:
    """Where the heard words stand in what was said."""

    def __init__(self, said: list[str], heard: list[str]) -> None:
        self._said = said
        self._at: list[tuple[int, int]] = [(0, 0)] * len(heard)
        for what, a, b, c, d in SequenceMatcher(None, said, heard, autojunk=False).get_opcodes():
            for n in range(c, d):
                self._at[n] = (a + n - c, a + n - c + 1) if what == "equal" else (a, b)

    def said_at(self, start: int, end: int) -> list[str]:
        return self._said[min(a for a, _ in self._at[start:end]) : max(b for _, b in self._at[start:end])]


def judged(kept: dict[str, Any], show: bool) -> tuple[Counter[str], str, str, str]:
    """Counts of repairs by verdict; what was said, heard and read."""
    found = list(utterances(kept))
    said = [word for text, _ in kept["lines"] for word in tokenise(text).words]
    heard = [word for tokens, _ in found for word in tokens.words]
    places, counts, base = Places(said, heard), Counter[str](), 0
    read: list[str] = []
    for tokens, station in found:
        repairs = find_repairs(tokens, station, load())
        for repair in repairs:
            verdict = _verdict(tokens, repair, places.said_at(base + repair.start, base + repair.end))
            counts[verdict] += 1
            if show and verdict != "right":
                print(f"  {verdict}: {repair.heard} -> {repair.text} | {tokens.text} | {repair.reason}")
        read += repaired(tokens, repairs).words
        base += len(tokens)
    return counts, " ".join(said), " ".join(heard), " ".join(read)


def _verdict(tokens: Tokens, repair: Repair, said: list[str]) -> str:
    heard = list(tokens.words[repair.start : repair.end])
    if heard == said:
        return "spoiled"
    return "right" if Levenshtein.distance(repair.text.split(), said) < Levenshtein.distance(heard, said) else "wrong"


def talk() -> tuple[int, int]:
    """(lines, readings by sound) of everyday speech in every station."""
    if SHARED is None:
        return 0, 0
    table = (SHARED / "data" / "speech" / "manifest.tsv").read_text(encoding="utf-8").splitlines()
    rules, lines, readings = repairer(load()), 0, 0
    for row in csv.DictReader(table, delimiter="\t"):
        words = re.sub(r"[^a-z' ]", " ", row["transcript"].lower()).split()
        for station in (None, *load().region_order):
            for sure in (None, 0.95, 0.5):
                lines += 1
                readings += len(rules.readings(words, (sure,) * len(words), station))
    return lines, readings


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("kept", type=Path)
    options.add_argument("--show", action="store_true", help="print every repair that is not right")
    chosen = options.parse_args()
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    texts: dict[str, list[tuple[str, str, str]]] = defaultdict(list)
    for path in sorted(chosen.kept.glob("*.json")):
        kept = json.loads(path.read_text(encoding="utf-8"))
        kind = f"{re.split(r'-[0-9]+-[0-9]+-', path.stem)[0]} {kept['voice']}"
        verdicts, *three = judged(kept, chosen.show)
        counts[kind] += verdicts
        texts[kind].append((three[0], three[1], three[2]))
    print(f"{'sound and voice':45} {'right':>5} {'wrong':>5} {'spoiled':>7} {'WER heard':>9} {'read':>6}")
    for kind in sorted(texts):
        said, heard, read = (list(column) for column in zip(*texts[kind], strict=True))
        row = counts[kind]
        print(f"{kind:45} {row['right']:5} {row['wrong']:5} {row['spoiled']:7} "
              f"{jiwer.wer(said, heard):9.3f} {jiwer.wer(said, read):6.3f}")
    lines, readings = talk()
    print(f"everyday speech: {readings} readings by sound in {lines} lines")


if __name__ == "__main__":
    main()
