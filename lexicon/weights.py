"""Reads the trained weights of the lexicon."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

BOUNDARIES = Path(__file__).parent / "data" / "boundaries.json"


@dataclass(frozen=True)
class BreakWeights:
    """Weights of the boundary model: ``table`` by feature, ``classes`` of words by word, and the bias."""

    bias: float
    table: Mapping[str, float]
    classes: Mapping[str, str]


@lru_cache(maxsize=1)
def break_weights() -> BreakWeights:
    """The boundary model that comes with the lexicon."""
    data = json.loads(BOUNDARIES.read_text(encoding="utf-8"))
    scale = data["scale"]
    table = {name: weight * scale for name, weight in data["weights"].items()}
    classes = {word: name for name, words in data["classes"].items() for word in words.split()}
    return BreakWeights(data["bias"], MappingProxyType(table), MappingProxyType(classes))
