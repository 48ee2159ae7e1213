"""Named checklists: which items are wanted of which station, in which order of stations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from lexicon import Lexicon
from lexicon.schema.audit import Checklist, ChecklistFile, Item


@dataclass(frozen=True, slots=True)
class Wanted:
    """A checklist as it applies: stations in the order wanted, the items of each, factors on their weights."""

    id: str
    title: str
    stations: tuple[str, ...]
    items: Mapping[str, tuple[Item, ...]]
    factors: Mapping[str, float]
    ordered: bool


def checklist_file(lexicon: Lexicon) -> ChecklistFile:
    """The checklists of the lexicon; empty when it has none."""
    found = lexicon.files.get("checklist")
    return found if isinstance(found, ChecklistFile) else ChecklistFile()


def wanted(lexicon: Lexicon, name: str) -> Wanted:
    """The checklist of that name with those it is based on. Raises ValueError for an unknown name."""
    file = checklist_file(lexicon)
    by_id = {entry.id: entry for entry in file.lists}
    if name not in by_id:
        known = ", ".join(sorted(by_id)) or "none"
        raise ValueError(f"there is no checklist '{name}'; known are: {known}")
    chain = _chain(by_id, name)
    stations = next((entry.stations for entry in chain if entry.stations), ()) or lexicon.region_order
    included = {item for entry in chain for item in entry.include}
    left_out: set[str] = set()
    factors: dict[str, float] = {}
    for entry in reversed(chain):
        left_out = (left_out | set(entry.leave_out)) - set(entry.include)
        factors.update(entry.weigh)
    items: dict[str, list[Item]] = {station: [] for station in stations}
    for item in file.items:
        taken = item.id in included or (not item.advanced and item.region in items)
        if taken and item.id not in left_out:
            items.setdefault(item.region, []).append(item)
    order = (*stations, *(region for region in items if region not in stations))
    return Wanted(
        name, chain[0].title, order, {region: tuple(found) for region, found in items.items()}, factors,
        chain[0].ordered,
    )


def _chain(by_id: Mapping[str, Checklist], name: str) -> list[Checklist]:
    """The list and those it is based on, nearest first."""
    chain = [by_id[name]]
    while chain[-1].based_on and chain[-1].based_on in by_id and by_id[chain[-1].based_on] not in chain:
        chain.append(by_id[chain[-1].based_on])
    return chain
