"""Plausibility: numbers that cannot be true, units that were likely confused, pressures the wrong way round.

The limits are those of measures.yaml and scales.yaml: they catch mishearing and are no clinical limits.
"""

from __future__ import annotations

from collections.abc import Iterator

from lexicon.schema.scores import Confusion, RangesFile
from parser.audit.inspection import Inspection, quoted
from parser.conversion import shown
from parser.lookup import STATED, Found
from parser.record import Remark

_PARTS = (None, "systolic", "diastolic")


def check(inspection: Inspection) -> Iterator[Remark]:
    """At most one remark an entry."""
    rules = inspection.rules("ranges", RangesFile)
    for found in inspection.lookup.found:
        if found.entry.value is not None and found.entry.status in STATED:
            remark = (
                _confused(inspection, rules, found)
                or _outside(inspection, rules, found)
                or _wrong_way_round(inspection, rules, found)
            )
            if remark is not None:
                yield remark
    yield from _body_mass(inspection, rules)


def _confused(inspection: Inspection, rules: RangesFile, found: Found) -> Remark | None:
    """A number that fits another unit than the one filed."""
    entry = found.entry
    for rule in rules.confusions:
        if rule.measure == entry.concept and entry.value is not None and entry.value.unit == rule.unit:
            number = inspection.lookup.number(found)
            if number is not None and rule.least <= number <= rule.most:
                return inspection.remark(
                    f"unit.{entry.concept}", rule, _confusion(rule, found, number), [found],
                )
    return None


def _confusion(rule: Confusion, found: Found, number: float) -> str:
    as_filed, perhaps = shown(number, rule.unit), shown(number, rule.perhaps)
    return f"{found.entry.label or found.entry.concept}: {quoted(found)} was filed as {as_filed}; was it {perhaps}?"


def _outside(inspection: Inspection, rules: RangesFile, found: Found) -> Remark | None:
    if rules.implausible is None:
        return None
    entry = found.entry
    unit = entry.value.unit if entry.value else None
    for part in _PARTS:
        number = inspection.lookup.number(found, part)
        limits = inspection.inputs.limits.of(entry.concept, part, unit)
        if number is None or limits is None or limits[0] - 0.01 <= number <= limits[1] + 0.01:
            continue
        name = f"{part} {entry.label or entry.concept}".removeprefix("None ")
        message = (
            f"{name.capitalize()} {shown(number, unit)} lies outside what can be recorded "
            f"({limits[0]:g} to {limits[1]:g}). Heard {quoted(found)}."
        )
        return inspection.remark(f"implausible.{entry.concept}", rules.implausible, message, [found])
    return None


def _wrong_way_round(inspection: Inspection, rules: RangesFile, found: Found) -> Remark | None:
    high, low = inspection.lookup.number(found, "systolic"), inspection.lookup.number(found, "diastolic")
    if rules.pressure_order is None or found.entry.concept != "blood_pressure" or high is None or low is None:
        return None
    if low < high:
        return None
    message = f"The diastolic pressure ({low:g}) is not below the systolic ({high:g}). Heard {quoted(found)}."
    return inspection.remark("implausible.blood_pressure", rules.pressure_order, message, [found])




def _body_mass(inspection: Inspection, rules: RangesFile) -> Iterator[Remark]:
    """An index that no one has: weight or height was misheard, or filed in another unit."""
    value = next((v.value for v in inspection.values if v.name == "body_mass_index"), None)
    if rules.bmi_rule is None or value is None or rules.bmi_least <= value <= rules.bmi_most:
        return
    found = [*inspection.inputs.said("weight")[-1:], *inspection.inputs.said("height")[-1:]]
    quotes = " and ".join(quoted(hit) for hit in found)
    message = f"{quotes} make a body mass index of {value:g} kg/m²; is a unit confused?"
    yield inspection.remark("unit.body_mass_index", rules.bmi_rule, message, found)
