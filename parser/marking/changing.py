"""A person's points beside the tool's: the newest of each step stands, the earlier ones are kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from parser.marking.model import Given, Mark, Marking, Settled
from parser.marking.rubric import MarkingRubric
from parser.marking.totals import total


def with_given(
    marking: Marking, rubric: MarkingRubric, given: Sequence[Given], settled: Settled | None = None
) -> Marking:
    """The marking with a person's points, in the order in which they were given; ``total`` stays the tool's.

    Points given by another rubric are left out; by another version of this one they stand, and that is told.
    """
    ours = [one for one in given if one.rubric == rubric.id]
    by_step: dict[str, list[Given]] = {}
    for one in ours:
        by_step.setdefault(one.step, []).append(one)
    stations = tuple(
        station.model_copy(update={"marks": tuple(_mark(mark, by_step) for mark in station.marks)})
        for station in marking.stations
    )
    settled = settled if settled is not None and settled.rubric == rubric.id else None
    return marking.model_copy(
        update={
            "stations": stations,
            "standing": total(stations, rubric, given=True),
            "settled": settled,
            "notices": (*marking.notices, *_notices(marking, rubric, by_step, settled)),
        }
    )


def checked_points(points: float, mark: Mark) -> float:
    """Points that can be given for a step. Raises ValueError, in words for people."""
    if not 0 <= points <= mark.possible:
        raise ValueError(f"'{mark.label}' has 0 to {mark.possible:g} points; {points:g} cannot be given.")
    return round(points, 2)


def _mark(mark: Mark, by_step: Mapping[str, Sequence[Given]]) -> Mark:
    some = by_step.get(mark.step)
    return mark if not some else mark.model_copy(update={"given": some[-1], "before": tuple(some[:-1])})


def _notices(
    marking: Marking, rubric: MarkingRubric, by_step: Mapping[str, Sequence[Given]], settled: Settled | None
) -> Iterator[str]:
    marks = marking.marks()
    for step, some in by_step.items():
        if step not in marks:
            yield f"Points were given for '{step}', which this rubric does not mark now; they are kept, not counted."
            continue
        last, mark = some[-1], marks[step]
        if last.proposed != mark.points:
            then = f"{last.proposed:g} was proposed when {last.by} gave {last.points:g}"
            yield f"{mark.label}: {then}; now {mark.points:g}."
        if last.points > mark.possible:
            yield f"{mark.label}: {last.points:g} was given; the step now has {mark.possible:g} points."
    made = {one.rubric_version for some in by_step.values() for one in some[-1:]}
    made |= {settled.rubric_version} if settled else set()
    if made - {rubric.version}:
        yield f"Some points were given by another version of the rubric '{rubric.id}'."
