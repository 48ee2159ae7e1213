"""Urine output by weight and time."""

from __future__ import annotations

import re
from collections.abc import Iterator

from parser.lookup import Found
from parser.record import Computed
from parser.scores import formulas
from parser.scores.inputs import Input, Inputs, incomplete, result

_HOURS = re.compile(r"(\d+(?:\.\d+)?)\s*(?:h|hr|hrs|hour|hours)\b")
_WORDS = {
    "an": 1.0, "one": 1.0, "last": 1.0, "past": 1.0, "per": 1.0, "two": 2.0, "three": 3.0, "four": 4.0, "five": 5.0,
    "six": 6.0, "eight": 8.0, "ten": 10.0, "twelve": 12.0,
}
_WORDED = re.compile(r"(?<!\S)(" + "|".join(_WORDS) + r")\s+hours?\b")


def urine(inputs: Inputs) -> Iterator[Computed | None]:
    """mL/kg/h of the last amount said, when weight and time are known."""
    said = inputs.last("urine_output", None)
    if said is None:
        return
    amount, hours = _amount(inputs, said), hours_said(inputs, said.found)
    weight = inputs.last("weight", "kg")
    missing = tuple(
        name for name, value in (("weight", weight), ("hours", hours), ("amount in mL", amount)) if value is None
    )
    if missing or weight is None or hours is None or amount is None:
        yield incomplete(inputs, "urine_per_kilogram", (said.id,), missing)
        return
    if hours > 0 and weight.number > 0:
        value = formulas.urine_per_kilogram(amount, hours, weight.number)
        yield result(inputs, "urine_per_kilogram", value, (said.id, weight.id), f"over {hours:g} h")


def _amount(inputs: Inputs, said: Input) -> float | None:
    for unit in ("mL", "mL/h"):
        amount = inputs.lookup.number(said.found, None, unit)
        if amount is not None:
            return amount
    return None


def hours_said(inputs: Inputs, found: Found) -> float | None:
    """The hours over which it was collected, from the unit, the qualifiers or the words around it."""
    unit = found.entry.value.unit if found.entry.value else None
    if unit and unit.endswith("/h"):
        return 1.0
    for text in (" ".join(found.entry.qualifiers).lower(), " ".join(inputs.lookup.nearby(found))):
        digits = _HOURS.search(text)
        if digits:
            return float(digits.group(1))
        worded = _WORDED.search(text)
        if worded:
            return _WORDS[worded.group(1)]
    return None
