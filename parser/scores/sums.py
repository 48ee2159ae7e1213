"""Scores that are sums of graded parts: Glasgow Coma Scale, Braden scale. Incomplete sets are listed, not summed."""

from __future__ import annotations

from collections.abc import Iterator

from lexicon.schema.scores import Part
from parser.record import Computed
from parser.scores.inputs import Input, Inputs, incomplete, result
from parser.scores.tables import scores_of


def sums(inputs: Inputs) -> Iterator[Computed | None]:
    """Every summed score of the lexicon of which at least two parts were said."""
    by_score: dict[str, list[Part]] = {}
    for part in scores_of(inputs.lexicon).parts:
        by_score.setdefault(part.score, []).append(part)
    for name, parts in by_score.items():
        said = [(part, part_said(inputs, part)) for part in parts]
        known = [(part, number) for part, number in said if number is not None]
        if len(known) < 2:
            continue
        origins = tuple(dict.fromkeys(number.id for _, number in known))
        missing = tuple(part.label for part, number in said if number is None)
        detail = ", ".join(f"{part.label} {number.number:g}" for part, number in known)
        if missing:
            yield incomplete(
                inputs, name, origins, missing, f"not summed: {', '.join(missing)} not heard; so far {detail}"
            )
        else:
            yield result(inputs, name, sum(number.number for _, number in known), origins, detail)


def part_said(inputs: Inputs, part: Part) -> Input | None:
    """The last number said for a part, or the number that words for it stand for; None outside its limits."""
    for concept in part.concepts:
        for found in reversed(inputs.said(concept)):
            number = inputs.lookup.number(found)
            if number is not None and part.least <= number <= part.most and number == int(number):
                return Input(number, found)
    for worded in part.words:
        hits = inputs.lookup.find(worded.any)
        if hits:
            return Input(worded.points, hits[-1])
    return None
