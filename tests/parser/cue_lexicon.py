"""A lexicon with nothing but the cues: what boundaries and assertion need when only spans are given."""

from __future__ import annotations

from types import MappingProxyType

from lexicon import DATA, Lexicon
from lexicon.reading import read_model
from lexicon.schema.cues import CuesFile


def cues_only() -> Lexicon:
    model, _ = read_model(DATA / "cues.yaml", CuesFile)
    none: MappingProxyType[str, object] = MappingProxyType({})
    return Lexicon("cues-only", (), none, none, none, none, none, MappingProxyType({"cues": model}), none)


CUES = cues_only()
