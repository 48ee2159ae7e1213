"""The planted wrongs once more, spoken by machine voices and heard by the recogniser.

    python -m tests.bench.audit_sound [--runs 12] [--seed 3] [--voices flite:slt,flite:rms] [--sound clean]
                                      [--stock] [--kept FOLDER] [--show]

A run is four to six minutes of sound: every utterance is synthesised with the silence of the script before it, the
voices take turns, and ``--sound`` adds noise or a room ("babble 15", as in tests/bench/dictation.py). ``--kept`` keeps
the recognised words as JSON and takes them from there the next time, so that understanding and audit can be measured
again without hearing again. ``--stock`` hears without the vocabulary of the lexicon: what another recogniser might
bring. Needs the shared development data with its voices (CROWNSOLE_VOICES names a Python that has the neural ones) and
the acoustic model. Remarks of the family "confirm" only ask; they are counted apart from those that say what is wrong.
"""

from __future__ import annotations

import argparse
import json
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path

import numpy as np

from lexicon import load
from listener.levels import Loudness, amplified, gain_of
from listener.recognizer import Recognizer
from listener.runs import Options, prepare_ears
from parser.pipeline import understand_all
from parser.record import Record
from parser.structurer import file
from parser.transcript import Transcript, Word, transcript_of_words
from tests.bench.audit import Planted, choose
from tests.bench.audit_scripts import Line, Wrong, complete
from tests.bench.dictation import RATE, Sound, in_condition, said, voices

ASKS = "confirm"


def planned(runs: int, seed: int, named: Sequence[str]) -> Iterator[tuple[str, list[Line], tuple[Wrong, ...]]]:
    """(voice, lines, wrongs) of each run; one to five wrongs each, the same for the same seed."""
    for n in range(runs):
        rng = random.Random(f"{seed}/{n}")
        lines, wrongs = complete(rng), choose(rng, 1 + n % 5, True)
        for wrong in sorted(wrongs, key=lambda wrong: wrong.rule == "order.stations"):
            lines = wrong.plant(lines)
        yield named[n % len(named)], lines, wrongs


def spoken(lines: Sequence[Line], voice: str) -> Sound:
    """The run as 16-bit mono samples at 16 kHz."""
    pieces: list[Sound] = []
    for line in lines:
        pieces += [np.zeros(int(line.pause * RATE), np.int16), said(voice, line.text)]
    return np.concatenate([*pieces, np.zeros(RATE, np.int16)])


class Hearing:
    """Hears runs, or takes their words from where they were kept."""

    def __init__(self, sound: str, stock: bool, kept: Path | None) -> None:
        self._sound, self._stock, self._kept = sound, stock, kept
        self._recognizer: Recognizer | None = None
        self._vocabulary: str | None = None
        self.vocabularies: set[str | None] = set()

    def __call__(self, name: str, lines: Sequence[Line], voice: str, seed: int) -> Transcript:
        """The transcript of a run. Words kept under ``name`` count only when they are of the same lines."""
        place = self._kept / f"{name}.json" if self._kept else None
        script = [[line.text, line.pause] for line in lines]
        if place and place.is_file():
            found = json.loads(place.read_text(encoding="utf-8"))
            if found["lines"] == script:
                self.vocabularies.add(found["vocabulary"])
                return transcript_of_words([[Word(**word) for word in run] for run in found["words"]], name, found["s"])
        sound = in_condition(spoken(lines, voice), self._sound, seed)
        runs = self._heard(sound)
        self.vocabularies.add(self._vocabulary)
        if place:
            words = [[asdict(word) for word in run] for run in runs]
            found = {"lines": script, "voice": voice, "vocabulary": self._vocabulary, "s": len(sound) / RATE}
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_text(json.dumps({**found, "words": words}), encoding="utf-8")
        return transcript_of_words(runs, name, len(sound) / RATE)

    def _heard(self, sound: Sound) -> list[tuple[Word, ...]]:
        if self._recognizer is None:
            ears = prepare_ears(None, Options(), stock=self._stock)
            self._vocabulary = ears.info.vocabulary
            self._recognizer = Recognizer(ears.folder, restore=ears.restore)
        loudness = Loudness()
        loudness.add(sound)
        return list(self._recognizer.utterances([amplified(sound, gain_of(loudness.level))]))


def record_of(transcript: Transcript) -> Record:
    return file(understand_all(transcript), transcript, load(), run_id="bench")


def report(runs: Sequence[tuple[str, Planted]]) -> None:
    """Recall by kind of wrong; remarks besides by kind and by voice, those that ask apart from those that tell."""
    planted, found, besides, by_voice, voiced = (Counter[str]() for _ in range(5))
    for voice, run in runs:
        planted.update(wrong.kind for wrong in run.wrongs)
        found.update(wrong.kind for wrong in run.found)
        rules = [remark.rule.rpartition(".")[0] or remark.rule for remark in run.besides]
        besides.update(rules)
        voiced[voice] += 1
        by_voice[voice] += sum(not rule.startswith(ASKS) for rule in rules)
    for kind in sorted(planted):
        print(f"  {kind:14} {found[kind]:4} of {planted[kind]:4}")
    total, right = sum(planted.values()), sum(found.values())
    asked = sum(len(run.asked) for _, run in runs)
    print(f"  all            {right:4} of {total:4}  recall {right / max(1, total):.3f}; {asked} of them by asking")
    told = sum(by_voice.values())
    print(f"  remarks not planted: {told} in {len(runs)} runs ({told / len(runs):.2f} a run); "
          f"that ask to confirm: {sum(besides.values()) - told}")
    print("    by kind:  " + ", ".join(f"{kind} {n}" for kind, n in besides.most_common()))
    print("    by voice: " + ", ".join(f"{voice} {by_voice[voice]}/{n}" for voice, n in voiced.items()))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=12)
    options.add_argument("--seed", type=int, default=3)
    options.add_argument("--voices", help="by commas; else all at hand")
    options.add_argument("--sound", default="clean")
    options.add_argument("--stock", action="store_true")
    options.add_argument("--kept", type=Path)
    options.add_argument("--show", action="store_true", help="print every miss and every remark besides")
    chosen = options.parse_args()
    named = chosen.voices.split(",") if chosen.voices else voices()
    hearing = Hearing(chosen.sound, chosen.stock, chosen.kept)
    kind = ("stock-" if chosen.stock else "") + chosen.sound.replace(" ", "-")
    runs: list[tuple[str, Planted]] = []
    for n, (voice, lines, wrongs) in enumerate(planned(chosen.runs, chosen.seed, named)):
        name = f"{kind}-{chosen.seed}-{n:02d}-{voice.replace(':', '-')}"
        record = record_of(hearing(name, lines, voice, n))
        run = Planted(tuple(lines), wrongs, True, record.remarks)
        runs.append((voice, run))
        if chosen.show:
            print(f"{name}: missed {[(w.kind, w.name) for w in set(run.wrongs) - set(run.found)]}")
            for remark in run.besides:
                print(f"  BESIDES {remark.rule}: {remark.message[:300]}", flush=True)
    print(f"{len(runs)} runs, {chosen.sound}, vocabulary {', '.join(str(v) for v in hearing.vocabularies)}")
    report(runs)


if __name__ == "__main__":
    main()
