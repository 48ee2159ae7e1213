"""Details: findings that need something said with them, as the angle of the bed with the neck veins."""

from __future__ import annotations

from collections.abc import Iterator

from lexicon.schema.audit import Detail, DetailsFile
from parser.audit.inspection import Inspection, quoted
from parser.lookup import CURRENT, STATED, Found
from parser.record import Remark

#: Words between two entries that are still "said with" one another.
_NEAR = 14


def check(inspection: Inspection) -> Iterator[Remark]:
    """Findings without what belongs to them; one remark a rule."""
    for rule in inspection.rules("details", DetailsFile).details:
        settlers = inspection.lookup.find(rule.any, CURRENT)
        asked = inspection.lookup.find(rule.when, STATED)
        bare = [found for found in asked if not _settled(inspection, rule, found, settlers)]
        if bare:
            more = f" ({len(bare)} times)" if len(bare) > 1 else ""
            message = f"{rule.label} was not heard with {quoted(bare[0])}{more}."
            yield inspection.remark(f"detail.{rule.id}", rule, message, bare)


def _settled(inspection: Inspection, rule: Detail, found: Found, settlers: tuple[Found, ...]) -> bool:
    entry = found.entry
    measure = inspection.lookup.measures.get(entry.id)
    if (rule.value and entry.value is not None) or (rule.site and (entry.site or (measure and measure.site))):
        return True
    if rule.position and measure is not None and measure.position:
        return True
    if rule.words and inspection.lookup.said_near(found, rule.words):
        return True
    return any(_within(rule, found, other) for other in settlers)


def _within(rule: Detail, found: Found, other: Found) -> bool:
    if rule.within == "run":
        return True
    if rule.within == "region":
        return found.region == other.region
    return abs(found.place[0] - other.place[0]) <= _NEAR
