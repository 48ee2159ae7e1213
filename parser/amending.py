"""Resolves spoken corrections: which earlier statement a correction takes back or replaces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lexicon import Lexicon
from parser.layers import Correction, Number, SideMention, SiteUse
from parser.slots import fit, slots
from parser.statements import Amends, Evidence, Statement
from parser.tokens import Tokens

#: A correction reaches this many tokens ahead for what replaces, and this many statements back.
AHEAD, BACK = 14, 12


def amended(
    tokens: Tokens,
    statements: tuple[Statement, ...],
    corrections: tuple[Correction, ...],
    numbers: tuple[Number, ...],
    sides: tuple[SideMention, ...],
    sites: tuple[SiteUse, ...],
    recent: tuple[Statement, ...],
    lexicon: Lexicon,
) -> tuple[Statement, ...]:
    """The statements with those that correct an earlier one marked so.

    ``recent`` are statements of earlier utterances, the last at the end. A correction with nothing
    that replaces withdraws; loose words after it ("correction, left") repeat the last statement
    with that part changed.
    """
    result = list(statements)
    for correction in corrections:
        result = _apply(tokens, result, correction, numbers, sides, sites, recent, lexicon)
    return tuple(result)


def _apply(
    tokens: Tokens,
    statements: list[Statement],
    correction: Correction,
    numbers: tuple[Number, ...],
    sides: tuple[SideMention, ...],
    sites: tuple[SiteUse, ...],
    recent: tuple[Statement, ...],
    lexicon: Lexicon,
) -> list[Statement]:
    at = tokens.starts[correction.start]
    reach = tokens.ends[min(correction.end + AHEAD, len(tokens)) - 1]
    before = [s for s in statements if s.evidence.chars[1] <= at or _key(s) < at]
    after = [s for s in statements if s not in before]
    earlier = [*recent, *(s for s in before if s.amends is None or s.amends.action == "replace")][-BACK:]
    cue = tokens.slice_text(correction.start, correction.end)
    if not earlier:
        return statements
    near = [s for s in after if s.evidence.chars[0] <= reach and s.amends is None]
    if near:
        target = _compatible(near[0], earlier, correction.sure, lexicon)
        if target is not None:
            named = [
                site
                for site in sites
                if correction.end <= site.start and tokens.ends[site.end - 1] <= near[0].evidence.chars[1]
            ]
            site = named[0].id if len(named) == 1 else near[0].site
            swapped = replace(near[0], site=site, amends=Amends("replace", cue, target))
            return [*before, *(swapped if s is near[0] else s for s in after)]
    loose = _loose(tokens, correction, numbers, sides, sites, earlier, near, lexicon)
    if loose is not None:
        statement, target = loose
        return [*before, replace(statement, amends=Amends("replace", cue, target)), *after]
    if correction.action == "withdraw" or (correction.sure and not near and correction.end >= len(tokens)):
        return [*before, *(_withdrawn(target, cue, tokens, correction) for target in _last_group(earlier)), *after]
    return statements


def _key(statement: Statement) -> int:
    return statement.evidence.chars[1]


def _compatible(statement: Statement, earlier: Sequence[Statement], sure: bool, lexicon: Lexicon) -> Statement | None:
    """The last statement that this one can replace."""
    for other in reversed(earlier):
        if other.concept == statement.concept and (other.kind == statement.kind) and _differs(statement, other):
            return other
    concept = lexicon.concepts.get(statement.concept)
    for other in reversed(earlier[-4:]):
        opposite = concept is not None and (other.concept in concept.opposite)
        same_place = other.region == statement.region and other.kind == statement.kind and other.site == statement.site
        if (opposite and same_place) or (sure and same_place and other is earlier[-1]):
            return other
    return None


def _differs(one: Statement, other: Statement) -> bool:
    return (one.status, one.side, one.site, one.value and one.value.text) != (
        other.status,
        other.side,
        other.site,
        other.value and other.value.text,
    )


def _loose(
    tokens: Tokens,
    correction: Correction,
    numbers: tuple[Number, ...],
    sides: tuple[SideMention, ...],
    sites: tuple[SiteUse, ...],
    earlier: Sequence[Statement],
    near: Sequence[Statement],
    lexicon: Lexicon,
) -> tuple[Statement, Statement] | None:
    """A lone number, side or place after the cue: the last statement it fits, changed in that part."""
    start, end = correction.end, correction.end + (4 if not near else 3)
    number = next((n for n in numbers if start <= n.start < end), None)
    if number is not None:
        for other in reversed(earlier):
            changed = _with_number(other, number, tokens, lexicon)
            if (
                changed is not None
                and changed.value is not None
                and changed.value.text != (other.value.text if other.value else None)
            ):
                return changed, other
    side = next((s for s in sides if start <= s.start < end), None)
    site = next((s for s in sites if start <= s.start < end + 2), None)
    last = earlier[-1]
    if site is not None and last.site is not None and site.id != last.site:
        changed = replace(
            last,
            site=site.id,
            side=side.side if side else last.side,
            amends=None,
            evidence=_seen(tokens, last, start, site.end),
        )
        return changed, last
    if side is not None and not near and last.side != side.side:
        return replace(last, side=side.side, amends=None, evidence=_seen(tokens, last, start, side.end)), last
    return None


def _with_number(statement: Statement, number: Number, tokens: Tokens, lexicon: Lexicon) -> Statement | None:
    """The statement with its value read from the number, when its slot takes the number without objection."""
    if statement.value is None:
        return None
    table = slots(lexicon)
    known = [
        table.measures.get(statement.concept) or table.scales.get(statement.concept),
        *table.concepts.get(statement.concept, ()),
    ]
    as_said = tokens.slice_text(number.start, number.end)
    for slot in known:
        taken = fit(slot, number, as_said, lexicon) if slot else None
        if taken is not None and taken.likely:
            return replace(
                statement,
                value=taken.value,
                doubts=taken.doubts,
                amends=None,
                evidence=_seen(tokens, statement, number.start, number.end),
            )
    return None


def _seen(tokens: Tokens, statement: Statement, start: int, end: int) -> Evidence:
    text = tokens.slice_text(start, end)
    return replace(
        statement.evidence, chars=(tokens.starts[start], tokens.ends[end - 1]), text=text, heard=text, words=(-1, -1)
    )


def _last_group(earlier: Sequence[Statement]) -> list[Statement]:
    """The last statement, and those said in one list with it."""
    last = earlier[-1]
    group = [last]
    for other in reversed(earlier[:-1]):
        overlap = (
            other.evidence.chars[1] >= last.evidence.chars[0] and other.evidence.utterance == last.evidence.utterance
        )
        if not overlap or other.status != last.status:
            break
        group.insert(0, other)
    return group


def _withdrawn(target: Statement, cue: str, tokens: Tokens, correction: Correction) -> Statement:
    return replace(
        target, evidence=_seen(tokens, target, correction.start, correction.end), amends=Amends("withdraw", cue, target)
    )
