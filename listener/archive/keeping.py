"""Keeps a recording that was heard, or a transcript that was read, as a run of the archive."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from lexicon import Lexicon
from listener.archive.events import RunKind
from listener.archive.flac import LONGEST
from listener.archive.store import Archive
from listener.archive.summaries import file
from listener.levels import Block
from listener.replay import begun, utterance_body
from parser.record import ModelInfo, Record
from parser.transcript import Transcript


def keep(
    archive: Archive,
    transcript: Transcript,
    lexicon: Lexicon,
    *,
    sound: Path | None = None,
    checklist: str = "complete",
    model: ModelInfo | None = None,
    learner: str | None = None,
    attempt: int | None = None,
) -> Record:
    """Store a transcript with its sound file; the record is the same as without keeping, but for the id of the run.

    Raises :class:`StorageError`; then the run may be there in part, marked as interrupted.
    """
    kind: RunKind = "hear" if sound is not None else "read"
    with archive.begin(
        kind,
        transcript.source,
        lexicon=lexicon.version,
        packs=lexicon.packs,
        checklist=checklist,
        model=model.name if model else None,
        vocabulary=model.vocabulary if model else None,
        learner=learner,
        attempt=attempt,
    ) as writer:
        with writer.together():
            for block in _pieces(sound) if sound is not None else ():
                writer.sound(block)
            state = begun(writer.head, lexicon)
            for remark in transcript.remarks:
                for event in writer.append(("remark", {"about": "sound", "text": remark})):
                    state.take(event)
            for utterance in transcript.utterances:
                for event in writer.append(("utterance", utterance_body(utterance))):
                    writer.append(*state.take(event))
            for event in writer.append(("request", {"id": "end", "by": "program", "how": "complete"})):
                writer.append(*state.take(event))
        record = state.record(transcript.duration_s)
        file(writer, record, lexicon.version)
    return record


def _pieces(path: Path) -> Iterator[Block]:
    """The sound of a file in pieces of a second."""
    from listener.sound import open_sound

    held = np.zeros(0, dtype=np.int16)
    with open_sound(path) as sound:
        for block in sound.blocks():
            held = np.concatenate([held, block])
            while len(held) >= LONGEST:
                yield held[:LONGEST]
                held = held[LONGEST:]
    if len(held):
        yield held
