"""Both sides of paired parts, and all of several places (the four quadrants)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from lexicon.schema.audit import Pair, SidesFile
from parser.audit.inspection import Inspection, listed, quoted
from parser.lookup import CURRENT, Found
from parser.record import Remark


def check(inspection: Inspection) -> Iterator[Remark]:
    """Pairs of which one side alone was said, and sets of which only some were."""
    for rule in inspection.rules("sides", SidesFile).pairs:
        found = inspection.lookup.find(rule.any, CURRENT)
        if not found:
            continue
        if rule.members:
            yield from _members(inspection, rule, found)
        else:
            for group in _groups(rule, found):
                yield from _one_side(inspection, rule, group)


def _groups(rule: Pair, found: Sequence[Found]) -> Iterator[Sequence[Found]]:
    if not rule.by_site:
        yield found
        return
    groups: dict[str | None, list[Found]] = defaultdict(list)
    for hit in found:
        groups[hit.entry.site].append(hit)
    yield from groups.values()


def _one_side(inspection: Inspection, rule: Pair, found: Sequence[Found]) -> Iterator[Remark]:
    spoken = {hit.entry.evidence.utterance for hit in found if hit.entry.side in ("left", "right")}
    sides = {hit.entry.side for hit in found if hit.entry.side or hit.entry.evidence.utterance not in spoken}
    corrected = inspection.lookup.corrected
    sides |= {corrected[hit.entry.id].side for hit in found if hit.entry.id in corrected}
    for side, other in (("left", "right"), ("right", "left")):
        if side in sides and not sides & {other, "both", "midline", None}:
            label = _label(inspection, rule, found)
            yield inspection.remark(
                f"sides.{rule.id}", rule,
                f"{label}: only the {side} side was heard, in {quoted(found[0])}; the {other} side was not.",
                found, say=rule.say.replace("{side}", other) or f"Say the {other} side as well, or “bilaterally”.",
            )


def _members(inspection: Inspection, rule: Pair, found: Sequence[Found]) -> Iterator[Remark]:
    lookup = inspection.lookup
    named = {member for hit in found for member in rule.members if member in lookup.ancestors(hit.entry.site)}
    whole = any(hit.entry.side == "both" and not named for hit in found)
    left = [member for member in rule.members if member not in named]
    general = any(not named.intersection(lookup.ancestors(hit.entry.site)) for hit in found)
    if named and left and not whole and not general:
        names = [_site(inspection, member) for member in left]
        yield inspection.remark(
            f"sides.{rule.id}", rule, f"{rule.label}: not heard of: {listed(names)}.", found,
            say=rule.say or f"Say it of the {listed(names)} as well.",
        )


def _label(inspection: Inspection, rule: Pair, found: Sequence[Found]) -> str:
    site = found[0].entry.site
    return f"{rule.label}, {_site(inspection, site)}" if rule.by_site and site else rule.label


def _site(inspection: Inspection, name: str) -> str:
    known = inspection.lexicon.sites.get(name.replace(" ", "_"))
    return known.label if known else name
