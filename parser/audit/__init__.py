"""The audit: what a watchful educator at the bedside would have said after the run.

One rule family a file; each is ``check(inspection) -> remarks``. What they know stands in the lexicon
(checklist/, order, timing, sides, details, contradictions, ranges, scores, cautions).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from lexicon import Lexicon
from lexicon.schema.matching import Rule
from parser.audit import (
    cautions,
    completeness,
    confirm,
    contradiction,
    details,
    order,
    plausibility,
    ranges,
    sides,
    timing,
)
from parser.audit.checklists import wanted
from parser.audit.completeness import coverage
from parser.audit.doubt import asked, asking
from parser.audit.inspection import Inspection
from parser.audit.ranking import ranked
from parser.lookup import Lookup
from parser.record import Record, Remark
from parser.scores.compute import computed_from
from parser.scores.inputs import Inputs
from parser.settings import USUAL, Settings

Family = Callable[[Inspection], Iterator[Remark]]

#: Every family of rules, by the first word of its remarks' rule names. What rests on weakly heard words asks first
#: (:mod:`parser.audit.doubt`); the family "confirm" comes last and tells the marks that are left.
FAMILIES: tuple[tuple[str, Family], ...] = (
    ("missing", completeness.check),
    ("order", order.check),
    ("timing", timing.check),
    ("sides", sides.check),
    ("detail", details.check),
    ("contradiction", contradiction.check),
    ("implausible", plausibility.check),
    ("range", ranges.check),
    ("caution", cautions.check),
)

_NOTHING = Rule(
    why="Nothing is wrong with a quiet first try: begin at the door, say each step as you do it, then what you find.",
    say="Say for instance: “hand hygiene performed, introduced myself, name and date of birth verified”.",
    source=("C",),
)


def audit(
    record: Record, lexicon: Lexicon, checklist: str = "complete", settings: Settings = USUAL
) -> tuple[Remark, ...]:
    """All remarks on a run, heaviest first.

    A run in which nothing was found gets one kind remark. Raises ValueError for an unknown checklist.
    """
    found = inspect(record, lexicon, checklist, settings)
    if not any(hit.entry.kind != "conduct" for hit in found.lookup.found):
        heard = f"{len(record.words)} words" if record.words else "no words"
        message = f"No finding was heard in this run ({heard})."
        return (found.remark("nothing_heard", _NOTHING, message),)
    told = [asking(found, remark) for _, check in FAMILIES for remark in check(found)]
    return ranked((*told, *confirm.check(found, asked(told))))


def inspect(record: Record, lexicon: Lexicon, checklist: str = "complete", settings: Settings = USUAL) -> Inspection:
    """The view of a record that all families share."""
    lookup = Lookup.of(record, lexicon)
    inputs = Inputs(lookup, settings)
    return Inspection(record, lexicon, lookup, inputs, wanted(lexicon, checklist), settings, computed_from(inputs))


__all__ = ["FAMILIES", "audit", "coverage", "inspect"]
