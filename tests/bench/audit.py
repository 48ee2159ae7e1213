"""How many planted wrongs the audit finds, and how much it remarks besides: through the real parser.

    python -m tests.bench.audit [--runs 72] [--seed 1] [--show]

Half of the runs are text; half are words with times, as recognition gives them (no recogniser is
involved: words are laid out at 0.35 s each with the silences of the script). Every run is a complete
one in which one to five wrongs are planted; some runs are left without any.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from lexicon import load
from parser.audit import audit
from parser.audit.doubt import PREFIX, plain
from parser.pipeline import understand_all
from parser.record import Record, Remark
from parser.structurer import file
from parser.transcript import Transcript, Word, transcript_of_text, transcript_of_words
from tests.bench.audit_scripts import WRONGS, Line, Wrong, complete

WORD_SECONDS = 0.35


@dataclass(frozen=True)
class Planted:
    """A run with its wrongs, whether its words carry times, and the remarks it got."""

    lines: tuple[Line, ...]
    wrongs: tuple[Wrong, ...]
    timed: bool
    remarks: tuple[Remark, ...]

    @property
    def found(self) -> tuple[Wrong, ...]:
        return tuple(wrong for wrong in self.wrongs if any(_answers(remark, wrong) for remark in self.remarks))

    @property
    def asked(self) -> tuple[Wrong, ...]:
        """Wrongs that were found only by a remark that asks for confirmation."""
        telling = [remark for remark in self.remarks if not remark.rule.startswith(PREFIX)]
        return tuple(wrong for wrong in self.found if not any(_answers(remark, wrong) for remark in telling))

    @property
    def besides(self) -> tuple[Remark, ...]:
        """Remarks that no planted wrong asks for, nor brings with it."""
        return tuple(
            remark
            for remark in self.remarks
            if not any(
                _answers(remark, wrong) or plain(remark.rule).startswith(wrong.also or "\0") for wrong in self.wrongs
            )
        )


def _answers(remark: Remark, wrong: Wrong) -> bool:
    return plain(remark.rule).startswith(wrong.rule) and wrong.words in remark.message


def choose(rng: random.Random, number: int, timed: bool) -> tuple[Wrong, ...]:
    """``number`` wrongs that do not touch the same sentences."""
    chosen: list[Wrong] = []
    taken: set[str] = set()
    moving = False
    for wrong in rng.sample(WRONGS, len(WRONGS)):
        moves = wrong.rule == "order.stations"
        if (
            len(chosen) < number
            and not taken & set(wrong.touches)
            and (timed or not wrong.timed)
            and not (moves and moving)
        ):
            chosen.append(wrong)
            taken |= set(wrong.touches)
            moving = moving or moves
    return tuple(chosen)


def transcript(lines: list[Line], timed: bool) -> Transcript:
    """The lines as utterances of text, or of words with times."""
    if not timed:
        return transcript_of_text("\n".join(line.text for line in lines), "script")
    clock = 0.0
    runs: list[list[Word]] = []
    for line in lines:
        clock += line.pause
        words = []
        for text in line.text.split():
            words.append(Word(text, text, round(clock, 2), round(clock + WORD_SECONDS, 2), 1.0))
            clock += WORD_SECONDS
        runs.append(words)
    return transcript_of_words(runs, "script", clock)


def record_of(lines: list[Line], timed: bool) -> Record:
    spoken = transcript(lines, timed)
    return file(understand_all(spoken), spoken, load(), run_id="bench")


def runs(count: int, seed: int) -> Iterator[Planted]:
    rng = random.Random(seed)
    for n in range(count):
        timed = n % 2 == 1
        lines = complete(rng)
        wrongs = choose(rng, n % 6, timed)
        for wrong in sorted(wrongs, key=lambda wrong: wrong.rule == "order.stations"):
            lines = wrong.plant(lines)
        yield Planted(tuple(lines), wrongs, timed, record_of(lines, timed).remarks)


def speed() -> tuple[int, float]:
    """Words of a long run, and the milliseconds of one audit of it (best of five)."""
    rng = random.Random(7)
    record = record_of([line for _ in range(8) for line in complete(rng)], True)
    best = float("inf")
    for _ in range(5):
        began = time.perf_counter()
        audit(record, load())
        best = min(best, time.perf_counter() - began)
    return len(record.words), best * 1000


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=72)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--show", action="store_true", help="print every miss and every remark besides")
    chosen = options.parse_args()
    planted, found, besides = Counter[str](), Counter[str](), Counter[str]()
    total = list(runs(chosen.runs, chosen.seed))
    for run in total:
        planted.update(wrong.kind for wrong in run.wrongs)
        found.update(wrong.kind for wrong in run.found)
        besides.update("timed" if run.timed else "text" for _ in run.besides)
        if chosen.show:
            for wrong in set(run.wrongs) - set(run.found):
                print(f"MISSED {wrong.kind}: {wrong.name} ({'timed' if run.timed else 'text'})")
            for remark in run.besides:
                print(f"BESIDES {remark.rule}: {remark.message[:150]}")
    print(f"{len(total)} runs, {sum(planted.values())} wrongs planted")
    for kind in sorted(planted):
        print(f"  {kind:14} {found[kind]:4} of {planted[kind]:4}  recall {found[kind] / planted[kind]:.3f}")
    recall = sum(found.values()) / max(1, sum(planted.values()))
    print(f"  all            {sum(found.values()):4} of {sum(planted.values()):4}  recall {recall:.3f}")
    many = sum(besides.values())
    print(f"  remarks besides: {many} in {len(total)} runs ({many / len(total):.2f} a run)")
    print(f"    text {besides['text']}, timed {besides['timed']}")
    words, milliseconds = speed()
    print(f"  audit of {words} words: {milliseconds:.1f} ms")


if __name__ == "__main__":
    main()
