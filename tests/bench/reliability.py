"""Kills a live run at random moments, over and over, and counts what is missing afterwards.

A scripted feed of sound and words stands in for microphone and recogniser, much faster than real time. The child
tells on a pipe what it has shown; it is killed with SIGKILL, which no program can catch; the archive is opened
again, compared with what was told, and the run is gone on with. (A power cut is another matter: SQLite is set to
``synchronous FULL`` so that a commit is on the disk; pulling a plug was not tried.)

    python -m tests.bench.reliability [--kills 200] [--seed 1] [--archive URL]
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import statistics
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from lexicon import Lexicon, load
from listener.archive import Archive, Event, open_archive
from listener.archive.reading import faults, read_again
from listener.levels import Block
from listener.session import Partial, Session
from listener.sound import RATE
from parser.transcript import Word

LINES = (
    "hand hygiene performed",
    "blood pressure one twenty eight over eighty two",
    "moving on to the neck",
    "no carotid bruits bilaterally",
    "recorder withdraw that",
    "recorder undo",
    "pedal edema two plus on the left",
    "recorder mark this",
    "lungs clear bilaterally",
    "recorder pause",
    "we are waiting for the door",
    "recorder go on",
    "heart rate seventy two",
    "correction heart rate seventy six",
    "recorder read back",
    "abdomen soft and nontender",
    "bowel sounds active in all four quadrants",
    "recorder what is left",
)
_BLOCK = 1600


@dataclass
class Figures:
    """What was lost over all kills. ``lost_s``: seconds of sound taken but not kept, one a kill."""

    kills: int = 0
    runs: int = 0
    resumed: int = 0
    shown: int = 0
    words_lost: int = 0
    other_lost: int = 0
    wrong: list[str] = field(default_factory=list)
    lost_s: list[float] = field(default_factory=list)

    def __str__(self) -> str:
        worst, usual = max(self.lost_s, default=0.0), statistics.median(self.lost_s or [0.0])
        return (
            f"{self.kills} kills of {self.runs} runs, {self.resumed} gone on with: {self.shown} utterances shown, "
            f"{self.words_lost} lost; "
            f"{self.other_lost} other events lost; sound lost at most {worst:.2f} s (median {usual:.2f} s); "
            f"{len(self.wrong)} other faults"
        )


def sound_of(second: int) -> Block:
    """A second of sound that tells where in the run it belongs."""
    return (np.arange(RATE) % 997 + second).astype(np.int16)


def speak(session: Session, turns: int, tell: int) -> None:
    """Feed a session: after every two seconds of sound an utterance. ``tell``: a file descriptor for what was shown."""

    def shown(told: Event | Partial) -> None:
        if isinstance(told, Event) and told.kind != "sound":
            os.write(tell, f"event {told.number} {told.hash}{' words' if told.kind == 'utterance' else ''}\n".encode())

    session.watch(shown)
    for _ in range(turns):
        for _ in range(2):
            second = round(session.seconds)
            block = sound_of(second)
            for at in range(0, RATE, _BLOCK):
                os.write(tell, f"sound {round(session.seconds * RATE) + _BLOCK}\n".encode())
                session.feed(block[at : at + _BLOCK])
        start = session.seconds - 2
        text = LINES[len(session.state.utterances) % len(LINES)]
        session.hear(
            [Word(word, word, start + n * 0.1, start + n * 0.1 + 0.09, 1.0) for n, word in enumerate(text.split())]
        )


def _child(place: str, run: str | None, lexicon: Lexicon, tell: int) -> None:
    """Never returns. Takes the run up where it was left, or begins one."""
    code = 0
    try:
        with open_archive(place) as archive:
            session = Session.go_on(archive, run, lexicon) if run else Session.begin(archive, lexicon, "scripted feed")
            os.write(tell, f"run {session.id}\n".encode())
            speak(session, 1000, tell)
    except BaseException:
        code = 1
    finally:
        os._exit(code)


def killed_once(place: str, run: str | None, lexicon: Lexicon, after_s: float) -> tuple[str | None, list[list[str]]]:
    """Let a child speak for a while after its first event, then kill it; its run and what it told."""
    reads, writes = os.pipe()
    child = os.fork()
    if not child:
        os.close(reads)
        _child(place, run, lexicon, writes)
    os.close(writes)
    with os.fdopen(reads, "rb", buffering=0) as pipe:
        first = pipe.read(1)
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        lines = (first + pipe.read()).decode().split("\n")
    if not os.WIFSIGNALED(status):
        raise RuntimeError("the child ended by itself")
    told = [line.split() for line in lines[:-1]]
    return (told[0][1] if told else run), told[1:]


def check(archive: Archive, run: str, told: list[list[str]], lexicon: Lexicon, figures: Figures) -> None:
    """Compare what was told with what is kept."""
    info = archive.run(run)
    kept = {(str(event.number), event.hash) for event in archive.events(run)}
    events = [line for line in told if line[0] == "event"]
    figures.shown += sum(line[-1] == "words" for line in events)
    lost = [line for line in events if (line[1], line[2]) not in kept]
    figures.words_lost += sum(line[-1] == "words" for line in lost)
    figures.other_lost += sum(line[-1] != "words" for line in lost)
    taken = max([int(line[1]) for line in told if line[0] == "sound"], default=0)
    figures.lost_s.append(max(taken / RATE - info.seconds, 0.0))
    figures.wrong += list(faults(archive, run))
    figures.wrong += [] if info.status == "interrupted" else [f"status {info.status}"]
    read_again(archive, run, lexicon)


def measure(kills: int, seed: int, place: str, *, longest_s: float = 0.4, each: int = 20) -> Figures:
    """``kills`` kills, ``each`` of them on one run that is gone on with every time."""
    chance, lexicon, figures = random.Random(seed), load(), Figures()
    warm(lexicon)
    run = None
    for number in range(kills):
        run = None if number % each == 0 else run
        figures.runs += run is None
        figures.resumed += run is not None
        run, told = killed_once(place, run, lexicon, chance.uniform(0, longest_s))
        figures.kills += 1
        if run is not None:
            with open_archive(place) as archive:
                check(archive, run, told, lexicon, figures)
    return figures


def warm(lexicon: Lexicon) -> None:
    """Load everything before the children are forked, so that kills fall into work and not into loading."""
    from parser.pipeline import understand_all
    from parser.transcript import transcript_of_text

    list(understand_all(transcript_of_text("\n".join(LINES), "warm")))


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--kills", type=int, default=200)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--archive", help="a path or URL; else a new file")
    wanted = arguments.parse_args()
    with tempfile.TemporaryDirectory(prefix="crownsole-kills-") as folder:
        began = time.monotonic()
        place = wanted.archive or str(Path(folder) / "archive.sqlite3")
        figures = measure(wanted.kills, wanted.seed, place)
        print(figures, f"({time.monotonic() - began:.0f} s)")
        for fault in figures.wrong[:10]:
            print(" ", fault)


if __name__ == "__main__":
    main()
