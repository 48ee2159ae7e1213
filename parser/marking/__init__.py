"""Marking: points by a rubric for each station and step, with the words that show them.

Marks are proposals; a person decides. A person's points stand beside the tool's (:mod:`parser.marking.changing`).
"""

from __future__ import annotations

from collections.abc import Sequence

from parser.citing import cite
from parser.lookup import Lookup
from parser.marking.changing import with_given
from parser.marking.judging import Judge
from parser.marking.model import Given, Mark, Marking, RubricInfo, Settled, StationMarks
from parser.marking.rubric import MarkingRubric, rubric_of
from parser.marking.totals import subtotal, total
from parser.record import Record, Remark

__all__ = ["Given", "Mark", "Marking", "MarkingRubric", "Settled", "mark", "rubric_of", "with_given"]


def mark(record: Record, remarks: Sequence[Remark], rubric: MarkingRubric) -> Marking:
    """The marks proposed for a record and the remarks of its audit. Pure; linear in the entries and steps."""
    judge = Judge(record, Lookup.of(record, rubric.lexicon), remarks, rubric.rubric.share, rubric.rubric.deferred)
    by_station: dict[str, list[Mark]] = {station: [] for station in rubric.stations}
    for task in rubric.tasks:
        by_station[task.station].append(judge.mark(task))
    stations = tuple(_station(rubric, name, tuple(marks)) for name, marks in by_station.items() if marks)
    summed = total(stations, rubric)
    return Marking(
        run=record.run.id,
        source=record.run.source,
        rubric=RubricInfo(
            id=rubric.id,
            title=rubric.rubric.title,
            version=rubric.version,
            checklist=rubric.rubric.checklist,
            percent=rubric.rubric.to_pass.percent,
            source=cite(rubric.lexicon, rubric.rubric.source),
        ),
        stations=stations,
        total=summed,
        standing=summed,
    )


def _station(rubric: MarkingRubric, name: str, marks: tuple[Mark, ...]) -> StationMarks:
    known = rubric.lexicon.regions.get(name)
    points, possible = subtotal(marks, given=False)
    return StationMarks(
        region=name,
        title=known.title if known else name,
        points=points,
        possible=possible,
        marks=marks,
        at_least=rubric.at_least(name),
    )
