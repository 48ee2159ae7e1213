"""Invented learners who get better: their runs, made from the lines of the sample, with times as if spoken."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path

from lexicon import load
from listener.archive import Archive, Event, Head
from listener.archive.events import Kind
from listener.archive.summaries import add_summary
from listener.archive.whose import Whose
from listener.progress.figures import figures_of
from listener.replay import begun, utterance_body
from parser.record import Record
from parser.transcript import Transcript, Word, transcript_of_words

_SAMPLE = Path(__file__).parents[2] / "samples" / "complete_run.txt"
FIRST = datetime(2026, 9, 1, 9, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Attempt:
    """One invented run; ``skill`` from 0 (leaves out half) to 1 (leaves out nothing, in order)."""

    learner: str | None
    attempt: int | None
    skill: float
    seed: int = 0
    made_at: datetime = FIRST


def attempts(learners: int, runs: int, seed: int = 7) -> Iterator[Attempt]:
    """So many learners with so many runs each, a day apart; everyone gets better."""
    for n in range(learners):
        for k in range(runs):
            skill = min(1.0, 0.25 + 0.7 * (k / max(runs - 1, 1)) ** 0.7)
            yield Attempt(f"L-{n + 1:02d}", k + 1, skill, seed + n * 1000 + k, FIRST + timedelta(days=k, minutes=n))


def transcript(attempt: Attempt) -> Transcript:
    """Some lines of the sample, spoken; now and then two lines change places, a word is doubtful, a value is mended."""
    choose = random.Random(attempt.seed)
    lines = [line for line in _lines() if choose.random() < 0.5 + attempt.skill / 2]
    for n in range(len(lines) - 9):
        if choose.random() < (1 - attempt.skill) * 0.1:
            lines[n], lines[n + 8] = lines[n + 8], lines[n]
    if choose.random() < 0.5:
        lines.append("Correction, pain two out of ten.")
    at, said = 1.0, []
    for line in lines:
        at += choose.uniform(0.5, 4.0)
        words = []
        for word in line.lower().replace(",", "").replace(".", "").split():
            long = choose.uniform(0.2, 0.4)
            sure = choose.random() > 0.02 * (1.2 - attempt.skill)
            words.append(Word(word, word, round(at, 2), round(at + long, 2), 1.0 if sure else 0.4,
                              None if sure else "heard weakly"))
            at += long
        said.append(words)
    return transcript_of_words(said, "invented", round(at + 1, 2))


def insert(archive: Archive, attempt: Attempt, *, summarised: bool = True) -> str:
    """Put a run into the archive as a kept recording is, in one transaction; its id. ``summarised`` as on filing."""
    heard = transcript(attempt)
    events, record, head = _events(attempt, heard)
    archive.insert_run(head, events, [], Whose(attempt.learner, attempt.attempt))
    if summarised:
        add_summary(archive, head.id, events[-1].hash, head.lexicon, figures_of(record).as_json())
    return head.id


def _events(attempt: Attempt, heard: Transcript) -> tuple[list[Event], Record, Head]:
    lexicon, made = load(), attempt.made_at.isoformat(timespec="microseconds")
    number = f"{random.Random(f'{attempt.learner} {attempt.attempt} {attempt.seed}').getrandbits(48):012x}"
    head = Head(number, "hear", f"{attempt.learner or 'run'}-{attempt.attempt or 0}.flac", made, lexicon.version)
    state = begun(head, lexicon)
    events: list[Event] = []

    def add(kind: Kind, body: dict[str, object]) -> Event:
        event = Event(len(events) + 1, kind, made, body)
        event = replace(event, hash=event.chained(events[-1].hash if events else head.hash))
        events.append(event)
        return event

    for utterance in heard.utterances:
        for kind, body in state.take(add("utterance", utterance_body(utterance))):
            add(kind, body)
    for kind, body in state.take(add("request", {"id": "end", "by": "program", "how": "complete"})):
        add(kind, body)
    record = state.record(heard.duration_s)
    add("filed", {"lexicon": lexicon.version, "record": record.model_dump_json()})
    return events, record, head


@lru_cache
def _lines() -> tuple[str, ...]:
    return tuple(line for line in _SAMPLE.read_text(encoding="utf-8").splitlines() if line.strip())
