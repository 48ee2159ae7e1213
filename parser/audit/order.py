"""Order: stations from crown to sole, acts in the order taught, side to side, never both at once.

Sound gives the order by time and text by its words: in a record both are the order of words.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise

from lexicon.schema.audit import Act, OrderFile
from lexicon.schema.audit import Sequence as SequenceRule
from parser.audit.inspection import Inspection, listed, quoted, when
from parser.lookup import CURRENT, STATED, Found
from parser.record import Remark

_MANY = 3


def check(inspection: Inspection) -> Iterator[Remark]:
    """Everything said out of the order taught."""
    rules = inspection.rules("order", OrderFile)
    yield from _stations(inspection, rules)
    acts = {act.id: act for act in rules.acts}
    for rule in rules.sequences:
        yield from _sequence(inspection, rule, [acts[name] for name in rule.acts if name in acts])
    for alternation in rules.alternations:
        hits = [f for f in inspection.lookup.find(alternation.any) if f.entry.side in ("left", "right")]
        if _one_side_first([f.entry.side for f in hits]):
            yield inspection.remark(
                f"order.{alternation.id}", alternation,
                f"{alternation.label}: all of the {hits[0].entry.side} side was said before the "
                f"{hits[-1].entry.side} ({when(hits[0])} to {when(hits[-1])}).", hits,
            )
    for never in rules.never:
        for found in inspection.lookup.find(never.any, CURRENT):
            yield inspection.remark(f"order.{never.id}", never, f"{never.message} Heard: {quoted(found)}.", [found])


def _sequence(inspection: Inspection, rule: SequenceRule, acts: Sequence[Act]) -> Iterator[Remark]:
    """One remark when an act was first said after one that is taught to follow it; of several, the last act tells."""
    said: list[tuple[Act, Found]] = []
    for act in acts:
        first = inspection.lookup.first(act.any, STATED)
        if first is not None:
            said.append((act, first))
    for earlier, first in reversed(said):
        later = [(act, other) for act, other in said if acts.index(act) > acts.index(earlier)]
        early = [(act, other) for act, other in later if other.place < first.place]
        if early:
            act, other = min(early, key=lambda pair: pair[1].place)
            message = rule.message or f"{act.label.capitalize()} was said before {earlier.label}."
            yield inspection.remark(
                f"order.{rule.id}", rule, f"{message} Heard {quoted(other)} before {quoted(first)}.", [other, first]
            )
            return


def _one_side_first(sides: Sequence[str | None]) -> bool:
    """At least two places of one side, then at least two of the other, with a single change between."""
    changes = sum(a != b for a, b in pairwise(sides))
    return changes == 1 and sides.count("left") >= 2 and sides.count("right") >= 2


def _stations(inspection: Inspection, rules: OrderFile) -> Iterator[Remark]:
    rule = rules.station_rule
    if rule is None or not inspection.wanted.ordered:
        return
    ranks = _ranks(inspection.wanted.stations, rules)
    visits = [found for region, found in _visits(inspection, rules) if region in ranks]
    kept = _longest_rising([ranks[found.region] for found in visits])
    moved = [found for n, found in enumerate(visits) if n not in kept]
    if not moved or len(visits) < rules.least_visits:
        return
    if len(moved) > _MANY:
        names = listed([inspection.title(found.region).lower() for found in visits])
        yield inspection.remark("order.stations", rule, f"The stations were taken in another order: {names}.", moved)
        return
    for found in moved:
        yield inspection.remark("order.stations", rule, _moved(inspection, visits, kept, found, ranks), [found])


def _moved(
    inspection: Inspection, visits: Sequence[Found], kept: frozenset[int], found: Found, ranks: dict[str, int]
) -> str:
    """Where a station was taken, beside a neighbour that stands on the wrong side of it."""
    title = inspection.title(found.region)
    at = visits.index(found)
    passed = [v for n, v in enumerate(visits) if n in kept and n < at and ranks[v.region] > ranks[found.region]]
    if passed:
        return f"{title} came {when(found)}, after {inspection.title(passed[0].region).lower()}."
    ahead = [v for n, v in enumerate(visits) if n in kept and n > at and ranks[v.region] < ranks[found.region]]
    later = f", before {inspection.title(ahead[-1].region).lower()}" if ahead else ""
    return f"{title} came {when(found)}{later}."


def _ranks(stations: Sequence[str], rules: OrderFile) -> dict[str, int]:
    """Station -> its rank; stations of one group share the first rank, free stations have none."""
    ranks = {station: n for n, station in enumerate(stations) if station not in rules.free_stations}
    for group in rules.groups:
        members = [ranks[station] for station in group if station in ranks]
        ranks.update({station: min(members) for station in group if station in ranks})
    return ranks


def _visits(inspection: Inspection, rules: OrderFile) -> list[tuple[str, Found]]:
    """Stations in the order of their longest visits; a short look elsewhere is a detour, no visit."""
    best: dict[str, tuple[int, Found]] = {}
    run: list[Found] = []
    for found in (*inspection.lookup.found, None):
        if run and (found is None or found.region != run[0].region):
            region = run[0].region
            if len(run) > best.get(region, (0, run[0]))[0]:
                best[region] = (len(run), run[0])
            run = []
        if found is not None and found.entry.kind != "conduct":
            run.append(found)
    visits = [(region, first) for region, (size, first) in best.items() if size >= rules.detour]
    return sorted(visits, key=lambda visit: visit[1].place)


def _longest_rising(values: Sequence[int]) -> frozenset[int]:
    """Places of a longest never-falling run among ``values`` (patience sorting, n log n)."""
    tails: list[int] = []
    at: list[int] = []
    back: list[int] = []
    for n, value in enumerate(values):
        k = bisect_right(tails, value)
        back.append(at[k - 1] if k else -1)
        tails[k : k + 1] = [value]
        at[k : k + 1] = [n]
    kept: set[int] = set()
    n = at[-1] if at else -1
    while n >= 0:
        kept.add(n)
        n = back[n]
    return frozenset(kept)
