"""Rubrics put together: a rubric with all that it takes from those it is based on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from lexicon.schema.rubric import Rubric, RubricFile

if TYPE_CHECKING:
    from lexicon.loading import Lexicon


def rubrics(lexicon: "Lexicon") -> Mapping[str, Rubric]:
    """Every rubric as written, by its id."""
    file = lexicon.files.get("rubric")
    return {rubric.id: rubric for rubric in file.rubrics} if isinstance(file, RubricFile) else {}


def chain(known: Mapping[str, Any], name: str) -> Iterator[Any]:
    """The entry and those it is based on, nearest first; ends where one is absent or comes round again."""
    seen: set[str] = set()
    here: str | None = name
    while here is not None and here in known and here not in seen:
        seen.add(here)
        yield known[here]
        here = known[here].based_on


def circle(known: Mapping[str, Any], name: str) -> str | None:
    """The circle in which an entry is based on itself, in words; None when it is not."""
    names = [entry.id for entry in chain(known, name)]
    last = known[names[-1]].based_on
    return " -> ".join((*names, last)) if last == name else None


def whole(links: Sequence[Rubric]) -> Rubric:
    """One rubric from a chain, nearest first: what the nearer gives stands; steps and stations are merged by id."""
    given: dict[str, Any] = {}
    steps: dict[str, Any] = {}
    stations: dict[str, Any] = {}
    left_out: set[str] = set()
    for rubric in reversed(links):
        given |= {name: getattr(rubric, name) for name in rubric.model_fields_set}
        steps |= {step.id: step for step in rubric.steps}
        stations |= {station.id: station for station in rubric.stations}
        left_out = (left_out - {step.id for step in rubric.steps}) | set(rubric.leave_out)
    given |= {
        "steps": tuple(step for step in steps.values() if step.id not in left_out),
        "stations": tuple(stations.values()),
        "leave_out": tuple(sorted(left_out)),
    }
    return links[0].model_copy(update=given)
