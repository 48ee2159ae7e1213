"""How sources are cited: short name and how surely its content is known."""

from __future__ import annotations

from collections.abc import Iterable

from lexicon import Lexicon

MARKS = {
    "V": "seen in the source",
    "S": "quoted from the source elsewhere",
    "M": "from memory, unverified",
    "C": "common practice",
}


def cite(lexicon: Lexicon, names: Iterable[str]) -> str:
    """One line for the sources of a rule: "RCP2017 (V: seen in the source); common practice (C)"."""
    parts = []
    for name in names:
        if name in MARKS:
            parts.append(f"{MARKS[name]} ({name})")
        elif name in lexicon.sources:
            mark = lexicon.sources[name].mark
            parts.append(f"{name} ({mark}: {MARKS[mark]})")
        else:
            parts.append(name)
    return "; ".join(dict.fromkeys(parts)) or "common practice (C)"


def citations(lexicon: Lexicon, lines: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Short name and full citation of every source named in lines made by :func:`cite`, once, by name."""
    keys = sorted({key for line in lines for key in keys_of(line) if key in lexicon.sources})
    return tuple((key, lexicon.sources[key].citation) for key in keys)


def keys_of(citation: str) -> tuple[str, ...]:
    """The short names in a line made by :func:`cite`."""
    return tuple(part.split(" (")[0] for part in citation.split("; "))
