"""How much of a record its own notes give back when they are read again, over invented runs.

Runs are made from the examples of the lexicon: some per station, in record order or not, with a random
generator of fixed seed. ``python -m tests.bench.note [RUNS] [--show]`` prints, for every wording, the
facts, how many came back, and how many were read that were never said.
"""

from __future__ import annotations

import random
import sys
import time
from collections import Counter

from lexicon import Lexicon, load
from parser.note import FORMATS, write
from parser.note.document import WORDINGS, Style
from parser.note.fidelity import Fidelity, compare
from parser.pipeline import understand_all
from parser.record import Record
from parser.structurer import file
from parser.transcript import transcript_of_text

SEED = 20


def invented(lexicon: Lexicon, number: int) -> str:
    """The text of one invented run: some examples of every station, one utterance a line."""
    chance = random.Random(SEED * 1000 + number)
    lines = []
    order = list(lexicon.region_order)
    if number % 3 == 2:
        chance.shuffle(order)
    for region in order:
        said = [
            example.split(" = ")[0]
            for concept in lexicon.concepts.values()
            if lexicon.home[concept.id] == region
            for example in concept.examples
        ]
        some = chance.sample(said, min(len(said), chance.randint(2, 7)))
        lines += [lexicon.regions[region].title.lower(), *some] if some else []
    lines.insert(len(lines) // 8, _vitals(chance))
    return "\n".join(lines)


def _vitals(chance: random.Random) -> str:
    place, rhythm, side = (
        chance.choice(words)
        for words in (("oral", "tympanic", "axillary"), ("regular", "irregular"), ("left", "right"))
    )
    lines = (
        f"temperature {chance.randint(960, 1030) / 10} fahrenheit {place}",
        f"heart rate {chance.randint(45, 140)} {rhythm}",
        f"respirations {chance.randint(8, 34)}",
        f"blood pressure {chance.randint(85, 200)} over {chance.randint(45, 84)} {side} arm",
        f"oxygen saturation {chance.randint(84, 100)} percent on room air",
    )
    return "\n".join(lines)


def record_of(text: str, lexicon: Lexicon, name: str = "invented") -> Record:
    """The record of a text."""
    transcript = transcript_of_text(text, name)
    return file(understand_all(transcript), transcript, lexicon, run_id=name)


def measure(lexicon: Lexicon, runs: int, wording: str, show: bool) -> tuple[int, int, int]:
    """Facts, facts kept and facts added over ``runs`` invented runs."""
    facts = kept = added = 0
    lost: Counter[str] = Counter()
    for number in range(runs):
        record = record_of(invented(lexicon, number), lexicon, f"invented-{number}")
        result: Fidelity = compare(record, lexicon, WORDINGS[wording][1](record, lexicon), wording)
        facts, kept = facts + result.facts, kept + result.kept
        added += sum(each.kind == "added" for each in result.differences)
        lost.update(f"{each}" for each in result.differences)
    if show:
        for text, count in lost.most_common(60):
            print(f"  {count:3} {text}")
    return facts, kept, added


def main() -> None:
    show = "--show" in sys.argv
    numbers = [int(arg) for arg in sys.argv[1:] if arg.isdigit()]
    lexicon, runs = load(), numbers[0] if numbers else 60
    for wording in WORDINGS:
        facts, kept, added = measure(lexicon, runs, wording, show)
        print(
            f"{wording:10} {runs} runs: {kept} of {facts} facts read back ({kept / max(facts, 1):.4f}), {added} added"
        )
    big = record_of("\n".join(invented(lexicon, number) for number in range(3)), lexicon, "long")
    entries = sum(len(region.entries) for region in big.regions)
    for format_ in FORMATS:
        for attempt in ("first", "again"):
            start = time.perf_counter()
            write(big, lexicon, format_, Style(moment="2026-01-01T00:00:00+00:00"))
            print(f"{format_:9} {attempt}: {time.perf_counter() - start:.3f} s for {entries} entries")


if __name__ == "__main__":
    main()
