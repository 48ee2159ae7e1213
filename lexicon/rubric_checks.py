"""Checks of rubrics: every name they use exists, none is based on itself, and each can be passed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from lexicon.rubrics import chain, circle, rubrics, whole
from lexicon.schema.rubric import Rubric

if TYPE_CHECKING:
    from lexicon.loading import Lexicon

#: Family of remarks -> the file and the lists in it whose ids its rules have; None where they are not listed.
_FAMILIES: Mapping[str, tuple[str, tuple[str, ...]] | None] = {
    "order": ("order", ("sequences", "alternations", "never")),
    "timing": ("timing", ("timings",)),
    "sides": ("sides", ("pairs",)),
    "detail": ("details", ("details",)),
    "caution": ("cautions", ("cautions",)),
    "contradiction": None,
    "implausible": None,
    "unit": None,
    "range": None,
    "confirm": None,
    "missing": None,
}
#: Rules that stand alone in their file.
_SINGLE = frozenset(["order.stations"])


def faults(lexicon: "Lexicon") -> Iterator[str]:
    """Every fault of the rubrics, and of checklists based on one another, as a sentence with file and line."""
    lists = {entry.id: entry for entry in getattr(lexicon.files.get("checklist"), "lists", ())}
    known = rubrics(lexicon)
    yield from _circles(lexicon, "lists", lists, "checklist")
    yield from _circles(lexicon, "rubrics", known, "rubric")
    names = _Names(lexicon, frozenset(lists), frozenset(known))
    for rubric in known.values():
        yield from names.of(rubric)
        if circle(known, rubric.id) is None:
            yield from _impossible(lexicon, rubric, whole(list(chain(known, rubric.id))))


def _circles(lexicon: "Lexicon", field: str, known: Mapping[str, Any], what: str) -> Iterator[str]:
    for name in known:
        round_ = circle(known, name)
        if round_ is not None:
            where = lexicon.origins.get((field, name), f"{what}.yaml")
            yield f"{where}: the {what} '{name}' is based on itself ({round_}); leave one based_on out"


class _Names:
    """All names a rubric may use."""

    def __init__(self, lexicon: "Lexicon", lists: frozenset[str], known: frozenset[str]) -> None:
        files = lexicon.files
        self.lexicon = lexicon
        self.pools: Mapping[str, frozenset[str]] = {
            "checklist": lists,
            "rubric": known,
            "checklist item": frozenset(item.id for item in getattr(files.get("checklist"), "items", ())),
            "act": frozenset(act.id for act in getattr(files.get("order"), "acts", ())),
            "station": frozenset(lexicon.regions),
            "site": frozenset(lexicon.sites),
            "concept": frozenset((*lexicon.concepts, *_measured(lexicon))),
            "source": frozenset((*lexicon.sources, "V", "S", "M", "C")),
        }
        self.steps = {step.id for rubric in rubrics(lexicon).values() for step in rubric.steps}

    def of(self, rubric: Rubric) -> Iterator[str]:
        where = self.lexicon.origins.get(("rubrics", rubric.id), "rubric.yaml")
        yield from self._known((rubric.based_on,), "rubric", where)
        yield from self._known((rubric.checklist,), "checklist", where)
        yield from self._known(rubric.source, "source", where)
        yield from self._rules(rubric.part, where)
        for name in rubric.leave_out:
            if name not in self.steps and name not in self.pools["checklist item"]:
                yield from self._known((name,), "checklist item", where)
        for station in rubric.stations:
            place = self._at(rubric, "stations", station.id)
            yield from self._known((station.id,), "station", place)
        for step in rubric.steps:
            yield from self._step(step, self._at(rubric, "steps", step.id))

    def _step(self, step: Any, where: str) -> Iterator[str]:
        if not (step.item or step.any or step.acts):
            yield from self._known((step.id,), "checklist item", where)
        yield from self._known((step.item,), "checklist item", where)
        yield from self._known((step.station,), "station", where)
        yield from self._known(step.acts, "act", where)
        yield from self._known(step.source, "source", where)
        yield from self._rules((*step.unless, *step.part), where)
        for match in step.any:
            yield from self._known(match.concepts, "concept", where)
            yield from self._known((*match.sites, *match.not_sites), "site", where)
            yield from self._known(match.regions, "station", where)

    def _at(self, rubric: Rubric, part: str, name: str) -> str:
        return self.lexicon.origins.get((f"rubrics.{part}", f"{rubric.id}/{name}"), "rubric.yaml")

    def _known(self, names: Iterable[str | None], what: str, where: str) -> Iterator[str]:
        from lexicon.checks import known  # late: checks calls this module

        yield from known([name for name in names if name], self.pools[what], what, where)

    def _rules(self, names: Iterable[str], where: str) -> Iterator[str]:
        for name in names:
            family, _, rule = name.partition(".")
            if family not in _FAMILIES:
                yield f"{where}: there is no family of remarks '{family}'; known are {', '.join(_FAMILIES)}"
                continue
            listed = _FAMILIES[family]
            if rule and listed is not None and name not in _SINGLE:
                file = self.lexicon.files.get(listed[0])
                ids = {entry.id for field in listed[1] for entry in getattr(file, field, ())}
                if rule not in ids:
                    yield f"{where}: there is no rule '{rule}' in {listed[0]}.yaml"


def _measured(lexicon: "Lexicon") -> Iterator[str]:
    for name in ("measures", "scales"):
        yield from (entry.id for entry in getattr(lexicon.files.get(name), name, ()))


def _impossible(lexicon: "Lexicon", own: Rubric, rubric: Rubric) -> Iterator[str]:
    """Pass rules that no run can fulfil. More than is told here is checked when a rubric is used."""
    where = lexicon.origins.get(("rubrics", own.id), "rubric.yaml")
    critical = sum(step.critical for step in rubric.steps)
    wanted = rubric.to_pass.critical
    if isinstance(wanted, int) and wanted > critical:
        yield f"{where}: the rubric '{own.id}' cannot be passed: it asks for {wanted} critical steps and has {critical}"
    items = rubric.item_points
    weights = [station.weight for station in rubric.stations]
    every = len({station.id for station in rubric.stations}) == len(lexicon.regions)
    worth = any((items.note, items.attention, items.urgent, *(step.points for step in rubric.steps)))
    if not worth or (every and not any(weights)):
        yield f"{where}: the rubric '{own.id}' cannot be passed: it gives no points at all"
    for station in own.stations:
        if station.at_least is not None and station.weight == 0:
            place = lexicon.origins.get(("rubrics.stations", f"{own.id}/{station.id}"), where)
            yield f"{place}: '{station.id}' can never reach {station.at_least:g} percent: its weight is 0"
