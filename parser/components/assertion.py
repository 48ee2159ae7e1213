"""Decides for each finding whether it is said to be there, not there, doubtful, past, feared or not looked at.

One sweep over cues, findings and boundaries in the order they stand. A cue before its finding opens a
scope, which closes at a boundary, at a word that ends it ("but", "reports"), or when the list it
governs is over. A cue after its finding looks back to the nearest one, and on along "or" and "and".
The work is linear in the length of the text.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lexicon import Lexicon
from lexicon.schema.cues import Cue
from parser.components.carrying import CONTINUES
from parser.components.cues import CueBook, CueMatch, cue_book
from parser.layers import Assertion, Boundary
from parser.tokens import Tokens

#: A finding further than this many words from its cue, or from the last join of its list, is another matter.
FARTHEST = 8
#: The same for a cue that governs its clause ("return if ...").
FARTHEST_CLAUSE = 12
#: A cue this many words behind such a cue begins a statement of its own.
CLAUSE_GAP = 3
#: A cue after its finding may stand this many words behind it ("murmurs at the apex are not heard").
FARTHEST_BACK = 6
#: Between two findings a doubtful word goes with the one after it, if that is this near.
NEAR = 4
#: Which status wins where several cues reach a finding; absent and uncertain go by order, see _choose.
_STRONGEST = ("hypothetical", "family", "not_assessed")
_AFFIRMED = Assertion("present")


def assert_status(
    tokens: Tokens,
    spans: Sequence[tuple[int, int]],
    boundaries: Sequence[Boundary],
    lexicon: Lexicon,
    open_negation: str | None = None,
) -> tuple[Assertion, ...]:
    """The status of each span of tokens ``[start, end)``, in the order of ``spans``.

    Spans may be in any order and may overlap. ``cue`` of an :class:`~parser.layers.Assertion` is in
    token places. "normal" is not decided here. ``open_negation`` is the cue of a negated list in which
    the utterance before ended: "or tenderness" goes on with it.
    """
    book = cue_book(lexicon)
    reading = book.read(tokens.words)
    placed = [(reading.place[start], max(reading.place[end], reading.place[start] + 1)) for start, end in spans]
    cues = book.find(reading.words, (edge for span in placed for edge in span))
    if open_negation and reading.words and reading.words[0] in CONTINUES:
        cues.insert(0, CueMatch(0, 1, Cue(id="open", status="absent", forms=(open_negation,))))
    firm = {reading.place[b.at] for b in boundaries if b.reason in ("mark", "line")}
    sweep = _Sweep(book, reading.words, sorted({reading.place[b.at] for b in boundaries}), firm)
    sweep.run(cues, placed)
    return tuple(_with_text(tokens, reading.at, sweep.given.get(i)) for i in range(len(placed)))


def _with_text(tokens: Tokens, at: tuple[int, ...], found: CueMatch | None) -> Assertion:
    if found is None:
        return _AFFIRMED
    start, end = at[found.start], at[found.end - 1] + 1
    return Assertion(found.cue.status, (start, end), tokens.slice_text(start, end))  # type: ignore[arg-type]


@dataclass(slots=True)
class _Scope:
    """What a cue reaches: ``last`` is the end of the cue or of the last finding taken, ``items`` how many."""

    found: CueMatch
    last: int
    items: int = 0


@dataclass(frozen=True, slots=True)
class _Item:
    """A finding of the clause: its index, place, and how it hangs on the one before ("", "or", ",")."""

    index: int
    start: int
    end: int
    joined: str


def _trailing(cues: list[CueMatch], spans: dict[int, int], length: int) -> set[int]:
    """Where cues stand that close a chain of findings up to the end: "edema no cyanosis no clubbing no".

    ``spans`` gives the start of a finding by its end.
    """
    chain: set[int] = set()
    at = length
    for found in reversed(cues):
        if found.end != at or found.cue.status != "absent" or found.start not in spans:
            break
        chain.add(found.start)
        at = spans[found.start]
    return chain


@dataclass(frozen=True, slots=True)
class _Next:
    """The finding after a cue: where it starts, and whether a cue of its own stands right behind it."""

    start: int
    has_own: bool


class _Sweep:
    """The state of one sweep. ``given`` maps the index of a span to the cue that decides it."""

    def __init__(self, book: CueBook, words: tuple[str, ...], bounds: list[int], firm: set[int]) -> None:
        self.book = book
        self.words = words
        self.bounds = bounds
        self.firm = firm  # boundaries that were written, not inferred
        self.given: dict[int, CueMatch] = {}
        self.scopes: dict[str, _Scope] = {}
        self.items: list[_Item] = []
        self.carried = False  # the first items stand right before an inferred boundary
        self.clause_start = 0
        self.backward: set[str] = set()  # cues that have looked back: "tremor absent rigidity absent"
        self.fence = 0  # no cue looks back behind this place

    def run(self, cues: list[CueMatch], spans: list[tuple[int, int]]) -> None:
        """Meet boundaries, findings and cues in the order they stand."""
        order = sorted(range(len(spans)), key=spans.__getitem__)
        self.trailing = _trailing(cues, {end: start for start, end in spans}, len(self.words))
        events: list[tuple[int, int, int]] = [(place, 0, 0) for place in self.bounds]
        events += [(spans[i][0], 1, i) for i in order]
        events += [(found.start, 2, i) for i, found in enumerate(cues)]
        events.sort()
        self.next_bound = iter([*self.bounds, len(self.words)])
        self.clause_end = next(self.next_bound)
        for n, (place, kind, i) in enumerate(events):
            if kind == 0:
                self.end_clause(place)
            elif kind == 1:
                self.meet_finding(i, *spans[i], self.followed_by_presence(cues, events, n, spans[i][1]))
            elif cues[i].cue.status != "none":
                self.meet_cue(cues[i], self.next_finding(cues, events, n, spans))

    def end_clause(self, place: int) -> None:
        self.scopes.clear()
        self.clause_start = place
        kept = self.items[-1:] if place not in self.firm else []
        while kept and kept[0].joined not in ("", ",") and len(kept) < len(self.items):
            kept.insert(0, self.items[-1 - len(kept)])
        self.carried = bool(kept) and kept[-1].end == place and kept[0].start >= self.fence
        self.items = kept if self.carried else []
        self.fence = kept[0].start if self.carried else place
        while self.clause_end <= place and self.clause_end < len(self.words):
            self.clause_end = next(self.next_bound)

    def followed_by_presence(
        self, cues: list[CueMatch], events: list[tuple[int, int, int]], n: int, end: int
    ) -> bool:
        """Whether "present" or the like stands right behind a finding."""
        for place, kind, i in events[n + 1 : n + 4]:
            if place > end or kind == 0:
                return False
            if kind == 2 and place == end:
                cue = cues[i].cue
                return cue.status == "present" and cue.side == "before"
        return False

    def next_finding(
        self, cues: list[CueMatch], events: list[tuple[int, int, int]], n: int, spans: list[tuple[int, int]]
    ) -> _Next | None:
        """The next finding of the clause, if nothing else stands between it and the cue at event ``n``."""
        if n + 1 >= len(events) or events[n + 1][1] != 1:
            return None
        start, end = spans[events[n + 1][2]]
        place, kind, i = events[n + 2] if n + 2 < len(events) else (-1, 0, 0)
        return _Next(start, kind == 2 and place == end and cues[i].cue.side != "after")

    # ---- findings

    def meet_finding(self, index: int, start: int, end: int, affirmed: bool) -> None:
        joined = self.join_before(start)
        for status, scope in list(self.scopes.items()):
            if not self.reaches(scope, start, end, joined, affirmed):
                del self.scopes[status]
        chosen = self.choose()
        if chosen is not None:
            self.given[index] = chosen
        for scope in self.scopes.values():
            scope.last = max(scope.last, end)
            scope.items += 1
        self.items.append(_Item(index, start, end, joined))

    def join_before(self, start: int) -> str:
        """The word that joins a finding to the one before: "or", "and", ",", or "" for none."""
        if not self.items:
            return ""
        gap = self.words[max(self.items[-1].end, start - FARTHEST) : start]
        joins = [word for word in gap if word in self.book.joins]
        return next((word for word in reversed(joins) if word != ","), joins[-1] if joins else "")

    def reaches(self, scope: _Scope, start: int, end: int, joined: str, affirmed: bool) -> bool:
        reach = scope.found.cue.reach
        if reach == "clause":
            return start - scope.last <= FARTHEST_CLAUSE
        if start > scope.last and not self.book.predicates.isdisjoint(self.words[start + 1 : end]):
            return False
        if reach == "word" and start > scope.found.end:
            return False
        if affirmed and not joined and (scope.items or scope.found.cue.side == "either"):
            return False
        if reach == "item" and scope.items and not joined:
            return False
        near = scope.last
        for place in range(start - 1, max(scope.last, start - FARTHEST) - 1, -1):
            if self.words[place] in self.book.joins:
                near = place + 1
                break
        return start - near <= FARTHEST

    def choose(self) -> CueMatch | None:
        """The cue that decides: the strongest status, else the first said of absent and uncertain."""
        for status in _STRONGEST:
            if status in self.scopes:
                return self.scopes[status].found
        rest = [self.scopes[s].found for s in ("absent", "uncertain") if s in self.scopes]
        if rest:
            return min(rest, key=lambda found: found.start)
        return self.scopes["history"].found if "history" in self.scopes else None

    # ---- cues

    def meet_cue(self, found: CueMatch, following: _Next | None) -> None:
        cue = found.cue
        if cue.begins and found.start != self.clause_start:
            return
        if cue.status == "break":
            self.close(found)
        elif self.looks_back(found, following):
            self.give_back(found)
        elif cue.side == "before":
            self.fence = max(self.fence, found.end)
        elif cue.status == "present":
            self.affirm(found)
        else:
            self.open(found)

    def close(self, found: CueMatch) -> None:
        """"But" ends everything, "with" only what has its findings, or a list that had its "or"."""
        if found.cue.reach == "item":
            for status, scope in list(self.scopes.items()):
                gap = self.words[max(scope.last, found.start - FARTHEST) : found.start]
                if scope.found.cue.reach != "clause" and (scope.items or "or" in gap or "nor" in gap):
                    del self.scopes[status]
            return
        self.scopes.clear()
        self.fence = found.end

    def affirm(self, found: CueMatch) -> None:
        """"Denies pain reports nausea": what was said before ends, save right behind a cue ("never reports")."""
        if found.start and self.words[found.start - 1] in ("or", "nor"):
            return
        for status, scope in list(self.scopes.items()):
            if not scope.items and found.start <= scope.last:
                scope.last = max(scope.last, found.end)
            elif scope.found.cue.reach != "clause":
                del self.scopes[status]
        self.fence = found.end

    def open(self, found: CueMatch) -> None:
        """Begin a scope. Others go on only where the new cue stands right behind theirs ("no history of")."""
        for status, scope in list(self.scopes.items()):
            clause = scope.found.cue.reach == "clause"
            if clause and self.words[found.start - 1] in self.book.joins:
                continue
            spent = scope.found.cue.reach == "word" and found.start > scope.found.end
            if spent or scope.items or found.start - scope.last > (CLAUSE_GAP if clause else 1):
                del self.scopes[status]
            else:
                scope.last = found.end
        if found.cue.status not in self.scopes or self.scopes[found.cue.status].items:
            self.scopes[found.cue.status] = _Scope(found, found.end)
        self.fence = max(self.fence, found.start)

    def looks_back(self, found: CueMatch, following: _Next | None) -> bool:
        """Whether a cue speaks of the finding before it."""
        item = self.last_item(found)
        if item is None:
            return False
        gap = self.words[item.end : found.start]
        carried = self.carried and item.end <= self.clause_start
        if carried and gap:
            return False
        if found.cue.side == "before":
            tight = found.cue.reach == "item"
            return all(w in self.book.links or w == "," for w in gap) if tight else len(gap) <= FARTHEST_BACK
        linked = all(word in self.book.links for word in gap) and item.index not in self.given
        at_end = found.end >= self.clause_end or self.words[found.end] in ",;."
        if found.cue.side == "after":
            return linked and (at_end or found.start in self.trailing) and found.cue.status == "absent"
        if not linked or (following is not None and following.has_own):
            return linked
        if carried:
            return found.end >= self.clause_end or found.cue.id in self.backward
        if following is None:
            return True
        return bool(gap) or found.cue.reach != "item" or following.start - found.end > NEAR

    def last_item(self, found: CueMatch) -> _Item | None:
        """The finding nearest before a cue in its clause, with no other cue between."""
        for item in reversed(self.items):
            if item.end <= found.start:
                return item if item.end > self.fence else None
        return None

    def give_back(self, found: CueMatch) -> None:
        """Give the status to the finding before, and on along its list."""
        self.backward.add(found.cue.id)
        listed = False
        for item in reversed(self.items):
            if item.end > found.start:
                continue
            if item.end <= self.fence:
                break
            self.decide(item, found)
            listed = listed or item.joined not in ("", ",")
            if not listed:
                break
        self.scopes = {s: scope for s, scope in self.scopes.items() if scope.found.cue.reach == "clause"}
        self.fence = found.end

    def decide(self, item: _Item, found: CueMatch) -> None:
        before = self.given.get(item.index)
        status = found.cue.status
        weaker = before is None or (before.cue.status == "absent" and status in ("uncertain", "not_assessed"))
        if weaker and status != "present":
            self.given[item.index] = found
