"""Where numbers belong: after their measure, before it, beside a cue, or by themselves.

Every place a number may have gets a cost; the cheapest placement of all numbers together is taken, so that
"edema two plus pedal pulses one plus" and "two plus pedal pulses one plus edema" both come out right.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from lexicon import Lexicon
from parser.components.numbers import separate
from parser.grammar import grammar
from parser.layers import Boundary, Mention, Number
from parser.qualifying import occurrences
from parser.slots import Fit, Slot, Slots, fit, slots
from parser.tokens import Tokens

#: How far a number may stand behind its measure, before it, and behind a cue, in words.
BEHIND, BEFORE, CUE = 14, 6, 6
#: How far it may reach into another statement.
ACROSS = 4
_PARTING = frozenset(("left", "right", "then", "and", "(", "or", "both"))
_STOPS = frozenset((".", ";", "?", "!"))
#: What it costs to leave a number out.
_NONE_COST = 3.0


@dataclass(frozen=True, slots=True)
class Choice:
    """One way to place a number: at a mention, at a cue or by itself."""

    mention: int | None
    slot: Slot
    fit: Fit
    cost: float


class Places:
    """The places of the numbers of one utterance."""

    def __init__(
        self, tokens: Tokens, mentions: tuple[Mention, ...], boundaries: tuple[Boundary, ...], lexicon: Lexicon
    ) -> None:
        self.tokens = tokens
        self.words = tokens.words
        self.mentions = mentions
        self.lexicon = lexicon
        self.slots: Slots = slots(lexicon)
        self.starts = [mention.start for mention in mentions]
        self.cuts = sorted(boundary.at for boundary in boundaries)
        self._own: dict[int, tuple[Slot, ...]] = {}
        self.in_number: set[int] = set()
        self.links = grammar(lexicon).links

    def slots_of(self, index: int) -> tuple[Slot, ...]:
        if index not in self._own:
            found = [slot for term in self.mentions[index].terms for slot in self.slots.of(term)]
            self._own[index] = tuple(dict.fromkeys(found))
        return self._own[index]

    def segment(self, place: int) -> tuple[int, int]:
        """The statement that holds a token: ``[start, end)``."""
        at = bisect_right(self.cuts, place)
        return (self.cuts[at - 1] if at else 0), (self.cuts[at] if at < len(self.cuts) else len(self.tokens))

    def placed(self, numbers: tuple[Number, ...]) -> list[tuple[Number, Choice]]:
        """Every number that belongs somewhere, with its place, in order."""
        self.in_number = {place for number in numbers for place in range(number.start, number.end)}
        own = [part for number in numbers if not self._inside_term(number) for part in self._separated(number)]
        chosen = _cheapest(own, [self.choices(number) for number in own], self)
        return [(number, choice) for number, choice in zip(own, chosen, strict=True) if choice is not None]

    def _inside_term(self, number: Number) -> bool:
        """The words belong to a term with a number in its name ("s two", "cranial nerves two through twelve")."""
        index = bisect_right(self.starts, number.start) - 1
        if index < 0 or self.mentions[index].end <= number.start:
            return False
        if any(not slot.spare for slot in self.slots_of(index)):
            return False
        mention = self.mentions[index]
        broken = (
            mention.start in self.in_number and mention.start - 1 in self.in_number and mention.start != number.start
        )
        return not broken and (mention.end >= number.end or mention.start < number.start)

    def _separated(self, number: Number) -> tuple[Number, ...]:
        """A row of numbers is taken apart when the slot before it takes only the first."""
        if len(number.readings) < 2 or number.readings[-1].shape != "list":
            return (number,)
        best = min(self.choices(number), key=lambda choice: choice.cost, default=None)
        parts = separate(self.tokens, number, self.lexicon)
        first = min(self.choices(parts[0]), key=lambda choice: choice.cost, default=None)
        if first is None or not self._said_before(first, number):
            return (number,)
        return parts if best is None or first.cost < best.cost - 0.05 else (number,)

    def _said_before(self, choice: Choice, number: Number) -> bool:
        return choice.mention is None or self.mentions[choice.mention].start < number.start

    # -- where a number may belong --------------------------------------------------------------

    def choices(self, number: Number) -> list[Choice]:
        """Every place for a number, each with its cost."""
        low, high = self.segment(number.start)[0], self.segment(number.end - 1)[1]
        found = self._behind(number, low, BEHIND) + self._before(number, high, BEFORE)
        if any(choice.cost < 1 for choice in found):
            return found + self._by_cue(number, number.start - 4, number.start)
        found += self._by_cue(number, number.start - CUE, number.end + 3) + self._alone(number)
        return found or self._across(number)

    def _across(self, number: Number) -> list[Choice]:
        """A number alone in its statement may belong to a measure close by in the next or the last one."""
        low, high = self.segment(number.start)[0], self.segment(number.end - 1)[1]
        found = self._behind(number, 0, ACROSS) if self._only_links(low, number.start) else []
        if high - number.end > 3:  # a sentence that has more than the number speaks of something of its own
            found = [c for c in found if c.mention is None or not self._stopped(self.mentions[c.mention].end, low)]
        high = min(high, number.end + 2 * BEHIND)
        found += [] if self._place_between(number.end, high) else self._before(number, len(self.tokens), ACROSS)
        return [replace(choice, cost=choice.cost + 0.3) for choice in found if choice.fit.cost < 1]

    def _stopped(self, start: int, end: int) -> bool:
        return any(self.full_stop(place) for place in range(start, end))

    def _only_links(self, start: int, end: int) -> bool:
        """Whether nothing but small words stands in tokens ``[start, end)``."""
        return end - start <= ACROSS and self.links.issuperset(self.words[start:end])

    def _place_between(self, start: int, end: int) -> bool:
        """Whether a place of the body is spoken of in tokens ``[start, end)``."""
        first, last = bisect_right(self.starts, start - 1), bisect_right(self.starts, end - 1)
        return any(term.kind == "site" for mention in self.mentions[first:last] for term in mention.terms)

    def _fits(self, slot_list: Sequence[Slot], number: Number, mention: int | None, cost: float) -> list[Choice]:
        found = []
        as_said = self.tokens.slice_text(number.start, number.end)
        for slot in slot_list:
            taken = fit(slot, number, as_said, self.lexicon)
            if taken is not None:
                bonus = 0.4 if number.readings[0].unit and taken.value.unit and taken.cost < 1 else 0.0
                found.append(Choice(mention, slot, taken, cost + taken.cost - bonus))
        return found

    def _behind(self, number: Number, start: int, reach: int) -> list[Choice]:
        """Measures said before the number, from token ``start`` on, at most ``reach`` words away."""
        found: list[Choice] = []
        index, passed = bisect_right(self.starts, number.start) - 1, 0
        while index >= 0 and passed < 4:
            mention = self.mentions[index]
            if mention.start < start or self._words_between(mention.end, number.start) > reach:
                break
            own = self.slots_of(index)
            if own:
                gap = self._gap(mention.end, number.start, stop=1.5)
                found += self._fits(own, number, index, gap + 0.8 * passed)
                if number.readings[0].unit:
                    found += self._fits(self._followers(own), number, None, gap + 0.5 + 0.8 * passed)
                passed += 1
            index -= 1
        return found

    def _followers(self, own: Sequence[Slot]) -> list[Slot]:
        """What may be said after these without a name: the flow of oxygen after a saturation."""
        return [slot for before in own if before.id for slot in self.slots.followers.get(before.id, ())]

    def _before(self, number: Number, end: int, reach: int) -> list[Choice]:
        """Measures said after the number: "two plus pedal pulses"."""
        found: list[Choice] = []
        index = bisect_right(self.starts, number.end - 1)
        if index and self.mentions[index - 1].end > number.end:
            index -= 1
        passed = 0
        while index < len(self.mentions) and passed < 2:
            mention = self.mentions[index]
            if mention.start >= end or mention.start - number.end > reach:
                break
            own = self.slots_of(index)
            if own:
                gap = self._gap(number.end, mention.start, stop=9.0)
                found += self._fits(own, number, index, 0.5 + 1.5 * gap + 0.8 * passed)
                passed += 1
            index += 1
        return found

    def _words_between(self, start: int, end: int) -> int:
        """How many words that are no numbers stand in between."""
        if end - start > 4 * BEHIND:
            return end - start
        return sum(place not in self.in_number for place in range(start, end))

    def _gap(self, start: int, end: int, stop: float) -> float:
        cost = 0.0
        for place in range(start, end):
            if place in self.in_number:
                continue
            word = self.words[place]
            cost += stop if self.full_stop(place) else (0.01 if word in self.links else 0.1)
        return cost

    def full_stop(self, place: int) -> bool:
        """A mark that ends a sentence; dots in a row only show hesitation."""
        word = self.words[place]
        if word == "." and (self.words[place - 1] == "." or self.words[place + 1 : place + 2] == (".",)):
            return False
        return word in _STOPS

    def _by_cue(self, number: Number, first: int, last: int) -> list[Choice]:
        """Words from ``first`` to ``last`` that name a measure only beside a number: "satting", "afebrile at"."""
        found: list[Choice] = []
        start, end = self.segment(number.start)
        for at in range(max(start, first), min(end, last)):
            for stop, (name, full) in self.slots.cues.every(self.words, at):
                slot = self.slots.named(name)
                if at < number.start and at in self.in_number:
                    continue
                if self._of_other(at, stop, slot):
                    continue
                if slot.cue_needs_unit and not full and not self._may_point(at, stop, number):
                    continue
                cost = self._cue_cost(at, stop, number)
                place = self._place_named(at, stop)
                found += [choice for choice in self._fits((slot,), number, place, cost) if full or choice.fit.cost < 1]
        return found

    def _may_point(self, start: int, end: int, number: Number) -> bool:
        """A small word ("on") points only to a number with a unit that follows it."""
        return number.readings[0].unit is not None and (start < number.end or end - start > 1)

    def _cue_cost(self, start: int, end: int, number: Number) -> float:
        """Least for a cue of several words right beside the number."""
        if start >= number.end:
            cost = self._gap(number.end, start, 9.0) + 0.4
        else:
            cost = self._gap(end, number.start, 3.0) if end <= number.start else 0.0
        return cost + (0.3 if end - start > 1 and cost < 0.44 else 0.6)

    def _place_named(self, start: int, end: int) -> int | None:
        """The mention of a body site that the cue names ("dorsalis pedis two plus"), if it names one."""
        index = bisect_right(self.starts, start) - 1
        if index < 0 or self.mentions[index].end < end:
            return None
        return index if any(term.kind == "site" for term in self.mentions[index].terms) else None

    def _of_other(self, start: int, end: int, slot: Slot) -> bool:
        """Whether the words are part of a term that takes numbers itself ("pressure" in "pressure injury")."""
        index = bisect_right(self.starts, start) - 1
        if (
            index < 0
            or self.mentions[index].end < end
            or (self.mentions[index].start, self.mentions[index].end) == (start, end)
        ):
            return False
        own = self.slots_of(index)
        finding = any(term.kind == "concept" for term in self.mentions[index].terms)
        return finding and any(not other.spare for other in own) and slot not in own

    def _alone(self, number: Number) -> list[Choice]:
        """Numbers that can only be one thing."""
        found: list[Choice] = []
        for slot in self.slots.alone:
            first = number.readings[0]
            if first.shape in slot.alone_shapes or (first.unit and first.unit in slot.alone_units):
                found += [
                    c
                    for c in self._fits((slot,), number, None, 1.2)
                    if c.fit.cost < 1 and c.fit.likely and not c.fit.doubts
                ]
            elif slot.alone_range and first.shape == "decimal" and first.unit is None:
                low, high = slot.alone_range
                if low <= first.numbers[0] <= high and len(first.text.partition(".")[2]) == 1:
                    doubt = f"{slot.label} was not named"
                    found += [
                        replace(c, fit=replace(c.fit, doubts=(*c.fit.doubts, doubt)))
                        for c in self._fits((slot,), number, None, 1.6)
                    ]
        return found


def _cheapest(numbers: list[Number], choices: list[list[Choice]], placer: Places) -> list[Choice | None]:
    """The cheapest placement of all numbers together; a mention filled twice costs more unless it is a repeat.

    The usual shortest path through a row of columns: linear in the count of numbers.
    """
    columns: list[list[tuple[float, int, Choice | None]]] = []
    for i in range(len(numbers)):
        column: list[tuple[float, int, Choice | None]] = []
        for option in (*choices[i], None):
            own = option.cost if option is not None else _NONE_COST
            if not columns:
                column.append((own, -1, option))
                continue
            total, back = min(
                (cost + _again(before, option, numbers, i, placer), place)
                for place, (cost, _, before) in enumerate(columns[-1])
            )
            column.append((own + total, back, option))
        columns.append(column)
    return _way_back(columns)


def _way_back(columns: list[list[tuple[float, int, Choice | None]]]) -> list[Choice | None]:
    chosen: list[Choice | None] = []
    place = min(range(len(columns[-1])), key=lambda at: columns[-1][at][0]) if columns else -1
    for column in reversed(columns):
        _, back, option = column[place]
        chosen.append(option)
        place = back
    return chosen[::-1]


def _again(before: Choice | None, option: Choice | None, numbers: list[Number], at: int, places: Places) -> float:
    """What it costs to fill the slot of the number before once more."""
    if before is None or option is None:
        return 0.0
    same_slot = before.slot is option.slot
    if before.mention is None or option.mention is None:
        if not same_slot:
            return 0.0
    elif before.mention != option.mention:
        return 0.0
    first, last = numbers[at - 1].end, numbers[at].start
    if not same_slot:
        return 1.0
    parted = not _PARTING.isdisjoint(places.words[first:last])
    return (
        0.1 if parted or occurrences(places.tokens, (first, last), option.slot.groups, set(), places.lexicon) else 1.0
    )
