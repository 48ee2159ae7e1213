"""Prints how well dictation is heard: stock model against compiled vocabulary, clean and in noise.

    python -m tests.bench.hearing [--half reporting] [--each 1] [--step 1] [--conditions clean,"babble 10"]
                                  [--people] [--doubt] [--kept FILE]

``--half``: lines of the hands that things were tuned on, or of those kept for reporting; ``--each``: voices a line;
``--step``: every n-th line only; ``--people``: everyday speech of real people as well; ``--kept``: where to add what
the compiled model heard, a JSON value a line;
``--doubt``: also tunes the limits of doubt on one half of the lines and reports on the other. Needs the shared
development data, its voices, and the acoustic model. Figures are for comparison within one run on one machine.
"""

from __future__ import annotations

import argparse
import csv
import json
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import lexicon
from listener.doubt import KeyWords
from listener.levels import Loudness, amplified, gain_of
from listener.model import find_model
from listener.recognizer import Recognizer
from listener.vocabulary import compiled
from parser.transcript import Word
from tests.bench.dictation import RATE, Sound, Spoken, in_condition, read_sound, spoken_lines
from tests.bench.doubting import aligned, report_doubt
from tests.bench.scoring import Scorer, score
from tests.shared import SHARED

CONDITIONS = ("clean", "babble 20", "babble 15", "babble 10", "babble 5", "household 10", "room", "room babble 15")


@dataclass(frozen=True)
class Heard:
    """What came of each line, and the time it took per second of sound."""

    words: list[tuple[Word, ...]]
    real_time: float

    @property
    def texts(self) -> list[str]:
        return [" ".join(word.text for word in words) for words in self.words]


def hear(sounds: Iterable[Sound], ears: Recognizer) -> Heard:
    """Every sound through one recogniser, its level brought up as that of a file is."""
    words, spent, seconds = [], 0.0, 0.0
    for sound in sounds:
        began = time.process_time()
        loudness = Loudness()
        loudness.add(sound)
        louder = amplified(sound, gain_of(loudness.level))
        words.append(tuple(word for utterance in ears.utterances([louder]) for word in utterance))
        spent += time.process_time() - began
        seconds += len(sound) / RATE
    return Heard(words, spent / max(seconds, 1e-9))


def dictation(lines: Sequence[Spoken], conditions: Sequence[str], ears: dict[str, Recognizer], scorer: Scorer, *,
              keys: KeyWords, doubt: bool, kept: Path | None = None) -> None:
    """A row for each condition and model."""
    print(f"{'sound':15} {'model':9} {'WER':>6} {'exact':>6} {'x real time':>12} {'WER/stock':>10}")
    for condition in conditions:
        sounds = [in_condition(line.sound, condition, i) for i, line in enumerate(lines)]
        base = None
        for name, recognizer in ears.items():
            heard = hear(sounds, recognizer)
            found = score([line.text for line in lines], heard.texts, scorer)
            base = base or found.error_rate
            print(f"{condition:15} {name:9} {found.error_rate:6.3f} {found.exact:6.3f} {heard.real_time:12.3f} "
                  f"{found.error_rate / max(base, 1e-9):10.3f}", flush=True)
        by_voice(lines, heard.texts, scorer)
        if kept is not None:
            keep(kept, condition, lines, heard)
        if doubt:
            marked = [key for line, words in zip(lines, heard.words, strict=True)
                      for key in aligned(scorer.words(line.text), words, scorer, keys)]
            report_doubt(condition, marked, keys, 0.05 if condition == "clean" else 0.10)


def keep(place: Path, condition: str, lines: Sequence[Spoken], heard: Heard) -> None:
    """Add what was heard of each line to a file."""
    with place.open("a", encoding="utf-8") as stream:
        for line, words in zip(lines, heard.words, strict=True):
            said = [[word.text, word.heard, word.start, word.end, word.confidence, word.doubt] for word in words]
            stream.write(json.dumps([condition, line.hand, line.voice, line.text, said]) + "\n")


def by_voice(lines: Sequence[Spoken], heard: Sequence[str], scorer: Scorer) -> None:
    """The compiled model's error rate for each voice, in one line."""
    rates = []
    for voice in sorted({line.voice for line in lines}):
        pairs = [(line.text, text) for line, text in zip(lines, heard, strict=True) if line.voice == voice]
        rates.append(f"{voice} {score([a for a, _ in pairs], [b for _, b in pairs], scorer).error_rate:.3f}")
    print("   compiled, by voice: " + ", ".join(rates), flush=True)


def people(ears: dict[str, Recognizer], trade: frozenset[str], scorer: Scorer, step: int) -> None:
    """Everyday speech of real people: error rate, and trade words heard that were not said."""
    assert SHARED is not None
    folder = SHARED / "data" / "speech"
    with open(folder / "manifest.tsv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream, delimiter="\t"))[::step]
    sounds = [read_sound(folder / row["path"]) for row in rows]
    said = [row["transcript"] for row in rows]
    for name, recognizer in ears.items():
        heard = hear(sounds, recognizer)
        found = score(said, heard.texts, scorer)
        invented = [word for text, line in zip(heard.texts, said, strict=True)
                    for word in text.split() if word in trade and word not in scorer.words(line)]
        count = sum(len(scorer.words(line)) for line in said)
        print(f"{'real people':15} {name:9} {found.error_rate:6.3f} {'':6} {heard.real_time:12.3f}   "
              f"{len(invented)} trade words not said in {count} words: {', '.join(invented)}", flush=True)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("--half", choices=("tuning", "reporting"))
    options.add_argument("--kept", type=Path)
    options.add_argument("--each", type=int, default=1)
    options.add_argument("--step", type=int, default=1)
    options.add_argument("--conditions", default=",".join(CONDITIONS))
    options.add_argument("--people", action="store_true")
    options.add_argument("--doubt", action="store_true")
    chosen = options.parse_args()
    knowledge, stock = lexicon.load(), find_model(fetch=False)
    began = time.perf_counter()
    made = compiled(stock, knowledge)
    print(f"vocabulary {made.name}, ready in {time.perf_counter() - began:.1f} s")
    ears = {"stock": Recognizer(stock), "compiled": Recognizer(made.folder, restore=made.restore)}
    scorer = Scorer(knowledge)
    lines = list(spoken_lines(chosen.each, half=chosen.half))[:: chosen.step]
    print(f"{len(lines)} spoken lines of {len({line.hand for line in lines})} hands, "
          f"{len({line.voice for line in lines})} voices, {sum(len(line.sound) for line in lines) / RATE / 60:.1f} min")
    dictation(lines, chosen.conditions.split(","), ears, scorer, keys=KeyWords.of(knowledge),
              doubt=chosen.doubt, kept=chosen.kept)
    if chosen.people:
        people(ears, frozenset(way.word for way in made.spellings.ways), scorer, chosen.step)


if __name__ == "__main__":
    main()
