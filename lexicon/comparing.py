"""What differs between two lexicons: what is added, removed or changed, and what alters how old runs come out.

A difference is *breaking* when a run made before would be understood, judged or marked in another way: a term or
form that is gone or means something else, an item that lists now want, other points. Wording, sources, examples
and new terms are not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from lexicon.loading import Lexicon
from lexicon.schema.base import Entry

Change = Literal["added", "removed", "changed"]

#: Fields that change how something is told, never what is understood, wanted or marked.
_WORDING = frozenset([
    "label", "title", "say", "why", "message", "examples", "source", "citation", "mark", "licence", "note", "text",
    "present", "absent", "many", "write", "expected", "loinc", "summary",
])  # fmt: skip
#: Lists of words or names where more is no break, and less is.
_GROWING = frozenset(["forms", "absent_forms", "headings", "also", "words", "sounds", "said", "starts"])
#: Kinds that are wording through and through.
_TOLD = frozenset(["source", *(f"note {name}" for name in (
    "templates", "word_lists", "written_units", "wordings", "irregular_plurals", "avoid"))])  # fmt: skip
#: Kinds whose new entries are judged or marked at once.
_BREAKS_WHEN_ADDED: Mapping[str, str] = {"checklist item": "lists with its station want it from now on"}
_NAMES: Mapping[tuple[str, str], str] = {
    ("checklist", "items"): "checklist item",
    ("checklist", "lists"): "checklist",
    ("rubric", "rubrics"): "rubric",
    ("measures", "measures"): "measure",
    ("scales", "scales"): "scale",
    ("speech", "pronunciations"): "pronunciation",
    ("directions", "directions"): "direction",
}
_MOST = 6


@dataclass(frozen=True, slots=True)
class Difference:
    """One entry that differs. ``details`` say what, each with whether it breaks; ``where`` is file and line."""

    kind: str
    id: str
    change: Change
    details: tuple[tuple[str, bool], ...]
    where: str

    @property
    def breaking(self) -> bool:
        return any(breaks for _, breaks in self.details)


def compare(before: Lexicon, after: Lexicon) -> tuple[Difference, ...]:
    """Every difference, in the order of kinds and then as they stand in the files."""
    old, new = _tables(before), _tables(after)
    forms = _meanings(before)
    found: list[Difference] = []
    for kind in dict.fromkeys((*old, *new)):
        one, other = old.get(kind, {}), new.get(kind, {})
        field = _FIELDS.get(kind, kind.rpartition(" ")[2])
        for name in dict.fromkeys((*one, *other)):
            details = tuple(_details(kind, name, one.get(name), other.get(name), before, after, forms))
            if details:
                lexicon, change = (after, "added") if name not in one else (after, "changed")
                if name not in other:
                    lexicon, change = before, "removed"
                where = lexicon.origins.get((field, name), "")
                found.append(Difference(kind, name, change, details, where))  # type: ignore[arg-type]
    return tuple(found)


_FIELDS = {
    "station": "regions", "site": "sites", "concept": "concepts", "source": "sources",
    **{name: field for (_, field), name in _NAMES.items()},
}  # fmt: skip


def _tables(lexicon: Lexicon) -> Mapping[str, Mapping[str, Any]]:
    """Kind -> id -> entry, of everything that has an id; what has none stands under the kind "setting"."""
    tables: dict[str, dict[str, Any]] = {
        "station": dict(lexicon.regions),
        "site": dict(lexicon.sites),
        "concept": dict(lexicon.concepts),
        "source": dict(lexicon.sources),
    }
    for file, model in lexicon.files.items():
        if file in ("regions", "sources"):
            continue
        for field in type(model).model_fields:
            value = getattr(model, field)
            if isinstance(value, tuple) and value and all(hasattr(entry, "id") for entry in value):
                kind = _NAMES.get((file, field), f"{file} {field}")
                tables.setdefault(kind, {}).update({entry.id: entry for entry in value})
            elif field != "remove":
                tables.setdefault("setting", {})[f"{file}.{field}"] = value
    return tables


def _meanings(lexicon: Lexicon) -> Mapping[str, set[str]]:
    """Spoken form -> the ids of what it stands for."""
    meanings: dict[str, set[str]] = {}
    for entries in (lexicon.regions, lexicon.sites, lexicon.concepts):
        for name, entry in entries.items():
            for form in (*entry.forms, *getattr(entry, "absent_forms", ())):
                meanings.setdefault(form, set()).add(name)
    return meanings


def _details(
    kind: str, name: str, old: Any, new: Any, before: Lexicon, after: Lexicon, forms: Mapping[str, set[str]]
) -> Iterator[tuple[str, bool]]:
    if old is None and new is None:
        return
    told = kind in _TOLD
    if new is None:
        yield "gone", not told
        return
    if old is None:
        why = _BREAKS_WHEN_ADDED.get(kind)
        breaks = why is not None and not getattr(new, "advanced", False)
        yield (f"new; {why}" if breaks else "new"), breaks
        yield from _taken_over(name, new, (), forms, before)
        return
    if kind == "setting":
        if old != new:
            yield "other value", True
        return
    if kind in ("site", "concept") and before.home.get(name) != after.home.get(name):
        yield f"station: {before.home.get(name)} -> {after.home.get(name)}", True
    for text, breaks in _fields(old, new):
        yield text, breaks and not told
    yield from _taken_over(name, new, (*getattr(old, "forms", ()), *getattr(old, "absent_forms", ())), forms, before)


def _taken_over(
    name: str, new: Any, known: tuple[str, ...], forms: Mapping[str, set[str]], before: Lexicon
) -> Iterator[tuple[str, bool]]:
    """Forms that stood for something else before."""
    for form in (*getattr(new, "forms", ()), *getattr(new, "absent_forms", ())):
        others = forms.get(form, set()) - {name}
        if others and form not in known:
            yield f"'{form}' stood for {' and '.join(sorted(others))} alone before", True


def _fields(old: Any, new: Any, place: str = "") -> Iterator[tuple[str, bool]]:
    """What differs between two entries of one id, field by field; entries with ids within are gone into."""
    for field in type(new).model_fields:
        one, other = getattr(old, field, None), getattr(new, field)
        if one == other or field == "id":
            continue
        named = f"{place}{field.replace('_', ' ')}"
        if _with_ids(one) and _with_ids(other) and (one or other):
            yield from _lists(one, other, place, field)
        elif isinstance(other, tuple) and all(isinstance(item, str) for item in (*(one or ()), *other)):
            yield from _words(one or (), other, named, field)
        elif isinstance(other, Entry) and isinstance(one, Entry):
            yield from _fields(one, other, f"{named} ")
        else:
            plain = all(isinstance(value, str | int | float | bool | None) for value in (one, other))
            yield (f"{named}: {_plain(one)} -> {_plain(other)}" if plain else named), field not in _WORDING


def _lists(one: Any, other: Any, place: str, field: str) -> Iterator[tuple[str, bool]]:
    """Differences of two lists of entries with ids, such as the steps of a rubric."""
    old, new = {item.id: item for item in one}, {item.id: item for item in other}
    single = field.removesuffix("s")
    for name in dict.fromkeys((*old, *new)):
        if name not in old:
            yield f"{place}{single} {name}: new", True
        elif name not in new:
            yield f"{place}{single} {name}: gone", True
        else:
            yield from _fields(old[name], new[name], f"{place}{single} {name}: ")


def _words(one: tuple[str, ...], other: tuple[str, ...], named: str, field: str) -> Iterator[tuple[str, bool]]:
    gone = [item for item in one if item not in other]
    more = [item for item in other if item not in one]
    if gone:
        yield f"{named} without {_some(gone)}", field not in _WORDING
    if more:
        yield f"{named} with {_some(more)}", field not in _WORDING and field not in _GROWING
    if not gone and not more:
        yield f"{named} in another order", field not in _WORDING and field not in _GROWING


def _with_ids(value: Any) -> bool:
    return isinstance(value, tuple) and all(hasattr(item, "id") for item in value)


def _some(items: list[str]) -> str:
    more = f" and {len(items) - _MOST} more" if len(items) > _MOST else ""
    return ", ".join(f"'{item}'" for item in items[:_MOST]) + more


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "nothing" if value in (None, "") else f"{value:g}" if isinstance(value, float) else str(value)
