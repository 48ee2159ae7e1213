"""Which side a finding or value has: said before its place, after it, for a list, or by the situation."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence

from parser.components.lists import DOUBTFUL
from parser.layers import Boundary, Finding, Mention, SideMention, SlotValue
from parser.statements import Side, Situation

_SMALL = frozenset("the of in on to at is are was and , his her their upper lower side sided".split())
_FAR = 12


class Siding:
    """Answers which :class:`SideMention` belongs to a finding; built once an utterance."""

    def __init__(
        self,
        words: Sequence[str],
        sides: tuple[SideMention, ...],
        findings: tuple[Finding, ...],
        values: tuple[SlotValue, ...],
        terms: tuple[Mention, ...],
        boundaries: Sequence[Boundary],
        situation: Situation,
    ) -> None:
        self._words = words
        self._sides = sides
        self._ends = [side.end for side in sides]
        self._starts = [side.start for side in sides]
        self._cuts = [boundary.at for boundary in boundaries if boundary.reason != DOUBTFUL]
        self._situation = situation
        self._anchors = sorted(
            {(f.start, f.end) for f in findings}
            | {(s.start, s.end) for f in findings for s in f.sites if s.end > s.start}
            | {(v.start, v.end) for v in values}
            | {(terms[v.mention].start, terms[v.mention].end) for v in values if v.mention is not None}
        )
        self._anchor_starts = [start for start, _ in self._anchors]
        self._after: dict[int, SideMention] = {}
        self._before: dict[int, SideMention] = {}
        for side in sides:
            self._place(side)

    def _place(self, side: SideMention) -> None:
        """A side belongs to the place or finding it stands before, else to what stands before it."""
        at = bisect_left(self._anchor_starts, side.end)
        following = self._anchors[at] if at < len(self._anchors) else None
        before = self._anchors[at - 1] if at else None
        gap = self._words[side.end : following[0]] if following else ()
        if (
            following is not None
            and len(gap) == 0
            and not self._cut(side.end, following[0])
            and not self._postposed(side)
        ):
            self._before.setdefault(following[0], side)
        elif before is not None and side.start - before[1] <= _FAR and not self._cut(before[1], side.start):
            self._after.setdefault(before[0], side)
        elif following is not None and len(gap) <= 4 and not self._cut(side.end, following[0]):
            self._before.setdefault(following[0], side)

    def _postposed(self, side: SideMention) -> bool:
        return self._words[side.start] in ("bilaterally", "on", "bilat") and side.start > 0

    def _cut(self, start: int, end: int) -> bool:
        return bisect_left(self._cuts, end + 1) - bisect_right(self._cuts, start) > 0

    def of_finding(self, finding: Finding, listed: Sequence[Finding]) -> SideMention | None:
        """The side of a finding; ``listed`` are the findings of its clause from it on, in order.

        A side after the last of a list is shared by those before it that have none of their own.
        """
        own = self._before.get(finding.start) or self._after.get(finding.start)
        if own:
            return own
        for site in finding.sites:
            found = self._before.get(site.start) or self._after.get(site.start) if site.end > site.start else None
            if found:
                return found
        for other in listed:
            shared = self._after.get(other.start)
            if shared:
                return shared
            if other is not finding and self._before.get(other.start):
                return None
        return None

    def of_value(
        self, value: SlotValue, several: bool, before_first: bool, named: int | None = None
    ) -> SideMention | None:
        """The side said with a value, or with one of several ("one plus left two plus right").

        ``named`` is where its measure is named, when no finding holds it.
        """
        if not several:
            own = self._before.get(named) or self._after.get(named) if named is not None else None
            return own or self._after.get(value.start) or self._before.get(value.start)
        at = bisect_left(self._starts, value.end)
        after = self._sides[at] if at < len(self._sides) and self._sides[at].start - value.end <= 3 else None
        after = None if after and self._cut(value.end - 1, after.start) else after
        before = self._sides[at - 1] if at and value.start - self._ends[at - 1] <= 3 else None
        return (before or after) if before_first else (after or before)

    def leads(self, first: SlotValue) -> bool:
        """Whether sides stand before the values they belong to."""
        at = bisect_left(self._starts, first.start)
        return at > 0 and first.start - self._ends[at - 1] <= 3

    def carried(self, site: str | None) -> Side | None:
        """The side that the situation holds for a place spoken of before."""
        return self._situation.side if site is not None and site == self._situation.site else None
