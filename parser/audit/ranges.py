"""Values against teaching ranges by age, blood-pressure categories, and bands of computed values."""

from __future__ import annotations

from collections.abc import Iterator

from lexicon.schema.matching import Rule
from lexicon.schema.scores import Range, RangesFile, Score, ScoresFile
from parser.audit.inspection import Inspection, listed, quoted
from parser.conversion import shown
from parser.lookup import STATED, Found
from parser.record import Remark
from parser.scores.news2 import news2_of
from parser.scores.pressure import postural_change
from parser.scores.tables import age_bands, band, pressure_category, pressure_table, score, table


def check(inspection: Inspection) -> Iterator[Remark]:
    """Values outside the ranges taught for the age; never a diagnosis."""
    yield from _ranges(inspection)
    yield from _pressures(inspection)
    yield from _postural(inspection)
    yield from _computed(inspection)
    yield from _news2(inspection)


def _ranges(inspection: Inspection) -> Iterator[Remark]:
    ages = {age.id: age.label for age in age_bands(inspection.lexicon, inspection.inputs.age)}
    by_measure: dict[tuple[str, str | None], list[Range]] = {}
    for rule in inspection.rules("ranges", RangesFile).ranges:
        if not ages.keys().isdisjoint(rule.ages):
            by_measure.setdefault((rule.measure, rule.part), []).append(rule)
    for (measure, part), rules in by_measure.items():
        for found in inspection.lookup.by_concept.get(measure, ()):
            fitting = _fitting(found, rules)
            if fitting is None or found.entry.status not in STATED or not inspection.inputs.believable(found):
                continue
            number = inspection.lookup.number(found, part, fitting.unit)
            if number is not None:
                age = next(label for name, label in ages.items() if name in fitting.ages)
                yield from _outside(inspection, fitting, found, number, age)


def _fitting(found: Found, rules: list[Range]) -> Range | None:
    """The range for the place that was said with the value, else the one that asks for no words."""
    said = f" {found.entry.evidence.text} {' '.join(found.entry.qualifiers)} {found.entry.site or ''} ".lower()
    special = (rule for rule in rules if rule.words and any(f" {word} " in said for word in rule.words))
    return next(special, next((rule for rule in rules if not rule.words), None))


def _outside(inspection: Inspection, rule: Range, found: Found, number: float, age: str) -> Iterator[Remark]:
    low = rule.low is not None and number < rule.low - 0.05
    high = rule.high is not None and number > rule.high + 0.05
    if not (low or high):
        return
    limits = f"{rule.low:g} to {rule.high:g}" if rule.low is not None and rule.high is not None else (
        f"at least {rule.low:g}" if rule.low is not None else f"at most {rule.high:g}"
    )
    name = f"{rule.part or ''} {found.entry.label or rule.measure}".strip().capitalize()
    message = (
        f"{name}, {quoted(found)}, is {rule.below if low else rule.above} for {age} "
        f"({limits} {shown(0, rule.unit).removeprefix('0').strip()})".rstrip() + "."
    ).replace(" )", ")")
    say = rule.say or inspection.rules("ranges", RangesFile).usual_say
    yield inspection.remark(f"range.{rule.id}", rule, message, [found], say=say)


def _pressures(inspection: Inspection) -> Iterator[Remark]:
    """The category of the reading, by the table chosen; one remark, for the highest reading."""
    found = pressure_table(inspection.lexicon, inspection.settings.pressure_table)
    if found is None or (found.ages and not inspection.inputs.ages & set(found.ages)):
        return
    readings = [(pressure_category(found, r.systolic, r.diastolic), r) for r in inspection.inputs.pressures()]
    graded = [(row, reading) for row, reading in readings if row.remark]
    if not graded:
        return
    row, reading = max(graded, key=lambda pair: found.rows.index(pair[0]))
    rule = Rule(severity=row.remark or "note", source=found.source, why=found.note)
    message = f"Blood pressure {quoted(reading.found)} is a reading in the range “{row.label}” ({found.title})."
    yield inspection.remark("range.pressure_category", rule, message, [reading.found], say=found.say or None)


def _postural(inspection: Inspection) -> Iterator[Remark]:
    change = postural_change(inspection.inputs)
    if change is not None and change.reached:
        rule = Rule(severity="attention", source=change.rule.source, say=change.rule.say)
        message = f"Pressure by posture, {change.sentence}. One pair of readings is a finding to report, no diagnosis."
        yield inspection.remark("range.orthostatic_change", rule, message, [change.before.found, change.after.found])


def _computed(inspection: Inspection) -> Iterator[Remark]:
    """Computed values, and totals that were said, in a band that is worth a remark."""
    found = {value.name: value for value in inspection.values if value.value is not None}
    for known in inspection.rules("scores", ScoresFile).scores:
        value = found.get(known.id)
        if known.id == "news2":
            continue
        if value is not None and value.value is not None:
            hits = [f for f in inspection.lookup.found if f.entry.id in value.from_]
            yield from _banded(inspection, known, value.value, hits)
        else:
            said = next((last for name in known.said_as if (last := inspection.inputs.last(name, known.unit))), None)
            if said is not None:
                yield from _banded(inspection, known, said.number, [said.found])


def _banded(inspection: Inspection, known: Score, value: float, found: list[Found]) -> Iterator[Remark]:
    bands = table(inspection.lexicon, known.bands)
    row = band(bands, value)
    if bands is not None and row is not None and row.remark is not None:
        rule = Rule(severity=row.remark, source=bands.source, why=f"Note: {known.note}." if known.note else "")
        message = f"{known.label} {shown(value, known.unit, known.decimals)}: {row.label}."
        yield inspection.remark(f"range.{known.id}", rule, message, found, say=known.say)


def _news2(inspection: Inspection) -> Iterator[Remark]:
    """What the chart asks for at this sum, or at a single 3; incomplete sets are told as such."""
    known = score(inspection.lexicon, "news2")
    said = next((value for value in inspection.values if value.name == "news2"), None)
    if known is None or said is None:
        return
    found = [f for f in inspection.lookup.found if f.entry.id in said.from_]
    scored = news2_of(inspection.inputs)
    if scored.total is None:
        if scored.threes and (row := band(table(inspection.lexicon, "news2_single"), 3)):
            rule = Rule(severity=row.remark or "attention", source=known.source)
            threes = [f for f in found if f.entry.id in {o.entry for o in scored.observed if o.points == 3}]
            missing, points = listed(scored.missing), listed(scored.threes)
            message = f"NEWS2 not summed ({missing} not heard), yet 3 points for {points}. {row.text}"
            yield inspection.remark("range.news2_part", rule, message, threes, region="vital_signs", say=known.say)
        return
    row = band(table(inspection.lexicon, "news2_response"), scored.total)
    single = band(table(inspection.lexicon, "news2_single"), 3) if scored.threes else None
    chosen = single if single and (row is None or single.rank > row.rank) else row
    if chosen is None or chosen.remark is None:
        return
    rule = Rule(severity=chosen.remark, source=known.source)
    why = f", with 3 for {listed(scored.threes)}" if scored.threes else ""
    message = f"NEWS2 {scored.total} ({scored.detail}){why}: {chosen.label}. {chosen.text}"
    yield inspection.remark("range.news2", rule, message, found, region="vital_signs", say=known.say)


