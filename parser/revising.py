"""Changes after the fact: an entry is taken back, put back, or replaced. Nothing that was filed is altered or lost.

Each change files an :class:`Amendment` that names what it supersedes; a replaced or restored entry is a new
entry with the evidence of the old one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from lexicon import Lexicon
from parser.proposing import valued
from parser.record import Amendment, Entry, RecordEvidence, RecordValue
from parser.statements import SIDES, STATUSES, Value
from parser.structurer import Filing

_NUMBER = r"\d+(?:\.\d+)?"
_SINGLE = re.compile(rf"[<>≤≥]?\s*({_NUMBER})\+?")
_PAIR = re.compile(rf"({_NUMBER})\s*/\s*({_NUMBER})")
_LONGEST = 200

#: What can be changed of an entry.
CHANGES = ("status", "side", "site", "value", "region", "qualifiers")


@dataclass(frozen=True, slots=True)
class Revision:
    """Who changes an entry, when (ISO 8601), how and why; ``evidence`` are the words, when it was spoken."""

    kind: Literal["spoken", "page", "confirmation", "withdrawal"]
    by: str
    at: str | None
    reason: str | None = None
    evidence: RecordEvidence | None = None


def standing(filing: Filing) -> Iterator[tuple[str, Entry]]:
    """The entries that stand, with their stations, the last filed first."""
    return ((region, entry) for region, entry in reversed(filing.entries) if entry.superseded_by is None)


def entry_of(filing: Filing, number: str) -> tuple[str, Entry]:
    """An entry by its id, with its station. Raises :class:`ValueError` when there is none."""
    place = int(number[1:]) - 1 if re.fullmatch(r"e[1-9]\d{0,8}", number) else -1
    if not 0 <= place < len(filing.entries):
        raise ValueError(f"There is no entry {number} in this run.")
    return filing.entries[place]


def withdraw(filing: Filing, number: str, revision: Revision) -> Amendment:
    """Take an entry back. Raises :class:`ValueError` when it does not stand."""
    region, entry = _standing(filing, number)
    amendment = _amend(filing, number, None, revision)
    filing.entries[int(number[1:]) - 1] = (region, entry.model_copy(update={"superseded_by": amendment.id}))
    return amendment


def put_back(filing: Filing, number: str, revision: Revision) -> Entry:
    """File an entry that was taken back anew. Raises :class:`ValueError` when it was not, or is put back already."""
    region, entry = entry_of(filing, number)
    last = next((a for a in reversed(filing.amendments) if a.supersedes == number), None)
    if last is None or last.entry is not None:
        raise ValueError(f"Entry {number} ({entry.label}) was not taken back.")
    restored = entry.model_copy(update={"superseded_by": None})
    return _file(filing, number, (region, restored), filing.values.get(number), revision)


def change(filing: Filing, number: str, changes: Mapping[str, Any], revision: Revision) -> Entry:
    """Replace an entry by one with other particulars (:data:`CHANGES`; a value as {"text", "unit"}).

    The new entry needs no confirmation. Raises :class:`ValueError`, in words for people, for what cannot be.
    """
    region, entry = _standing(filing, number)
    value = filing.values.get(number)
    update: dict[str, Any] = {"confirm": None}
    for name, wanted in changes.items():
        if name == "value":
            value = _value(wanted, entry, filing.lexicon)
            update["value"] = value and RecordValue(
                text=value.text, number=value.number, unit=value.unit, as_said=value.as_said
            )
        elif name == "region":
            if wanted not in filing.lexicon.region_order:
                raise ValueError(f"There is no station '{str(wanted)[:40]}'.")
            region = wanted
        else:
            update[name] = _checked(name, wanted)
    new = _file(filing, number, (region, entry.model_copy(update=update)), value, revision)
    old_region, old = filing.entries[int(number[1:]) - 1]
    filing.entries[int(number[1:]) - 1] = (old_region, old.model_copy(update={"superseded_by": new.id}))
    return new


def revert(filing: Filing, number: str, revision: Revision) -> Entry:
    """Undo the change that made entry ``number``: what it replaced is filed anew in the place of what stands for it.

    Raises :class:`ValueError` when no change made it, or what came of it was taken back.
    """
    entry_of(filing, number)
    before = next((a.supersedes for a in filing.amendments if a.entry == number), None)
    if before is None:
        raise ValueError(f"Entry {number} was not changed; there is nothing to undo.")
    follows = {a.supersedes: a.entry for a in filing.amendments}
    last: str | None = number
    while last in follows:
        last = follows[last]
    if last is None:
        raise ValueError(f"Entry {number} was taken back. Put it back first.")
    region, entry = entry_of(filing, before)
    restored = entry.model_copy(update={"superseded_by": None})
    new = _file(filing, last, (region, restored), filing.values.get(before), revision)
    home, old = filing.entries[int(last[1:]) - 1]
    filing.entries[int(last[1:]) - 1] = (home, old.model_copy(update={"superseded_by": new.id}))
    return new


def _standing(filing: Filing, number: str) -> tuple[str, Entry]:
    region, entry = entry_of(filing, number)
    if entry.superseded_by is not None:
        raise ValueError(f"Entry {number} ({entry.label}) was replaced or taken back already.")
    return region, entry


def _file(filing: Filing, old: str, home: tuple[str, Entry], value: Value | None, revision: Revision) -> Entry:
    region, entry = home
    new = entry.model_copy(update={"id": f"e{len(filing.entries) + 1}"})
    filing.entries.append((region, new))
    if value is not None:
        filing.values[new.id] = value
    _amend(filing, old, new.id, revision)
    filing.move(old, new.id)
    return new


def _amend(filing: Filing, old: str, new: str | None, revision: Revision) -> Amendment:
    amendment = Amendment(
        id=f"a{len(filing.amendments) + 1}",
        supersedes=old,
        entry=new,
        kind=revision.kind,
        by=revision.by,
        at=revision.at,
        evidence=revision.evidence,
        reason=revision.reason,
    )
    filing.amendments.append(amendment)
    return amendment


def _checked(name: str, wanted: Any) -> Any:
    if name == "status" and wanted in STATUSES:
        return wanted
    if name == "side" and (wanted is None or wanted in SIDES):
        return wanted
    if name == "site" and (wanted is None or _is_text(wanted)):
        return wanted
    if name == "qualifiers" and isinstance(wanted, list | tuple) and len(wanted) <= 20 and all(map(_is_text, wanted)):
        return tuple(wanted)
    raise ValueError(
        f"'{str(wanted)[:40]}' cannot be the {name} of an entry."
        if name in CHANGES
        else f"'{name[:40]}' cannot be changed."
    )


def _is_text(wanted: Any) -> bool:
    return isinstance(wanted, str) and 0 < len(wanted) <= _LONGEST and wanted.isprintable()


def _value(wanted: Any, entry: Entry, lexicon: Lexicon) -> Value | None:
    if wanted is None:
        return None
    if not isinstance(wanted, dict) or set(wanted) - {"text", "unit"} or not _is_text(wanted.get("text")):
        raise ValueError("A value is written as text, such as 128/82, with a unit when it has one.")
    text = wanted["text"].strip()
    unit = wanted.get("unit", entry.value.unit if entry.value else None)
    if unit is not None and not _is_text(unit):
        raise ValueError("The unit of a value is a short text.")
    read = valued(entry, text, lexicon)
    if read is not None and read.value.text == text:
        return replace(read.value, as_said=text, unit=unit)
    single, pair = _SINGLE.fullmatch(text), _PAIR.fullmatch(text)
    of_pressure = pair if entry.concept == "blood_pressure" else None
    return Value(
        text,
        text,
        number=float(single[1]) if single else None,
        pair=(float(of_pressure[1]), float(of_pressure[2])) if of_pressure else None,
        unit=unit,
    )
