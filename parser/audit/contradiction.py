"""Contradictions within and between stations. Corrections are no contradictions, nor is change over time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lexicon.schema.audit import ContradictionsFile, Unequal
from lexicon.schema.matching import Rule
from parser.audit.inspection import Inspection, quoted
from parser.lookup import Found
from parser.record import Remark
from parser.scores.tables import score

_SO = ("present", "normal")
#: Sides on which two findings cannot meet.
_APART = ({"left", "right"},)


def check(inspection: Inspection) -> Iterator[Remark]:
    """Pairs of statements that cannot both be so."""
    rules = inspection.rules("contradictions", ContradictionsFile)
    yield from _ruled(inspection, rules)
    if rules.both_ways is not None:
        yield from _both_ways(inspection, rules, rules.both_ways)
        yield from _kinds(inspection, rules, rules.both_ways)
    if rules.opposites is not None:
        yield from _opposites(inspection, rules, rules.opposites)
    for unequal in rules.unequal:
        yield from _unequal(inspection, unequal)
    if rules.totals is not None:
        yield from _totals(inspection, rules.totals)


def _ruled(inspection: Inspection, rules: ContradictionsFile) -> Iterator[Remark]:
    for rule in rules.contradictions:
        others = inspection.lookup.find(rule.other, _SO) if rule.one else ()
        pair = next(
            (
                (one, other)
                for one in inspection.lookup.find(rule.one, _SO)
                for other in others
                if one.place != other.place
                and (not rule.place or same_place(inspection, one, other))
                and not _changed(inspection, rules, one, other)
            ),
            None,
        )
        if pair:
            yield _remark(inspection, f"contradiction.{rule.id}", rule, rule.message, pair)


def _both_ways(inspection: Inspection, rules: ContradictionsFile, rule: Rule) -> Iterator[Remark]:
    """The same finding said absent and present of one place."""
    for concept, found in inspection.lookup.by_concept.items():
        if concept in rules.exempt or len(found) < 2:
            continue
        absent = _places(f for f in found if f.entry.status == "absent")
        present = _places(f for f in found if f.entry.status in _SO)
        pair = _meeting(inspection, rules, absent, present, strict=False)
        if pair:
            label = pair[0].entry.label or concept
            yield _remark(
                inspection, f"contradiction.{concept}", rule, f"{label.capitalize()} was said absent and present.", pair
            )


def _kinds(inspection: Inspection, rules: ContradictionsFile, rule: Rule) -> Iterator[Remark]:
    """Something said absent, and a kind of it said present ("no murmur", "systolic murmur")."""
    for family in rules.kinds:
        general = inspection.lookup.by_concept.get(family.id, [])
        special = [f for name in family.of for f in inspection.lookup.by_concept.get(name, ())]
        absent = _places(f for f in general if f.entry.status == "absent")
        present = _places(f for f in special if f.entry.status in _SO)
        pair = _meeting(inspection, rules, absent, present, strict=False)
        if pair:
            labels = [found.entry.label or found.entry.concept for found in pair]
            message = f"{labels[0].capitalize()} was said absent, yet {labels[1]} present."
            yield _remark(inspection, f"contradiction.{family.id}", rule, message, pair)


def _opposites(inspection: Inspection, rules: ContradictionsFile, rule: Rule) -> Iterator[Remark]:
    """Two findings of one place that exclude each other."""
    done: set[frozenset[str]] = set()
    for concept, found in inspection.lookup.by_concept.items():
        known = inspection.lexicon.concepts.get(concept)
        for other in known.opposite if known else ():
            names = frozenset((concept, other))
            if names in done or other not in inspection.lookup.by_concept or names & set(rules.exempt):
                continue
            done.add(names)
            one = _places(f for f in found if f.entry.status in _SO)
            two = _places(f for f in inspection.lookup.by_concept[other] if f.entry.status in _SO)
            pair = _meeting(inspection, rules, one, two, strict=True)
            if pair:
                labels = " and ".join(f.entry.label or f.entry.concept for f in pair)
                message = f"{labels.capitalize()} were said of the same place."
                yield _remark(inspection, f"contradiction.{concept}", rule, message, pair)


def _places(found: Iterable[Found]) -> list[Found]:
    """The first entry of each place, so that pairs are few however long the run is."""
    firsts: dict[tuple[str, str | None, str | None, tuple[str, ...]], Found] = {}
    for hit in found:
        firsts.setdefault((hit.region, hit.entry.site, hit.entry.side, hit.entry.qualifiers), hit)
    return list(firsts.values())


def _meeting(
    inspection: Inspection, rules: ContradictionsFile, ones: list[Found], others: list[Found], strict: bool
) -> tuple[Found, Found] | None:
    for one in ones:
        for other in others:
            if (
                same_place(inspection, one, other, strict)
                and not _narrower(one, other)
                and not _changed(inspection, rules, one, other)
            ):
                return one, other
    return None


def same_place(inspection: Inspection, one: Found, other: Found, strict: bool = False) -> bool:
    """Whether two entries can be about one place: sides meet, one site holds the other.

    An entry without a site speaks of its whole station; ``strict`` then wants both without.
    """
    if {one.entry.side, other.entry.side} in _APART:
        return False
    a, b = one.entry.site, other.entry.site
    if a is not None and b is not None:
        lookup = inspection.lookup
        above_a, above_b = lookup.ancestors(a), lookup.ancestors(b)
        return any(name in above_b for name in lookup.named(a)) or any(name in above_a for name in lookup.named(b))
    return one.region == other.region and (not strict or a is b)


def _narrower(absent: Found, present: Found) -> bool:
    """"No pitting edema" does not deny edema: what is denied has words the other has not."""
    return absent.entry.status == "absent" and not set(absent.entry.qualifiers) <= set(present.entry.qualifiers)


def _changed(inspection: Inspection, rules: ContradictionsFile, one: Found, other: Found) -> bool:
    later = max(one, other, key=lambda found: found.place)
    return inspection.lookup.said_with(later, rules.changes)


def _remark(inspection: Inspection, name: str, rule: Rule, message: str, pair: tuple[Found, Found]) -> Remark:
    first, second = sorted(pair, key=lambda found: found.place)
    text = f"{message} Heard {quoted(first)} and {quoted(second)}."
    return inspection.remark(name, rule, text, [first, second])


def _unequal(inspection: Inspection, rule: Unequal) -> Iterator[Remark]:
    equal = inspection.lookup.first(rule.equal, _SO)
    numbers: dict[str, tuple[float, Found]] = {}
    for found in inspection.lookup.find(rule.values, _SO):
        number = inspection.lookup.number(found)
        if found.entry.side in ("left", "right") and number is not None:
            numbers[found.entry.side] = (number, found)
    if equal is None or len(numbers) < 2:
        return
    (left, at_left), (right, at_right) = numbers["left"], numbers["right"]
    if abs(left - right) >= rule.by - 1e-9:
        text = f"{rule.message} Heard {quoted(equal)}, yet left {left:g} and right {right:g}."
        yield inspection.remark(f"contradiction.{rule.id}", rule, text, [equal, at_left, at_right])


def _totals(inspection: Inspection, rule: Rule) -> Iterator[Remark]:
    """A total that was said beside parts that sum to another."""
    for value in inspection.values:
        known = score(inspection.lexicon, value.name)
        if known is None or value.value is None:
            continue
        for concept in known.said_as:
            for found in inspection.inputs.said(concept):
                number = inspection.lookup.number(found, None, known.unit if known.unit != "{score}" else None)
                apart = number is not None and abs(number - value.value) > known.tolerance + 1e-9
                if apart and found.entry.id not in value.from_:
                    text = f"{known.label}: {quoted(found)}, but what was said makes {value.value:g}."
                    yield inspection.remark(f"contradiction.{value.name}", rule, text, [found])
                    break
