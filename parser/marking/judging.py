"""Judges one step of a rubric: whether it was heard, what shows it, and what the audit holds against it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lexicon.schema.matching import Match
from lexicon.schema.rubric import Deferred
from parser.audit.checklists import checklist_file
from parser.audit.inspection import listed, quoted
from parser.lookup import CURRENT, Found, Lookup
from parser.marking.model import Held, Mark, Outcome, Shown
from parser.marking.rubric import Task
from parser.record import Record, Remark

#: Entries told as evidence of one step at most.
_MOST = 6
_DONE = tuple(status for status in CURRENT if status != "not_assessed")


@dataclass(frozen=True, slots=True)
class _Heard:
    found: tuple[Found, ...]
    absent: tuple[str, ...]


class Judge:
    """Marks the steps of one run."""

    def __init__(
        self, record: Record, lookup: Lookup, remarks: Sequence[Remark], share: float, deferred: Deferred
    ) -> None:
        self.lookup = lookup
        self.remarks = remarks
        self.share = share
        self.deferred = deferred
        self.put_off = _deferred_stations(lookup)
        self.settled = {a.supersedes for a in record.amendments if a.kind == "confirmation"}

    def mark(self, task: Task) -> Mark:
        """The mark proposed for a step, with its evidence."""
        if task.when and self.lookup.first(task.when, CURRENT) is None:
            return self._made(task, "not_due", 0.0, "not called for: nothing was said that asks for it")
        heard = self._heard(task)
        if not heard.found:
            off = self._said_off(task)
            return self._put_off(task, off) if off else self._made(task, "not_met", 0.0, "not heard")
        against = self._against(task.unless, heard.found)
        if against:
            return self._made(task, "not_met", 0.0, "heard, but not as it is taught", heard.found, against)
        less = self._against(task.part, heard.found)
        if heard.absent:
            why = f"heard in part: not {listed(heard.absent, 'or')}"
            return self._made(task, "part", task.possible * self.share, why, heard.found, less)
        if less:
            return self._made(task, "part", task.possible * self.share, "heard in part", heard.found, less)
        return self._made(task, "met", task.possible, "heard", heard.found)

    def _heard(self, task: Task) -> _Heard:
        found: dict[tuple[int, int], Found] = {}
        absent = []
        for label, matches in task.groups:
            hits = self.lookup.find(matches, _DONE)
            hits = tuple(hit for hit in hits if hit.entry.status != "not_assessed")
            found.update({hit.place: hit for hit in hits})
            if not hits:
                absent.append(label)
        return _Heard(tuple(found[place] for place in sorted(found)), tuple(absent))

    def _said_off(self, task: Task) -> tuple[Found, ...]:
        """What was said to leave the step or its whole station out."""
        matches: tuple[Match, ...] = tuple(match for _, some in task.groups for match in some)
        return self.lookup.find(matches, ("not_assessed",)) or self.put_off.get(task.station, ())

    def _put_off(self, task: Task, found: tuple[Found, ...]) -> Mark:
        points = task.possible if self.deferred == "full" else 0.0
        told = {"full": "counted as documented", "none": "no points", "uncounted": "not counted"}[self.deferred]
        outcome: Outcome = "not_met" if self.deferred == "none" else "deferred"
        return self._made(task, outcome, points, f"said to be left out; {told}", found)

    def _against(self, rules: Sequence[str], found: Sequence[Found]) -> tuple[Held, ...]:
        """Remarks by these rules: a rule by its name, or a family where its remark is about what was found."""
        entries = {hit.entry.id for hit in found}
        held: dict[str, Held] = {}
        for remark in self.remarks:
            family = remark.rule.partition(".")[0]
            about = entries.intersection(remark.entries)
            if remark.rule in rules or (family in rules and about):
                held.setdefault(remark.rule, Held(rule=remark.rule, message=remark.message))
        return tuple(held.values())

    def _made(
        self, task: Task, outcome: Outcome, points: float, why: str, found: Sequence[Found] = (),
        held: tuple[Held, ...] = (),
    ) -> Mark:
        doubts = [hit for hit in found if hit.entry.confirm and hit.entry.id not in self.settled]
        doubtful = bool(found) and len(doubts) == len(found)
        return Mark(
            step=task.id,
            label=task.label,
            critical=task.critical,
            outcome=outcome,
            points=round(points, 2),
            possible=round(task.possible, 2),
            why=why,
            shown=tuple(
                Shown(entry=hit.entry.id, label=hit.entry.label, evidence=hit.entry.evidence) for hit in found[:_MOST]
            ),
            held=held,
            confirm=tuple(f"{quoted(hit)}: {hit.entry.confirm}" for hit in doubts[:_MOST]) if doubtful else (),
            say=task.say if outcome == "not_met" and not held else None,
        )


def _deferred_stations(lookup: Lookup) -> Mapping[str, tuple[Found, ...]]:
    """Station -> what put all of it on record without an examination."""
    said: dict[str, list[Found]] = {}
    for hit in lookup.find(checklist_file(lookup.lexicon).deferrals, ("not_assessed",)):
        said.setdefault(hit.region, []).append(hit)
    return {region: tuple(hits) for region, hits in said.items()}
