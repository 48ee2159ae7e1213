"""Speed of understanding: words a second on one core, whole pipeline, warm; and how it grows with length.

    python -m tests.bench.speed FILE.jsonl [--key text]

Prints figures; nothing is asserted.
"""

from __future__ import annotations

import argparse
import time

import lexicon as knowledge
from parser.pipeline import understand_all
from parser.structurer import file
from parser.transcript import transcript_of_text
from tests.shared import lines_of

LENGTHS = (1_000, 10_000, 100_000, 1_000_000)


def timed(text: str, filing: bool) -> tuple[int, float]:
    transcript = transcript_of_text(text, "speed")
    start = time.perf_counter()
    understood = list(understand_all(transcript))
    if filing:
        file(understood, transcript, knowledge.load(), run_id="speed")
    return len(transcript.words), time.perf_counter() - start


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("file")
    options.add_argument("--key", default="text")
    options.add_argument("--longest", type=int, default=1_000_000)
    given = options.parse_args()
    sentences = [row[given.key] for row in lines_of(given.file)]
    timed(" ".join(sentences)[:4000], False)
    words = " ".join(sentences).split()
    print("one line of running text")
    for length in (n for n in LENGTHS if n <= given.longest):
        text = " ".join((words * (length // len(words) + 1))[:length])
        count, seconds = timed(text, False)
        print(
            f"  {count:>9,} words  {count / seconds:>9,.0f} words/s  {seconds / count * 1e6:6.1f} microseconds a word"
        )
    count, seconds = timed("\n".join(sentences), False)
    print(f"one utterance a line\n  {count:>9,} words  {count / seconds:>9,.0f} words/s")
    count, seconds = timed("\n".join(sentences[:200]), True)
    print(f"with filing and audit\n  {count:>9,} words  {count / seconds:>9,.0f} words/s")


if __name__ == "__main__":
    main()
