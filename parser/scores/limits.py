"""Limits of what can be true of a value, as the measures and scales of the lexicon give them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from lexicon import Lexicon
from lexicon.schema.measures import MeasuresFile, ScalesFile
from parser.conversion import convert


@dataclass(frozen=True, slots=True)
class Limits:
    """(concept, part) -> unit -> (least, most); the unit None holds for a number without one."""

    table: Mapping[tuple[str, str | None], Mapping[str | None, tuple[float, float]]]

    def of(self, concept: str, part: str | None, unit: str | None) -> tuple[float, float] | None:
        """Least and most in ``unit``, converted where the lexicon gives another; None when nothing is known."""
        rules = self.table.get((concept, part))
        if not rules:
            return None
        if unit in rules:
            return rules[unit]
        code, (least, most) = next(iter(rules.items()))
        low, high = convert(least, code, unit), convert(most, code, unit)
        return (low, high) if low is not None and high is not None else None


def limits_of(lexicon: Lexicon) -> Limits:
    """The limits of every measure and scale."""
    table: dict[tuple[str, str | None], dict[str | None, tuple[float, float]]] = {}
    measures = lexicon.files.get("measures")
    for measure in measures.measures if isinstance(measures, MeasuresFile) else ():
        if measure.units and not measure.parts:
            table[(measure.id, None)] = {unit.code: (unit.least, unit.most) for unit in measure.units}
        for part in measure.parts:
            code = measure.units[0].code if measure.units else None
            table[(measure.id, part.id)] = {code: (part.least, part.most)}
    scales = lexicon.files.get("scales")
    for scale in scales.scales if isinstance(scales, ScalesFile) else ():
        table[(scale.id, None)] = {scale.unit: (scale.least, scale.most)}
    return Limits(table)
