"""The lexicon told to people: counts, lists and explanations for the command line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from lexicon import Lexicon
from listener.errors import InputError


def counts(lexicon: Lexicon) -> str:
    """One line of figures."""
    forms = sum(len(c.forms) + len(c.absent_forms) for c in lexicon.concepts.values()) + sum(
        len(s.forms) for s in lexicon.sites.values()
    )
    measures, scales = _entries(lexicon, "measures"), _entries(lexicon, "scales")
    forms += sum(len(m.forms) for m in measures) + sum(len(s.forms) for s in scales)
    return (
        f"The lexicon is in order: {len(lexicon.regions)} stations, {len(lexicon.concepts)} concepts, "
        f"{len(lexicon.sites)} sites, {len(measures)} measures, {len(scales)} scales, {forms} spoken forms, "
        f"{len(lexicon.sources)} sources; version {lexicon.version}."
    )


def listed(kind: str, lexicon: Lexicon) -> Iterator[str]:
    """One line an entry. Raises :class:`InputError` for an unknown kind."""
    kinds: dict[str, Any] = {
        "regions": lexicon.regions.values(),
        "sites": lexicon.sites.values(),
        "concepts": lexicon.concepts.values(),
        "sources": lexicon.sources.values(),
        "measures": _entries(lexicon, "measures"),
        "scales": _entries(lexicon, "scales"),
    }
    if kind not in kinds:
        raise InputError(f"There is no kind '{kind}'. Kinds are: {', '.join(kinds)}.")
    for entry in kinds[kind]:
        name = getattr(entry, "label", None) or getattr(entry, "title", None) or getattr(entry, "citation", "")
        yield f"{entry.id:32} {name}"


def explained(term: str, lexicon: Lexicon) -> list[str]:
    """What the words of a term stand for. Raises :class:`InputError` when they stand for nothing."""
    from parser.terms import term_index
    from parser.tokens import words_of

    words = words_of(term)
    found = [
        t for start, end, terms in term_index(lexicon).find(words) if (start, end) == (0, len(words)) for t in terms
    ]
    named = [kind for kind, table in (("concept", lexicon.concepts), ("site", lexicon.sites)) if term in table]
    if not found and not named:
        raise InputError(f"The lexicon does not know '{term}'. See: crownsole lexicon list")
    lines: list[str] = []
    for kind, name in dict.fromkeys([(t.kind, t.id) for t in found] + [(kind, term) for kind in named]):
        lines += _entry_lines(kind, name, lexicon)
    return lines


def _entry_lines(kind: str, name: str, lexicon: Lexicon) -> list[str]:
    field = {"concept": "concepts", "site": "sites", "measure": "measures", "scale": "scales"}.get(kind, "regions")
    table: Any = (
        {"concept": lexicon.concepts, "site": lexicon.sites}.get(kind)
        or {e.id: e for e in _entries(lexicon, field)}
        or lexicon.regions
    )
    entry: Any = table[name] if name in table else lexicon.regions[name]
    lines = [f"{name} ({kind}): {getattr(entry, 'label', None) or getattr(entry, 'title', '')}"]
    home = lexicon.home.get(name)
    if home:
        also = ", ".join(getattr(entry, "also", ()))
        lines.append(f"  station: {home}" + (f"; also: {also}" if also else ""))
    for key in ("nature", "kind", "part_of", "site", "scale", "loinc"):
        value = getattr(entry, key, None)
        if value:
            lines.append(f"  {key}: {value}")
    lines.append(f"  said as: {'; '.join(entry.forms)}")
    if getattr(entry, "absent_forms", ()):
        lines.append(f"  said as absent: {'; '.join(entry.absent_forms)}")
    lines += [f"  for example: {example}" for example in getattr(entry, "examples", ())]
    lines.append(f"  source: {', '.join(getattr(entry, 'source', ()) or ('C',))}")
    where = lexicon.origins.get((field, name))
    return [*lines, f"  stands in: {where}"] if where else lines


def _entries(lexicon: Lexicon, name: str) -> tuple[Any, ...]:
    return tuple(getattr(lexicon.files.get(name), name, ()))
