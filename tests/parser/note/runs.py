"""Records that the tests of notes share: the samples, invented runs and small dictated texts."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from lexicon import load
from parser.record import Record
from tests.bench.note import invented, record_of

SAMPLES = Path(__file__).parents[3] / "samples"
GOLDEN = Path(__file__).parents[2] / "data" / "note"
MOMENT = "2026-03-14T14:32:00+00:00"
NAMES = ("complete", "hurried")


@lru_cache(maxsize=8)
def sample(name: str) -> Record:
    """The record of a sample run."""
    return record_of((SAMPLES / f"{name}_run.txt").read_text(), load(), name)


@lru_cache(maxsize=32)
def dictated(text: str) -> Record:
    """The record of a few dictated lines."""
    return record_of(text, load(), "dictated")


@lru_cache(maxsize=64)
def invented_run(number: int) -> Record:
    """The record of an invented run."""
    return record_of(invented(load(), number), load(), f"invented-{number}")
