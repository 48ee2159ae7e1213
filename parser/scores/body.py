"""Body mass index and body surface, from height and weight."""

from __future__ import annotations

from collections.abc import Iterator

from parser.record import Computed
from parser.scores import formulas
from parser.scores.inputs import Inputs, incomplete, result

_NAMES = ("body_mass_index", "body_surface_mosteller", "body_surface_du_bois")


def body(inputs: Inputs) -> Iterator[Computed | None]:
    """BMI and body surface; when only one of height and weight was said, what is missing."""
    height, weight = inputs.last("height", "cm"), inputs.last("weight", "kg")
    if height is None and weight is None:
        return
    if height is None or weight is None:
        known = height or weight
        assert known is not None
        yield incomplete(inputs, _NAMES[0], (known.id,), ("weight" if weight is None else "height",))
        return
    origins = (height.id, weight.id)
    yield result(inputs, _NAMES[0], formulas.body_mass_index(weight.number, height.number / 100), origins)
    yield result(inputs, _NAMES[1], formulas.body_surface_mosteller(weight.number, height.number), origins)
    yield result(inputs, _NAMES[2], formulas.body_surface_du_bois(weight.number, height.number), origins)
