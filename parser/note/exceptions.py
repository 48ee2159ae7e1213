"""Which entries are exceptions: what differs from the expected, or is itself worth telling."""

from __future__ import annotations

from lexicon import Lexicon
from lexicon.schema import Concept
from parser.audit.doubt import plain
from parser.note.facts import standing
from parser.record import Entry, Record

#: Families of rules whose remarks make their entries exceptions.
_RULES = ("range.", "caution.", "contradiction.")


def exceptions(record: Record, lexicon: Lexicon) -> tuple[tuple[str, Entry], ...]:
    """Region and entry of every exception that stands, in record order.

    Exceptions are: abnormal findings that are there or may be, expected ones that are not; grades off
    the expected; what the audit found outside a teaching range, in contradiction, or to be escalated; what
    the person reports; devices; what was not assessed; and all that is to be confirmed.
    """
    marked = {e for remark in record.remarks if plain(remark.rule).startswith(_RULES) for e in remark.entries}
    return tuple((region, entry) for region, entry in standing(record)
                 if entry.id in marked or _is_exception(entry, lexicon))


def _is_exception(entry: Entry, lexicon: Lexicon) -> bool:
    concept = lexicon.concepts.get(entry.concept)
    if entry.confirm or entry.status in ("uncertain", "not_assessed", "history", "family"):
        return True
    if entry.kind in ("step", "conduct", "measure"):
        return False
    if entry.kind == "device":
        return entry.status == "present"
    if entry.value and (normal := _normal_grades(entry, concept, lexicon)):
        return entry.value.text not in normal
    nature = concept.nature if concept else "neutral"
    return (nature == "abnormal" and entry.status == "present") or (nature == "normal" and entry.status == "absent")


def _normal_grades(entry: Entry, concept: Concept | None, lexicon: Lexicon) -> tuple[str, ...]:
    name = (concept.scale if concept else None) or entry.concept
    for scale in getattr(lexicon.files.get("scales"), "scales", ()):
        if scale.id == name:
            return tuple(scale.normal)
    return ()
