"""Cautions: findings and values that usually call for someone, always by local policy.

Never a diagnosis, never a treatment: what was said, where, and whom it usually calls for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from lexicon.schema.audit import Callout, Caution, CautionsFile, Matches
from parser.audit.inspection import Inspection, listed, quoted
from parser.lookup import Found
from parser.record import Remark

_SO = ("present",)
_MOST_QUOTED = 3


def check(inspection: Inspection) -> Iterator[Remark]:
    """One remark for each caution that what was said gives cause for."""
    rules = inspection.rules("cautions", CautionsFile)
    callouts: Mapping[str, Callout] = {callout.id: callout for callout in rules.callouts}
    for rule in rules.cautions:
        if rule.ages and not inspection.inputs.ages & set(rule.ages):
            continue
        found = _cause(inspection, rule)
        if not found or inspection.lookup.find(rule.unless):
            continue
        callout = callouts.get(rule.severity)
        quotes = listed([quoted(hit) for hit in found[:_MOST_QUOTED]])
        more = f" and {len(found) - _MOST_QUOTED} more" if len(found) > _MOST_QUOTED else ""
        asks = callout.message if callout else "By local policy this may call for someone."
        yield inspection.remark(
            f"caution.{rule.id}", rule, f"{rule.title}: heard {quotes}{more}. {asks}", found,
            say=rule.say or (callout.say if callout else None),
        )


def _cause(inspection: Inspection, rule: Caution) -> list[Found]:
    """The entries that fire the rule, in the order said; empty when it does not fire."""
    hits = list(_find(inspection, rule.any))
    needed = [_find(inspection, (match,)) for match in rule.all]
    groups = [found for group in rule.groups if (found := _find(inspection, group))]
    enough = not rule.groups or len(groups) >= rule.need
    if (rule.all or rule.groups) and all(needed) and enough:
        hits.extend(hit for found in (*needed, *groups) for hit in found)
    return sorted({hit.place: hit for hit in hits}.values(), key=lambda hit: hit.place)


def _find(inspection: Inspection, matches: Matches) -> tuple[Found, ...]:
    """Entries that fit and can be true: an implausible number is first to be confirmed."""
    return tuple(hit for hit in inspection.lookup.find(matches, _SO) if inspection.inputs.believable(hit))
