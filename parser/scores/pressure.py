"""Values from blood pressure: mean arterial and pulse pressure, shock index, the change on standing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from lexicon.schema.scores import Postural
from parser.record import Computed
from parser.scores import formulas
from parser.scores.inputs import Inputs, Pressure, result
from parser.scores.tables import scores_of


def pressures(inputs: Inputs) -> Iterator[Computed | None]:
    """Mean arterial and pulse pressure of each reading."""
    readings = inputs.pressures()
    for reading in readings:
        high, low, origin = reading.systolic, reading.diastolic, (reading.found.entry.id,)
        note = f"of {high:g}/{low:g}" if len(readings) > 1 else ""
        yield result(inputs, "mean_arterial_pressure", formulas.mean_arterial_pressure(high, low), origin, note)
        yield result(inputs, "pulse_pressure", formulas.pulse_pressure(high, low), origin, note)


def shock_index(inputs: Inputs) -> Iterator[Computed | None]:
    """Heart rate over systolic pressure, from the last of each."""
    rate, systolic = inputs.last("heart_rate", "/min"), inputs.systolic()
    if rate is not None and systolic is not None and systolic.number > 0:
        yield result(
            inputs, "shock_index", formulas.shock_index(rate.number, systolic.number), (rate.id, systolic.id)
        )


@dataclass(frozen=True, slots=True)
class PosturalChange:
    """Two readings in two postures, and whether the fall reaches the limit of the rule (mm[Hg])."""

    rule: Postural
    before: Pressure
    after: Pressure

    @property
    def fall(self) -> tuple[float, float]:
        return self.before.systolic - self.after.systolic, self.before.diastolic - self.after.diastolic

    @property
    def reached(self) -> bool:
        systolic, diastolic = self.fall
        return systolic >= self.rule.systolic or diastolic >= self.rule.diastolic

    @property
    def sentence(self) -> str:
        systolic, diastolic = self.fall
        return (
            f"{self.before.systolic:g}/{self.before.diastolic:g} to {self.after.systolic:g}/{self.after.diastolic:g}: "
            f"systolic {-systolic:+g}, diastolic {-diastolic:+g}; a fall of {self.rule.systolic:g} systolic or "
            f"{self.rule.diastolic:g} diastolic is {'reached' if self.reached else 'not reached'}"
        )


def orthostatic(inputs: Inputs) -> Iterator[Computed | None]:
    """The change of systolic pressure between two postures, for the first pair that was said."""
    change = postural_change(inputs)
    if change is not None:
        origins = (change.before.found.entry.id, change.after.found.entry.id)
        yield result(inputs, "orthostatic_change", -change.fall[0], origins, change.sentence)


def postural_change(inputs: Inputs) -> PosturalChange | None:
    """The first pair of postures, by the rules of the lexicon in their order."""
    for rule in scores_of(inputs.lexicon).postural:
        pair = posture_pair(inputs, rule)
        if pair is not None:
            return PosturalChange(rule, *pair)
    return None


def posture_pair(inputs: Inputs, rule: Postural) -> tuple[Pressure, Pressure] | None:
    """The last reading in a posture of ``before`` and the first after it in a posture of ``after``."""
    earlier: Pressure | None = None
    for reading in inputs.pressures():
        posture = _posture(inputs, reading)
        if any(word in posture for word in rule.before):
            earlier = reading
        elif earlier is not None and any(word in posture for word in rule.after):
            return earlier, reading
    return None


def _posture(inputs: Inputs, reading: Pressure) -> str:
    measure = inputs.lookup.measures.get(reading.found.entry.id)
    position = measure.position if measure and measure.position else ""
    return f"{position} {reading.position}".strip() or reading.found.entry.evidence.text.lower()
