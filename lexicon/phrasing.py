"""Checks of phrases.yaml that look across its entries: slots that exist, lists that end."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from difflib import get_close_matches
from typing import TYPE_CHECKING

from lexicon.schema.speech import PhrasesFile

if TYPE_CHECKING:
    from lexicon.loading import Lexicon

_SLOT = re.compile(r"\{([^{}]*)\}")

#: What a phrase may be filled with besides the lists of the file; the head of phrases.yaml explains each.
SLOTS = frozenset([
    "region", "site", "place", "side", "finding", "abnormal", "normal", "neutral", "absent_word", "device",
    "step", "report", "graded", "sized", "measure", "scale", "value", "unit", "qualifier", "circumstance",
    "cue", "name", "direction", "request", "question", "small_talk", "correction", "announce", "resume",
    "example", "number", "decimal", "ordinal",
])
_BOUNDED = frozenset({"number", "decimal", "ordinal"})
_BOUNDS = re.compile(r"\d+-\d+")


def faults(lexicon: "Lexicon") -> Iterator[str]:
    """Every fault of the phrases as a sentence with file and line."""
    file = lexicon.files.get("phrases")
    if not isinstance(file, PhrasesFile):
        return
    ways = {entry.id: entry.ways for entry in file.lists}
    for entry in file.lists:
        where = lexicon.origins.get(("lists", entry.id), "phrases.yaml")
        if not any(way.split() for way in entry.ways):
            yield f"{where}: the list '{entry.id}' is empty"
        yield from _unknown(entry.ways, ways, where)
        if entry.id in _reached(entry.id, ways):
            yield f"{where}: the list '{entry.id}' uses itself; a phrase from it would never end"
    for shape in file.shapes:
        yield from _unknown(shape.say, ways, lexicon.origins.get(("shapes", shape.id), "phrases.yaml"))


def _unknown(templates: Iterable[str], lists: Iterable[str], where: str) -> Iterator[str]:
    known = {*SLOTS, *lists}
    for template in templates:
        for slot in _SLOT.findall(template):
            name, _, detail = slot.partition(":")
            if name not in known:
                near = get_close_matches(name, known, 1)
                yield f"{where}: there is no slot '{{{slot}}}'" + (f"; did you mean '{{{near[0]}}}'?" if near else "")
            elif name in _BOUNDED and not _BOUNDS.fullmatch(detail):
                yield f"{where}: '{{{slot}}}' needs bounds, as in '{{{name}:1-12}}'"


def _reached(start: str, lists: dict[str, tuple[str, ...]]) -> set[str]:
    """The lists that a list uses, by way of others too."""
    found: set[str] = set()
    waiting = [start]
    while waiting:
        for way in lists.get(waiting.pop(), ()):
            for slot in _SLOT.findall(way):
                if slot in lists and slot not in found:
                    found.add(slot)
                    waiting.append(slot)
    return found
