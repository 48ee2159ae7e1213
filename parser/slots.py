"""How a number is read for a slot: which of its readings is meant, and whether it is believed.

The slot decides the reading; its limits decide whether it is doubted. What is left uncertain becomes a
doubt in words. Nothing is changed or dropped.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from lexicon import Lexicon
from lexicon.schema.measures import Scale, UnitRule
from parser.grammar import grammar, number_text
from parser.layers import Number, Reading
from parser.slot_tables import Slot, Slots, slots
from parser.statements import Value

__all__ = ["Fit", "Slot", "Slots", "amount", "fit", "slots"]

_TEMPERATURE = ("[degF]", "Cel")


@dataclass(frozen=True, slots=True)
class Fit:
    """One reading taken by a slot; ``cost`` is 0 when nothing speaks against it."""

    value: Value
    cost: float
    doubts: tuple[str, ...] = ()
    other: str | None = None
    likely: bool = True


def fit(slot: Slot, number: Number, as_said: str, lexicon: Lexicon) -> Fit | None:
    """The best reading of ``number`` for ``slot``, or None when no reading has a shape it takes.

    A second reading that is as plausible is named in ``other`` and makes a doubt.
    """
    fits: list[tuple[int, Fit]] = []
    for reading in number.readings:
        shape = reading.shape
        if shape not in slot.shapes or (not slot.tenths and _is_tenths(number, reading)):
            continue
        taken = _take(slot, reading, as_said, lexicon)
        if taken is not None:
            fits.append((_rank(slot, shape), taken))
    if not fits:
        return None
    fits.sort(key=lambda pair: (pair[1].cost >= 1, pair[0]))
    best = fits[0][1]
    rivals = [rival for _, rival in fits[1:] if rival.cost < 1 and rival.likely and not _same_digits(best, rival)]
    if rivals and slot.kind != "slot" and best.cost < 1 and best.value.text[-1] != '"':
        doubt = f"could be {best.value.text} or {rivals[0].value.text}"
        return Fit(best.value, best.cost, (*best.doubts, doubt), rivals[0].value.text)
    return best


def _rank(slot: Slot, shape: str) -> int:
    """Shapes in the order of the slot; wholes and decimals are told apart by the reading's own order."""
    if shape in ("integer", "decimal"):
        return min(slot.shapes.index(kind) for kind in ("integer", "decimal") if kind in slot.shapes)
    return slot.shapes.index(shape)


def _is_tenths(number: Number, reading: Reading) -> bool:
    """100.4 for "a hundred and four": said so of temperatures alone."""
    whole = number.readings[0].text
    return reading.shape == "decimal" and len(whole) == 3 and reading.text == f"{whole[0]}00.{whole[2]}"


def _same_digits(best: Fit, rival: Fit) -> bool:
    """ "one twenty" as 1.20 is no rival of 120."""
    if best.value.number is not None and best.value.number == rival.value.number:
        return True
    first, second = best.value.text.strip("+"), rival.value.text.strip("+")
    return first == second or (second.replace(".", "") == first and len(second.partition(".")[2]) == 2)


def _take(slot: Slot, reading: Reading, as_said: str, lexicon: Lexicon) -> Fit | None:
    if slot.scale is not None:
        return _take_grade(slot.scale, reading, as_said)
    if slot.kind == "slot":
        return _take_kind(slot, reading, as_said, lexicon)
    if reading.shape == "pair":
        return _take_pair(slot, reading, as_said)
    if slot.parts:
        taken = _take_measure(slot, reading, as_said, lexicon)
        names = " and ".join(part.label for part in slot.parts)
        return taken and replace(
            taken, cost=taken.cost + 1.0, doubts=(*taken.doubts, f"one number where {names} are expected")
        )
    return _take_measure(slot, reading, as_said, lexicon)


# -- measures ------------------------------------------------------------------------------------


