"""Changes that a person proposes to an entry, held against the lexicon before they are made.

What can never be is refused in a sentence; what is unlikely comes back as a warning, which a person may overrule.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from rapidfuzz import process
from rapidfuzz.distance import DamerauLevenshtein

from lexicon import Lexicon
from lexicon.forms import expand
from parser.components.numbers import find_numbers
from parser.layers import Number
from parser.record import Entry, RecordWord
from parser.slots import Fit, Slot, fit, slots
from parser.statements import AND, SIDES, STATUSES, Value
from parser.tokens import tokenise

_LONGEST = 120
_NEAR = 0.4
_OTHER_WORD = re.compile(r"may be '([^']+)'")
_COMMA = re.compile(r"(?<=\d),(?=\d{1,2}(?!\d))")
_NEGATIVES = ("no", "not", "without", "denies", "negative", "never", "absent", "none")

#: Shape of number -> how one is written, for messages.
_EXAMPLES = {
    "pair": "128/82", "decimal": "98.6", "integer": "72", "grade": "2+", "score": "5/5", "size": "3x2x0.2",
    "range": "2-3", "comparator": "<2", "stage": "stage 2", "height": "5'9\"", "acuity": "20/20", "gcs": "E4 V5 M6",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Proposal:
    """Changes as :func:`parser.revising.change` takes them, and what speaks against them."""

    changes: Mapping[str, Any] = field(hash=False)
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Other:
    """Another way to read the words behind an entry: in words, and as the changes that would make it so."""

    text: str
    changes: Mapping[str, Any] = field(hash=False)


@dataclass(frozen=True, slots=True)
class Choices:
    """What an entry can be changed to; ``grades`` are values of its scale with their meanings."""

    statuses: tuple[str, ...]
    sides: tuple[str, ...]
    sites: tuple[str, ...]
    value: bool
    example: str
    grades: tuple[tuple[str, str], ...]


def proposed(entry: Entry, wanted: Mapping[str, Any], lexicon: Lexicon) -> Proposal:
    """Hold wished changes ("value", "side", "status", "site", each as text or None) against the lexicon.

    Raises :class:`ValueError`, in a sentence for people, for what cannot be.
    """
    checks = {"value": _value, "side": _side, "status": _status, "site": _site}
    changes: dict[str, Any] = {}
    warnings: list[str] = []
    for name, wish in wanted.items():
        if name not in checks:
            raise ValueError(f"'{str(name)[:40]}' of a line cannot be changed.")
        if wish is not None and not isinstance(wish, str):
            raise ValueError(f"The {name} is written as text.")
        text = wish.strip() if wish else None
        if text and (len(text) > _LONGEST or not text.isprintable()):
            raise ValueError(f"The {name} is too long, or holds signs that are no text.")
        changes[name], against = checks[name](entry, text or None, lexicon)
        warnings += against
    if "side" in changes and "site" in changes:
        moved = entry.model_copy(update={"site": changes["site"]})
        warnings = [w for w in warnings if w not in _side(entry, changes["side"], lexicon)[1]]
        warnings += _side(moved, changes["side"], lexicon)[1]
    same = {name for name, value in changes.items() if value == _now(entry, name)}
    return Proposal({name: value for name, value in changes.items() if name not in same}, tuple(warnings))


def valued(entry: Entry, text: str, lexicon: Lexicon) -> Fit | None:
    """A value as written or said, read for what the entry is; None when it takes no such number."""
    tokens = tokenise(text)
    numbers = find_numbers(tokens, lexicon)
    if len(numbers) != 1:
        return None
    taken = [one for slot in slots_of(entry, lexicon) if (one := fit(slot, numbers[0], text, lexicon)) is not None]
    return min(taken, key=lambda one: one.cost) if taken else None


def slots_of(entry: Entry, lexicon: Lexicon) -> tuple[Slot, ...]:
    """The kinds of number that an entry takes; none for most findings."""
    table = slots(lexicon)
    own = table.measures.get(entry.concept) or table.scales.get(entry.concept)
    return (*((own,) if own else ()), *table.concepts.get(entry.concept, ()))


def choices(entry: Entry, region: str, lexicon: Lexicon) -> Choices:
    """What a person can choose from when they change an entry of a station."""
    concept = lexicon.concepts.get(entry.concept)
    kinds = slots_of(entry, lexicon)
    near = concept.sites if concept and concept.sites else ()
    there = [site.id for site in lexicon.sites.values() if lexicon.home[site.id] == region or region in site.also]
    scale = next((slot.scale for slot in kinds if slot.scale is not None), None)
    return Choices(
        tuple(status for status in STATUSES if entry.kind != "measure" or status in _OF_MEASURES),
        SIDES,
        tuple(site.replace("_", " ") for site in dict.fromkeys((*near, *there))),
        bool(kinds),
        _example(entry, kinds),
        tuple((grade.value, grade.meaning) for grade in scale.grades) if scale else (),
    )


def others(entry: Entry, words: Sequence[RecordWord], lexicon: Lexicon) -> tuple[Other, ...]:
    """How else the words behind a doubtful entry can be read; empty when it waits for no confirmation.

    ``words`` are all of the run.
    """
    if entry.confirm is None:
        return ()
    behind = words[entry.evidence.words[0] : entry.evidence.words[1] + 1]
    found = [*_other_values(entry, behind, lexicon), *_other_statuses(entry, behind), *_other_sides(entry, behind)]
    return tuple({other.text: other for other in found}.values())


_OF_MEASURES = ("present", "not_assessed", "uncertain", "history")


def _now(entry: Entry, name: str) -> Any:
    if name == "value":
        return entry.value and {"text": entry.value.text, "unit": entry.value.unit}
    return getattr(entry, name)


def _value(entry: Entry, text: str | None, lexicon: Lexicon) -> tuple[Any, tuple[str, ...]]:
    kinds = slots_of(entry, lexicon)
    if text is None:
        if entry.kind == "measure":
            raise ValueError(f"A line of {entry.label} needs its number. To take the line back, withdraw it.")
        return None, ()
    if not kinds:
        raise ValueError(f"'{entry.label}' takes no number.")
    text = _COMMA.sub(".", text)
    taken = valued(entry, text, lexicon)
    if taken is None and entry.value is not None and entry.value.unit:
        taken = valued(entry, f"{text} {entry.value.unit}", lexicon)
    if taken is None:
        raise ValueError(f"'{text[:40]}' is no {entry.label}. Write it like this: {_example(entry, kinds)}.")
    value = taken.value
    unit = value.unit
    if unit is None and entry.value is not None:
        unit = entry.value.unit
        known = [doubt for doubt in taken.doubts if not doubt.startswith("unit not said")]
        return {"text": value.text, "unit": unit}, tuple(known)
    return {"text": value.text, "unit": unit}, taken.doubts


def _example(entry: Entry, kinds: Sequence[Slot]) -> str:
    """How a number of the entry is written: as it is now, or as its first kind is; empty when it takes none."""
    if entry.value is not None or not kinds:
        return entry.value.text if entry.value is not None else ""
    scale = kinds[0].scale
    if scale is not None and scale.grades:
        return scale.grades[-1].value
    return _EXAMPLES[next((shape for shape in kinds[0].shapes if shape in _EXAMPLES), "integer")]


def _status(entry: Entry, status: str | None, lexicon: Lexicon) -> tuple[Any, tuple[str, ...]]:
    if status not in STATUSES:
        raise ValueError(f"'{str(status)[:40]}' is no status. It is one of: {_listed(STATUSES)}.")
    if entry.kind == "measure" and status not in _OF_MEASURES:
        raise ValueError(
            f"A {entry.label} cannot be '{status.replace('_', ' ')}'. Choose 'not assessed', or withdraw the line."
        )
    return status, ()


def _side(entry: Entry, side: str | None, lexicon: Lexicon) -> tuple[Any, tuple[str, ...]]:
    if side is not None and side not in SIDES:
        raise ValueError(f"'{side[:40]}' is no side. It is one of: {_listed(SIDES)}.")
    concept = lexicon.concepts.get(entry.concept)
    site = lexicon.sites.get((entry.site or "").replace(" ", "_"))
    paired = (concept is not None and concept.paired) or site is None or site.paired
    if side in (None, "midline") or paired:
        return side, ()
    return side, (f"{site.label} is usually said without a side",) if site else ()


def _site(entry: Entry, text: str | None, lexicon: Lexicon) -> tuple[Any, tuple[str, ...]]:
    if text is None:
        return None, ()
    names = [_site_named(part.strip(), lexicon) for part in re.split(rf"{AND}|,", text) if part.strip()]
    concept = lexicon.concepts.get(entry.concept)
    usual = concept.sites if concept else ()
    strange = [name for name in names if usual and not set(_within(name, lexicon)) & set(usual)]
    warnings = tuple(
        f"{entry.label} is usually said of {_listed([lexicon.sites[one].label for one in usual[:6]])}, "
        f"not of {lexicon.sites[name].label}"
        for name in strange
    )
    return AND.join(names).replace("_", " "), warnings


def _site_named(text: str, lexicon: Lexicon) -> str:
    names = _sites(lexicon)
    known = names.get(" ".join(tokenise(text).words))
    if known is not None:
        return known
    near = process.extract(
        text.lower(), names.keys(), scorer=DamerauLevenshtein.normalized_distance, score_cutoff=_NEAR, limit=6
    )
    meant = list(dict.fromkeys(lexicon.sites[names[name]].label for name, _, _ in near))[:3]
    hint = f" Was {_listed(meant)} meant?" if meant else " Choose a place of the station from the list."
    raise ValueError(f"'{text[:40]}' is no place that the lexicon knows.{hint}")


@lru_cache(maxsize=2)
def _sites(lexicon: Lexicon) -> Mapping[str, str]:
    """Spoken form, label or id of a site, as tokens -> its id."""
    named: dict[str, str] = {}
    for site in lexicon.sites.values():
        spoken = (way for form in site.forms for way in expand(form))
        for name in (site.id.replace("_", " "), site.label, *spoken):
            named.setdefault(" ".join(tokenise(name).words), site.id)
    return named


def _within(site: str, lexicon: Lexicon) -> Iterator[str]:
    """The site and all that it is a part of."""
    at: str | None = site
    while at is not None and at in lexicon.sites:
        yield at
        at = lexicon.sites[at].part_of


def _other_values(entry: Entry, behind: Sequence[RecordWord], lexicon: Lexicon) -> Iterator[Other]:
    if entry.value is None:
        return
    for text in (entry.evidence.text, *_said_otherwise(behind)):
        for value in _all_values(entry, text, lexicon):
            if value.text != entry.value.text:
                unit = value.unit or entry.value.unit
                yield Other(value.text, {"value": {"text": value.text, "unit": unit}})


def _all_values(entry: Entry, text: str, lexicon: Lexicon) -> Iterator[Value]:
    """Every plausible value that the numbers in a text make for an entry."""
    for number in find_numbers(tokenise(text), lexicon):
        for reading in number.readings:
            for slot in slots_of(entry, lexicon):
                taken = fit(slot, Number(number.start, number.end, (reading,)), text, lexicon)
                if taken is not None and taken.cost < 1 and taken.likely:
                    yield taken.value


def _said_otherwise(behind: Sequence[RecordWord]) -> Iterator[str]:
    """The words with one of those in doubt as it may have been."""
    for i, word in enumerate(behind):
        other = _OTHER_WORD.search(word.doubt or "")
        if other is not None:
            yield " ".join(other[1] if i == j else each.text for j, each in enumerate(behind))


def _other_statuses(entry: Entry, behind: Sequence[RecordWord]) -> Iterator[Other]:
    unsure = any(word.doubt and word.text.lower() in _NEGATIVES for word in behind)
    if entry.status == "absent" and (unsure or "could be present" in (entry.confirm or "")):
        yield Other("present", {"status": "present"})
    added = any((other := _OTHER_WORD.search(w.doubt or "")) and other[1].split()[0] in _NEGATIVES for w in behind)
    if entry.status == "present" and added:
        yield Other("absent", {"status": "absent"})


def _other_sides(entry: Entry, behind: Sequence[RecordWord]) -> Iterator[Other]:
    for word in behind:
        other = _OTHER_WORD.search(word.doubt or "")
        side = "both" if other and other[1] in ("bilateral", "bilaterally") else other[1] if other else ""
        if side in SIDES and side != entry.side and word.text.lower() in (*SIDES, "bilateral", "bilaterally"):
            yield Other(side, {"side": side})


def _listed(names: Sequence[str]) -> str:
    readable = [name.replace("_", " ") for name in names]
    return readable[0] if len(readable) == 1 else f"{', '.join(readable[:-1])} or {readable[-1]}"
