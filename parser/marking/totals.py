"""Sums marks and tells what they propose, with every reason in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from parser.audit.inspection import listed
from parser.marking.model import Mark, StationMarks, Total
from parser.marking.rubric import MarkingRubric

#: Of all points that could be given, at least this share must have been asked for: a run in which nearly
#: everything was put off shows nothing.
_ENOUGH = 0.5


def subtotal(marks: Sequence[Mark], *, given: bool) -> tuple[float, float]:
    """Points and points possible of the marks that count; with ``given`` a person's points stand."""
    counted = [mark for mark in marks if _counts(mark, given)]
    points = sum(mark.standing if given else mark.points for mark in counted)
    return round(points, 2), round(sum(mark.possible for mark in counted), 2)


def total(stations: Sequence[StationMarks], rubric: MarkingRubric, *, given: bool = False) -> Total:
    """What the marks propose: pass only where no reason speaks against it."""
    marks = [mark for station in stations for mark in station.marks]
    points, possible = subtotal(marks, given=given)
    percent = round(100 * points / possible, 1) if possible else None
    met = tuple(mark.step for mark in marks if mark.critical and _is_met(mark, given))
    left = [mark for mark in marks if mark.critical and mark.step not in met]
    against = list(_against(stations, rubric, points, possible, left, len(met), given))
    doubts = [mark.label for mark in marks if mark.confirm and mark.points and not (given and mark.given)]
    reasons = [*_for(points, possible, percent, rubric, met), *against]
    if doubts:
        reasons.append(f"To confirm first: {listed(doubts)}.")
    return Total(
        points=points,
        possible=possible,
        percent=percent,
        critical_met=met,
        critical_open=tuple(mark.step for mark in left),
        proposal="not yet" if against else "pass",
        reasons=tuple(reasons),
    )


def _counts(mark: Mark, given: bool) -> bool:
    if given and mark.given:
        return True
    return mark.outcome not in ("not_due", "deferred") or mark.points > 0


def _is_met(mark: Mark, given: bool) -> bool:
    if given and mark.given:
        return mark.given.points >= mark.possible
    return mark.outcome in ("met", "not_due") or (mark.outcome == "deferred" and mark.points > 0)


def _for(
    points: float, possible: float, percent: float | None, rubric: MarkingRubric, met: Sequence[str]
) -> Iterator[str]:
    line = f"the rubric asks for {rubric.rubric.to_pass.percent:g} percent"
    if percent is None:
        yield f"No step of this rubric was asked for; {line}."
    else:
        yield f"{points:g} of {possible:g} points, {percent:g} percent; {line}."
    every = sum(task.critical for task in rubric.tasks)
    if every:
        yield f"{len(met)} of {every} critical steps met."


def _against(
    stations: Sequence[StationMarks], rubric: MarkingRubric, points: float, possible: float, left: Sequence[Mark],
    met: int, given: bool,
) -> Iterator[str]:
    rule, every = rubric.rubric.to_pass, sum(task.possible for task in rubric.tasks)
    if not possible or 100 * points < rule.percent * possible:
        yield "That is too few points."
    wanted = len(left) + met if rule.critical == "all" else rule.critical
    if met < wanted:
        yield f"Critical and not met: {listed([mark.label for mark in left])}."
    if possible < _ENOUGH * every:
        yield f"Only {possible:g} of {every:g} points were asked for; the rest was put off or not called for."
    for station in stations:
        got, most = subtotal(station.marks, given=given)
        if station.at_least is not None and 100 * got < station.at_least * most:
            yield f"{station.title}: {got:g} of {most:g} points; {station.at_least:g} percent are asked for."