def _take_measure(slot: Slot, reading: Reading, as_said: str, lexicon: Lexicon) -> Fit | None:
    number, code = amount(reading)
    if reading.shape in ("height", "stones", "pounds_ounces"):
        return Fit(Value(reading.text, as_said, number, unit=code), 0.0)
    code = None if code == "deg" and any(rule.code in _TEMPERATURE for rule in slot.units) else code
    values = reading.numbers[:2]
    if code is not None:
        rule = next((rule for rule in slot.units if rule.code == code), None)
        if rule is None:
            return _other_unit(slot, reading, as_said, lexicon)
        fine = all(rule.least <= value <= rule.most for value in values)
        doubts = () if fine else (_outside(slot, reading, rule),)
        likely = all(rule.likely[0] <= value <= rule.likely[1] for value in values)
        return Fit(
            Value(reading.text, as_said, number, unit=rule.stands_for or code),
            0.0 if fine else 1.0,
            _approximate(reading) + doubts,
            likely=likely,
        )
    return _without_unit(slot, reading, values, as_said)


def _without_unit(slot: Slot, reading: Reading, values: tuple[float, ...], as_said: str) -> Fit:
    number, _ = amount(reading)
    if not slot.units:
        return Fit(Value(reading.text, as_said, number), 0.0, _approximate(reading))
    possible = [rule for rule in slot.units if all(rule.least <= value <= rule.most for value in values)]
    likely = [rule for rule in slot.units if all(rule.likely[0] <= value <= rule.likely[1] for value in values)]
    chosen = likely or [rule for rule in possible if rule.likely[0] < 1000 or len(slot.units) == 1]
    if not chosen:
        rule = slot.units[0]
        return Fit(Value(reading.text, as_said, number), 1.0, (_outside(slot, reading, rule),), likely=False)
    doubts = _approximate(reading)
    if len(chosen) > 1 or not likely:
        doubts += (f"unit not said: {' or '.join(rule.code for rule in chosen)}",)
    unit = (chosen[0].stands_for or chosen[0].code) if len(chosen) == 1 and likely else None
    return Fit(Value(reading.text, as_said, number, unit=unit), 0.0 if likely else 0.3, doubts, likely=bool(likely))


def _other_unit(slot: Slot, reading: Reading, as_said: str, lexicon: Lexicon) -> Fit | None:
    """A unit that the measure does not name but that measures the same: kept as said, limits checked by conversion."""
    from parser.units import UnitError, convert

    tables = grammar(lexicon).unit_by_code
    said = tables.get(reading.unit or "")
    rule = next((r for r in slot.units if said and r.code in tables and tables[r.code].kind == said.kind), None)
    if rule is None or reading.unit is None:
        return None
    try:
        converted = convert(reading.numbers[0], reading.unit, rule.code, lexicon)
    except UnitError:
        return None
    number, _ = amount(reading)
    fine = rule.least <= converted <= rule.most
    doubts = () if fine else (_outside(slot, reading, rule),)
    return Fit(Value(reading.text, as_said, number, unit=reading.unit), 0.2 if fine else 1.2, doubts)


def _take_pair(slot: Slot, reading: Reading, as_said: str) -> Fit | None:
    if len(slot.parts) < 2 or (reading.unit and all(rule.code != reading.unit for rule in slot.units)):
        return None
    each = len(reading.numbers) // 2 or 1
    doubts = [
        f"{part.label} {number_text(value)} is outside what is plausible"
        f" ({number_text(part.least)} to {number_text(part.most)})"
        for part, values in zip(slot.parts, (reading.numbers[:each], reading.numbers[each:]), strict=False)
        for value in values
        if not part.least <= value <= part.most
    ]
    pair = (reading.numbers[0], reading.numbers[1]) if len(reading.numbers) == 2 else None
    if pair and pair[0] <= pair[1]:
        doubts.append(
            f"{slot.parts[0].label} {number_text(pair[0])} is not above {slot.parts[1].label} {number_text(pair[1])}"
        )
    value = Value(reading.text, as_said, pair=pair, unit=slot.units[0].code if slot.units else None)
    return Fit(value, 1.0 if doubts else 0.0, tuple(doubts))


def _outside(slot: Slot, reading: Reading, rule: UnitRule) -> str:
    value = reading.numbers[0] if reading.numbers else 0.0
    unit = reading.unit or ""
    for other in slot.units:
        if reading.unit and other.code != reading.unit and other.least <= value <= other.most:
            return f"{slot.label} {reading.text} {unit} is not plausible; was {other.code} meant?"
    return (
        f"{slot.label} {reading.text} {unit}".rstrip()
        + f" is outside what is plausible ({number_text(rule.least)} to {number_text(rule.most)} {rule.code})"
    )


