"""NEWS2: points of each observation, the sum only when all seven are there, and what the chart asks for.

Royal College of Physicians 2017 (RCP2017); bands are data in scores.yaml. Scale 2 for saturation is used
only when the settings say so: it is never inferred.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from parser.record import Computed
from parser.scores.inputs import Input, Inputs, incomplete, result
from parser.scores.tables import band, scores_of, table

_MEASURES = (
    ("respiratory_rate", "/min", "news2_respiration", "respirations"),
    ("systolic", "mm[Hg]", "news2_systolic", "systolic pressure"),
    ("heart_rate", "/min", "news2_pulse", "pulse"),
    ("temperature", "Cel", "news2_temperature", "temperature"),
)


@dataclass(frozen=True, slots=True)
class Observed:
    """One observation of the score: its name, points and the entry it comes from."""

    name: str
    points: int
    entry: str


@dataclass(frozen=True, slots=True)
class News2:
    """All observations that were said, and the names of those that were not."""

    observed: tuple[Observed, ...]
    missing: tuple[str, ...]

    @property
    def total(self) -> int | None:
        return None if self.missing else sum(o.points for o in self.observed)

    @property
    def threes(self) -> tuple[str, ...]:
        """Observations that score 3 by themselves."""
        return tuple(o.name for o in self.observed if o.points == 3)

    @property
    def detail(self) -> str:
        return ", ".join(f"{o.name} {o.points}" for o in self.observed)


def news2_of(inputs: Inputs) -> News2:
    """What was said of the seven observations."""
    oxygen = _oxygen(inputs)
    said: list[tuple[str, Observed | None]] = []
    for concept, unit, name, label in _MEASURES:
        number = inputs.systolic() if concept == "systolic" else inputs.last(concept, unit)
        said.append((label, _observed(inputs, number, (name, label))))
    scale = inputs.settings.news2_scale
    on_oxygen = None if oxygen is None else oxygen.points > 0
    saturation = inputs.last("spo2", "%") if scale == 1 or on_oxygen is not None else None
    said.append(("saturation", _observed(inputs, saturation, (f"news2_spo2_{scale}", "saturation"), on_oxygen)))
    said += [("air or oxygen", oxygen), ("consciousness", _consciousness(inputs))]
    found = tuple(observed for _, observed in said if observed is not None)
    return News2(found, tuple(label for label, observed in said if observed is None))


def news2(inputs: Inputs) -> Iterator[Computed | None]:
    """The aggregate score, or the list of what is missing once two observations were said."""
    score = news2_of(inputs)
    origins = tuple(dict.fromkeys(o.entry for o in score.observed))
    if score.total is not None:
        single = f"; a single 3 ({', '.join(score.threes)})" if score.threes else ""
        note = f"{score.detail}{single}; saturation scale {inputs.settings.news2_scale}"
        yield result(inputs, "news2", score.total, origins, note)
    elif len(score.observed) >= 2:
        note = f"not summed: {', '.join(score.missing)} not heard; so far {score.detail}"
        yield incomplete(inputs, "news2", origins, score.missing, note)


def _observed(
    inputs: Inputs, number: Input | None, names: tuple[str, str], oxygen: bool | None = None
) -> Observed | None:
    """The points of a number by the table ``names[0]``; ``names[1]`` is how it is called."""
    row = band(table(inputs.lexicon, names[0]), number.number, oxygen) if number else None
    return Observed(names[1], row.points, number.id) if number and row and row.points is not None else None


def _oxygen(inputs: Inputs) -> Observed | None:
    seen = _observation(inputs, "air_or_oxygen")
    if seen is None:
        return None
    value, entry = seen
    return Observed("oxygen" if value == "oxygen" else "air", 2 if value == "oxygen" else 0, entry)


def _consciousness(inputs: Inputs) -> Observed | None:
    seen = _observation(inputs, "consciousness")
    return Observed("consciousness", 0 if seen[0] == "alert" else 3, seen[1]) if seen else None


def _observation(inputs: Inputs, score: str) -> tuple[str, str] | None:
    """The value of the first observation of the lexicon that was said, and its entry."""
    for observation in scores_of(inputs.lexicon).observations:
        if observation.score == score:
            hits = inputs.lookup.find(observation.any)
            if hits:
                return observation.value, hits[-1].entry.id
    return None
