"""A rubric ready to mark by: its steps resolved against the checklist it is for."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from lexicon import Lexicon
from lexicon.rubrics import chain, rubrics, whole
from lexicon.schema.audit import Act, Item, OrderFile
from lexicon.schema.matching import Match
from lexicon.schema.rubric import Rubric, Step
from parser.audit.checklists import Wanted, checklist_file, wanted


@dataclass(frozen=True, slots=True)
class Task:
    """One step to mark. ``groups`` are matchers, of each of which one must be heard; ``possible`` is weighted."""

    id: str
    station: str
    label: str
    possible: float
    critical: bool
    groups: tuple[tuple[str, tuple[Match, ...]], ...]
    when: tuple[Match, ...]
    unless: tuple[str, ...]
    part: tuple[str, ...]
    why: str
    say: str | None


@dataclass(frozen=True, slots=True)
class MarkingRubric:
    """``version`` is a hash of all that marks depend on, but for the lexicon's own words."""

    rubric: Rubric
    lexicon: Lexicon
    tasks: tuple[Task, ...]
    stations: tuple[str, ...]
    version: str

    @property
    def id(self) -> str:
        return self.rubric.id

    def at_least(self, station: str) -> float | None:
        return next((one.at_least for one in self.rubric.stations if one.id == station), None)


def rubric_of(lexicon: Lexicon, name: str) -> MarkingRubric:
    """The rubric of that name. Raises ValueError, in words for people, for one that is unknown or cannot be passed."""
    known = rubrics(lexicon)
    if name not in known:
        raise ValueError(f"There is no rubric '{name}'. Rubrics are: {', '.join(known) or 'none'}.")
    links = list(chain(known, name))
    rubric = whole(links)
    want = wanted(lexicon, rubric.checklist)
    maker = _Tasks(lexicon, rubric, want, frozenset(step.id for step in links[0].steps))
    tasks = tuple(maker.all())
    stations = tuple(dict.fromkeys((*want.stations, *(task.station for task in tasks))))
    text = json.dumps([rubric.model_dump(mode="json"), [repr(task) for task in tasks]], sort_keys=True)
    made = MarkingRubric(rubric, lexicon, tasks, stations, hashlib.sha256(text.encode()).hexdigest()[:16])
    for fault in impossible(made):
        raise ValueError(f"{lexicon.origins.get(('rubrics', name), 'rubric.yaml')}: {fault}")
    return made


def impossible(rubric: MarkingRubric) -> Iterator[str]:
    """Why no run can pass by it; nothing when one can."""
    critical, wanted_ = sum(task.critical for task in rubric.tasks), rubric.rubric.to_pass.critical
    if not any(task.possible for task in rubric.tasks):
        yield f"the rubric '{rubric.id}' cannot be passed: it gives no points at all"
    if isinstance(wanted_, int) and wanted_ > critical:
        yield f"the rubric '{rubric.id}' cannot be passed: it asks for {wanted_} critical steps and has {critical}"
    for station in rubric.rubric.stations:
        due = station.id in rubric.stations
        if due and station.at_least and not any(t.possible for t in rubric.tasks if t.station == station.id):
            yield f"the rubric '{rubric.id}' cannot be passed: no step of '{station.id}' has points to reach"


class _Tasks:
    """Puts the tasks of a rubric together, in the order of the stations."""

    def __init__(self, lexicon: Lexicon, rubric: Rubric, want: Wanted, own: frozenset[str]) -> None:
        order = lexicon.files.get("order")
        self.lexicon = lexicon
        self.rubric = rubric
        self.want = want
        self.own = own
        self.items: Mapping[str, Item] = {item.id: item for item in checklist_file(lexicon).items}
        self.acts: Mapping[str, Act] = {act.id: act for act in order.acts} if isinstance(order, OrderFile) else {}
        self.weights = {station.id: station.weight for station in rubric.stations}

    def all(self) -> Iterator[Task]:
        made = {step.id: task for step in self.rubric.steps if (task := self._of_step(step)) is not None}
        named = {self._item(step) for step in self.rubric.steps}
        by_station: dict[str, list[Task]] = {}
        for items in self.want.items.values():
            for item in items:
                step = next((s for s in self.rubric.steps if self._item(s) == item.id), None)
                if step is not None and step.id in made:
                    by_station.setdefault(made[step.id].station, []).append(made.pop(step.id))
                elif item.id not in named and item.id not in self.rubric.leave_out:
                    by_station.setdefault(item.region, []).append(self._of_item(item))
        for task in made.values():
            by_station.setdefault(task.station, []).append(task)
        for station in dict.fromkeys((*self.want.stations, *by_station)):
            yield from by_station.get(station, ())

    def _item(self, step: Step) -> str | None:
        return step.item or (None if step.any or step.acts else step.id)

    def _of_step(self, step: Step) -> Task | None:
        """None for a step of the rubric this one is based on that its checklist does not want."""
        name = self._item(step)
        item = self.items.get(name) if name else None
        station = step.station or (item.region if item else "")
        inherited = step.id not in self.own
        if inherited and not self._wanted(name, station):
            return None
        groups: tuple[tuple[str, tuple[Match, ...]], ...]
        if step.acts:
            groups = tuple((self.acts[act].label, self.acts[act].any) for act in step.acts)
        else:
            groups = ((step.label or (item.label if item else step.id), step.any or (item.any if item else ())),)
        return Task(
            step.id, station, step.label or (item.label if item else step.id),
            step.points * self.weights.get(station, 1.0), step.critical, groups, item.when if item else (),
            step.unless, (*self.rubric.part, *step.part), step.why or (item.why if item else ""),
            item.say if item else None,
        )  # fmt: skip

    def _wanted(self, item: str | None, station: str) -> bool:
        if item is None:
            return station in self.want.items
        return any(item == one.id for items in self.want.items.values() for one in items)

    def _of_item(self, item: Item) -> Task:
        points = getattr(self.rubric.item_points, item.severity) * self.weights.get(item.region, 1.0)
        return Task(
            item.id, item.region, item.label, points, False, ((item.label, item.any),), item.when, (),
            self.rubric.part, item.why, item.say,
        )  # fmt: skip