def _approximate(reading: Reading) -> tuple[str, ...]:
    return ("said only roughly",) if reading.shape == "decade" else ()


def amount(reading: Reading) -> tuple[float | None, str | None]:
    """The single number of a reading in its unit, or None where there is none: (69, "[in_i]") for 5'9"."""
    numbers = reading.numbers
    if reading.shape == "height":
        return numbers[0] * 12 + numbers[1], "[in_i]"
    if reading.shape == "stones":
        return numbers[0] * 14 + numbers[1], "[lb_av]"
    if reading.shape == "pounds_ounces":
        return round(numbers[0] + numbers[1] / 16, 4), "[lb_av]"
    if reading.shape in ("range", "comparator", "decade", "pair", "size", "acuity", "ratio", "date", "clock"):
        return None, reading.unit
    return (numbers[0] if numbers else None), reading.unit


# -- scales --------------------------------------------------------------------------------------


def _take_grade(scale: Scale, reading: Reading, as_said: str) -> Fit | None:
    unit = reading.unit
    if unit is not None and unit != scale.unit:
        depth = scale.unit is None and "size" in scale.shapes and unit in ("mm", "cm")
        return Fit(Value(reading.text, as_said, reading.numbers[0], unit=unit), 0.2) if depth else None
    if reading.shape == "gcs":
        total = sum(reading.numbers) if len(reading.numbers) == 3 else None
        return Fit(Value(reading.text, as_said, total), 0.0)
    if reading.shape in ("decimal", "size") and scale.kind == "grade":
        return None
    doubts: list[str] = []
    text, number = _grade_text(scale, reading)
    if reading.shape == "integer" and not scale.bare and number:
        doubts.append(f"said without a grade mark; read as {text}")
    if reading.shape == "score" and scale.out_of and reading.numbers[-1] != scale.out_of:
        doubts.append(f"{scale.label} is on {scale.out_of}, said {reading.text}")
    values = reading.numbers[:-1] if reading.shape == "score" and scale.kind == "grade" else reading.numbers
    if reading.shape in ("acuity", "ratio", "pair"):
        values = ()
    cost = 0.4 if doubts else 0.0
    if not all(scale.least <= value <= scale.most for value in values):
        doubts.append(
            f"{scale.label} {text} is outside the scale ({number_text(scale.least)} to {number_text(scale.most)})"
        )
        cost = 1.0
    return Fit(Value(text, as_said, number, unit=scale.unit), cost, tuple(doubts))


def _grade_text(scale: Scale, reading: Reading) -> tuple[str, float | None]:
    single = len(reading.numbers) == 1 or (reading.shape in ("score", "grade") and bool(reading.numbers))
    number = reading.numbers[0] if single else None
    if reading.shape in ("range", "comparator", "acuity", "ratio", "pair"):
        return reading.text, None
    if reading.shape == "grade" and "-" in reading.text[1:-1]:
        return reading.text, None
    if reading.shape == "score" and len(reading.numbers) == 3:
        return reading.text, None
    if reading.shape == "stage" and scale.written.split("{")[0].strip() == "stage":
        return reading.text, number
    if number == 0 and reading.shape in ("integer", "grade") and scale.written == "{n}+":
        return "0", 0.0
    if reading.shape in ("integer", "stage", "times") and number is not None:
        return scale.written.replace("{n}", number_text(number)), number
    if reading.shape == "grade" and scale.out_of and number is not None:
        return f"{reading.text}/{scale.out_of}", number
    return reading.text, number


# -- kinds of number -----------------------------------------------------------------------------


def _take_kind(slot: Slot, reading: Reading, as_said: str, lexicon: Lexicon) -> Fit | None:
    code = reading.unit
    code = dict(slot.stands_for).get(code or "", code)
    unit = grammar(lexicon).unit_by_code.get(code or "")
    if unit is not None and unit.kind not in slot.unit_kinds:
        return None
    if unit is None and slot.unit_needed and reading.shape != "size":
        return None
    if slot.label == "size" and unit is None and reading.shape != "size":
        return None
    number, _ = amount(reading)
    return Fit(Value(reading.text, as_said, number, unit=code or slot.unit), 0.9 if slot.spare else 0.4)
