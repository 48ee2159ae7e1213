"""Sides: where left, right, both or the midline are said, and comparisons of the two."""

from __future__ import annotations

from functools import lru_cache

from lexicon import Lexicon
from lexicon.schema import Comparison, LateralityFile, SideForm
from parser.components.layer import register
from parser.layers import SideMention
from parser.terms import FormIndex
from parser.tokens import Tokens


@lru_cache(maxsize=4)
def _index(lexicon: Lexicon) -> tuple[FormIndex[SideForm | Comparison], frozenset[str]]:
    file = lexicon.files.get("laterality") or LateralityFile()
    assert isinstance(file, LateralityFile)
    entries: tuple[SideForm | Comparison, ...] = (*file.sides, *file.comparisons)
    forms = [(form, entry) for entry in entries for form in entry.forms]
    return FormIndex(forms), frozenset(word for form, _ in forms for word in form.split())


def find_sides(tokens: Tokens, lexicon: Lexicon) -> tuple[SideMention, ...]:
    """Every side said, in order. A comparison means both sides and keeps its words."""
    index, _ = _index(lexicon)
    found: list[SideMention] = []
    for start, end, entries in index.find(tokens.words):
        entry = entries[0]
        if isinstance(entry, Comparison):
            found.append(SideMention(start, end, "both", tokens.slice_text(start, end).lower()))
        elif entry.capitals and not _capital(tokens, start, end):
            continue
        elif entry.side != "none":
            found.append(SideMention(start, end, entry.side))
    return tuple(found)


def _capital(tokens: Tokens, start: int, end: int) -> bool:
    """Whether the tokens are written in capitals and are no unit: "R hip", not "2 L" nor "r hip"."""
    return tokens.slice_text(start, end).isupper() and not (start and tokens.words[start - 1][-1].isdigit())


create_sides = register("sides", find_sides)
