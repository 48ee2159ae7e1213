"""Values: numbers filled into the slots of measures, scales and findings.

A number may stand after its measure ("heart rate is seventy two"), before it ("two plus pedal pulses")
or name it by itself ("one twenty over eighty"). All numbers of an utterance are placed together, so
that "edema two plus pedal pulses one plus" and "two plus pedal pulses one plus edema" both come out right.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from lexicon import Lexicon
from parser.components.layer import register
from parser.components.numbers import separate
from parser.grammar import grammar
from parser.layers import Boundary, Mention, Number, SlotValue
from parser.qualifying import distribute, occurrences, roughly
from parser.slots import Fit, Slot, Slots, fit, slots
from parser.tokens import Tokens

#: How far a number may stand behind its measure, and before it, in tokens.
BEHIND, BEFORE, CUE = 14, 6, 6
_LINKS = frozenset(
    [
        "is",
        "are",
        "was",
        "were",
        "of",
        "at",
        "the",
        "a",
        "an",
        "and",
        ",",
        ":",
        "=",
        "(",
        ")",
        "in",
        "now",
        "today",
        "to",
        "approximately",
        "about",
        "around",
        "reads",
        "reading",
        "measured",
        "noted",
        "has",
        "been",
        "has",
        "been",
        "his",
        "her",
        "their",
        "your",
        "my",
        "patient's",
        "it",
        "its",
        "it's",
        "uh",
        "um",
        "er",
        "which",
        "that",
        "on",
        "with",
        "for",
        "from",
        "rated",
        "palpable",
        "both",
        "equal",
        "bilaterally",
        "bilateral",
        "left",
        "right",
        "as",
        "recorded",
        "taken",
        "come",
        "came",
        "back",
        "looks",
        "look",
        "pretty",
        "good",
        "well",
        "up",
        "down",
        "still",
        "running",
        "shows",
        "showed",
        "currently",
        "he",
        "she",
        "they",
        "there",
        "this",
        "i",
        "get",
        "got",
        "have",
        "had",
        "measures",
        "measuring",
        "-",
        "–",
    ]
)
_PARTING = frozenset(["left", "right", "then", "and", "(", "or", "both"])
_SIDES = frozenset(("left", "right", "both", "bilateral"))
_STOPS = frozenset((".", ";", "?", "!"))
_NONE_COST = 3.0


@dataclass(frozen=True, slots=True)
class _Choice:
    """One way to place a number: at a mention, at a cue or by itself."""

    mention: int | None
    slot: Slot
    fit: Fit
    cost: float


def find_slot_values(
    tokens: Tokens,
    mentions: tuple[Mention, ...],
    numbers: tuple[Number, ...],
    boundaries: tuple[Boundary, ...],
    lexicon: Lexicon,
) -> tuple[SlotValue, ...]:
    """Every number that belongs to a measure, a scale or a finding, read for it, in order.

    ``mentions`` are the terms of the utterance, ``boundaries`` where statements begin. Numbers that
    belong to nothing are left out.
    """
    if not numbers:
        return ()
    return _Placer(tokens, mentions, boundaries, lexicon).place(numbers)


class _Placer:
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

    def slots_of(self, index: int) -> tuple[Slot, ...]:
        if index not in self._own:
            found = [slot for term in self.mentions[index].terms for slot in self.slots.of(term)]
            self._own[index] = tuple(dict.fromkeys(found))
        return self._own[index]

    def segment(self, place: int) -> tuple[int, int]:
        """The statement that holds a token: ``[start, end)``."""
        at = bisect_right(self.cuts, place)
        return (self.cuts[at - 1] if at else 0), (self.cuts[at] if at < len(self.cuts) else len(self.tokens))

    def place(self, numbers: tuple[Number, ...]) -> tuple[SlotValue, ...]:
        self.in_number = {place for number in numbers for place in range(number.start, number.end)}
        own = [part for number in numbers if not self._inside_term(number) for part in self._separated(number)]
        choices = [self.choices(number) for number in own]
        chosen = _cheapest(own, choices, self)
        placed = [(number, choice) for number, choice in zip(own, chosen, strict=True) if choice is not None]
        return tuple(self._values(self._restated(placed)))

    def _inside_term(self, number: Number) -> bool:
        """The words belong to a term with a number in its name ("s two", "cranial nerves two through twelve")."""
        index = bisect_right(self.starts, number.start) - 1
        if index < 0 or self.mentions[index].end <= number.start or self.slots_of(index):
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

    def _said_before(self, choice: _Choice, number: Number) -> bool:
        return choice.mention is None or self.mentions[choice.mention].start < number.start

    # -- where a number may belong --------------------------------------------------------------

    def choices(self, number: Number) -> list[_Choice]:
        """Every place for a number, each with its cost."""
        found = self._behind(number) + self._before(number)
        if any(choice.cost < 1 for choice in found):
            return found + self._by_cue(number, number.start - 2, number.start)
        return found + self._by_cue(number, number.start - CUE, number.end + 3) + self._alone(number)

    def _fits(self, slot_list: Sequence[Slot], number: Number, mention: int | None, cost: float) -> list[_Choice]:
        found = []
        as_said = self.tokens.slice_text(number.start, number.end)
        for slot in slot_list:
            taken = fit(slot, number, as_said, self.lexicon)
            if taken is not None:
                bonus = 0.4 if number.readings[0].unit and taken.value.unit and taken.cost < 1 else 0.0
                found.append(_Choice(mention, slot, taken, cost + taken.cost - bonus))
        return found

    def _behind(self, number: Number) -> list[_Choice]:
        """Measures said before the number."""
        found: list[_Choice] = []
        start, _ = self.segment(number.start)
        index, passed = bisect_right(self.starts, number.start) - 1, 0
        while index >= 0 and passed < 4:
            mention = self.mentions[index]
            if mention.start < start or self._words_between(mention.end, number.start) > BEHIND:
                break
            own = self.slots_of(index)
            if own:
                gap = self._gap(mention.end, number.start, stop=1.5)
                found += self._fits(own, number, index, gap + 0.8 * passed)
                passed += 1
            index -= 1
        return found

    def _before(self, number: Number) -> list[_Choice]:
        """Measures said after the number: "two plus pedal pulses"."""
        found: list[_Choice] = []
        _, end = self.segment(number.end - 1)
        index = bisect_right(self.starts, number.end - 1)
        if index and self.mentions[index - 1].end > number.end:
            index -= 1
        passed = 0
        while index < len(self.mentions) and passed < 2:
            mention = self.mentions[index]
            if mention.start >= end or mention.start - number.end > BEFORE:
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
            cost += stop if self._full_stop(place) else (0.01 if word in _LINKS else 0.1)
        return cost

    def _full_stop(self, place: int) -> bool:
        """A mark that ends a sentence; dots in a row only show hesitation."""
        word = self.words[place]
        if word == "." and (self.words[place - 1] == "." or self.words[place + 1 : place + 2] == (".",)):
            return False
        return word in _STOPS

    def _by_cue(self, number: Number, first: int, last: int) -> list[_Choice]:
        """Words from ``first`` to ``last`` that name a measure only beside a number: "satting", "afebrile at"."""
        found: list[_Choice] = []
        start, end = self.segment(number.start)
        for at in range(max(start, first), min(end, last)):
            for stop, (name, full) in self.slots.cues.every(self.words, at):
                slot = self.slots.named(name)
                if self._of_other(at, stop, slot):
                    continue
                if slot.cue_needs_unit and not full and not number.readings[0].unit:
                    continue
                after = at >= number.end
                gap = (
                    self._gap(stop, number.start, 3.0)
                    if stop <= number.start
                    else (self._gap(number.end, at, 9.0) + 0.4 if after else 0.0)
                )
                place = self._place_named(at, stop)
                found += [
                    choice for choice in self._fits((slot,), number, place, 0.6 + gap) if full or choice.fit.cost < 1
                ]
        return found

    def _place_named(self, start: int, end: int) -> int | None:
        """The mention of a body site that the cue names ("dorsalis pedis two plus"), if it names one."""
        index = bisect_right(self.starts, start) - 1
        if index < 0 or self.mentions[index].end < end:
            return None
        return index if any(term.kind == "site" for term in self.mentions[index].terms) else None

    def _of_other(self, start: int, end: int, slot: Slot) -> bool:
        """Whether the words are part of a term that takes numbers itself ("pressure" in "pressure injury")."""
        index = bisect_right(self.starts, start) - 1
        if index < 0 or self.mentions[index].end < end:
            return False
        own = self.slots_of(index)
        return bool(own) and slot not in own

    def _alone(self, number: Number) -> list[_Choice]:
        """Numbers that can only be one thing."""
        found: list[_Choice] = []
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

    # -- values ------------------------------------------------------------------------------------

    def _restated(self, placed: list[tuple[Number, _Choice]]) -> list[tuple[Number, _Choice]]:
        """Drops a value said again in another unit ("98.4 F (36.9 C)"), and marks one that does not agree."""
        kept: list[tuple[Number, _Choice]] = []
        for number, choice in placed:
            if kept and self._same_again(kept[-1], (number, choice)):
                doubt = self._disagreement(kept[-1][1].fit, choice.fit)
                if doubt:
                    before, earlier = kept[-1]
                    marked = replace(earlier.fit, doubts=(*earlier.fit.doubts, doubt))
                    kept[-1] = (before, replace(earlier, fit=marked))
                continue
            kept.append((number, choice))
        return kept

    def _same_again(self, before: tuple[Number, _Choice], after: tuple[Number, _Choice]) -> bool:
        first, second = before[1], after[1]
        units = first.fit.value.unit, second.fit.value.unit
        between = self.words[before[0].end : after[0].start]
        return (
            first.slot is second.slot
            and first.slot.kind == "measure"
            and None not in units
            and units[0] != units[1]
            and len(between) <= 3
            and all(word in ("(", "or", "/", "equals", "=", "that's", "which", "is", ",") for word in between)
        )

    def _disagreement(self, first: Fit, second: Fit) -> str | None:
        from parser.units import UnitError, convert

        if first.value.number is None or second.value.number is None:
            return None
        try:
            same = convert(second.value.number, second.value.unit or "", first.value.unit or "", self.lexicon)
        except UnitError:
            return None
        if abs(same - first.value.number) <= max(0.006 * abs(first.value.number), 0.15):
            return None
        return f"said again as {second.value.text} {second.value.unit}, which is {same:.1f} {first.value.unit}"

    def _values(self, placed: list[tuple[Number, _Choice]]) -> list[SlotValue]:
        values: list[SlotValue] = []
        taken: set[int] = set()
        at = 0
        while at < len(placed):
            until = at + 1
            while until < len(placed) and self._one_measure(placed[at], placed[until]):
                until += 1
            values += self._cluster(placed[at:until], placed[until : until + 1], taken)
            at = until
        return self._with_flow(values)

    def _one_measure(self, first: tuple[Number, _Choice], second: tuple[Number, _Choice]) -> bool:
        return (
            first[1].mention == second[1].mention
            and first[1].slot is second[1].slot
            and (first[1].mention is not None or self.segment(first[0].start) == self.segment(second[0].start))
        )

    def _cluster(
        self, cluster: list[tuple[Number, _Choice]], following: list[tuple[Number, _Choice]], taken: set[int]
    ) -> list[SlotValue]:
        """The values of one mention, each with its qualifiers."""
        start, end = self._window(cluster, following, taken)
        spans = [(number.start, number.end) for number, _ in cluster]
        inside = taken | {place for first, last in spans for place in range(first, last)}
        found = occurrences(self.tokens, start, end, cluster[0][1].slot.groups, inside, self.lexicon)
        taken.update(place for o in found for place in range(o.start, o.end))
        values = []
        for (number, choice), own in zip(cluster, distribute(found, spans, self.words), strict=True):
            labels = [occurrence.qualifier.label for occurrence in own]
            if roughly(self.tokens, number.start):
                labels.append("about")
            doubts = choice.fit.doubts + self._heard_alike(number)
            values.append(
                SlotValue(
                    choice.mention,
                    choice.slot.id,
                    number.start,
                    number.end,
                    choice.fit.value,
                    tuple(dict.fromkeys(labels)),
                    doubts,
                    choice.fit.other,
                )
            )
        return values

    def _window(
        self, cluster: list[tuple[Number, _Choice]], following: list[tuple[Number, _Choice]], taken: set[int]
    ) -> tuple[int, int]:
        """The tokens around a cluster in which its qualifiers may stand."""
        first, last, index = cluster[0][0], cluster[-1][0], cluster[0][1].mention
        mention = self.mentions[index] if index is not None else None
        low, high = self.segment(first.start)[0], self.segment(last.end - 1)[1]
        begin = min(mention.start, first.start) if mention else first.start
        start = max([low, begin - (5 if mention else 8), *(place + 1 for place in taken if place < begin)])
        start = max([start, *(place + 1 for place in range(start, first.start) if self._full_stop(place))])
        end = min(high, max(last.end, mention.end if mention else 0) + 8)
        end = min([end, *(place for place in range(last.end, min(end, len(self.words))) if self._full_stop(place))])
        for number, choice in following:
            other = self.mentions[choice.mention].start if choice.mention is not None else number.start
            end = min(end, max(last.end, min(number.start, other)))
        for place in range(bisect_right(self.starts, last.end - 1), len(self.mentions)):
            if self.mentions[place].start >= end:
                break
            if place != index and any(slot.kind == "measure" for slot in self.slots_of(place)):
                end = self.mentions[place].start
        while following and end > last.end and self.words[end - 1] in _SIDES:
            end -= 1
        return start, end

    def _heard_alike(self, number: Number) -> tuple[str, ...]:
        sounds = grammar(self.lexicon).sounds
        first, last = self.words[number.start], self.words[number.end - 1]
        for word in {first, last} & set(sounds):
            value = number.readings[0]
            if (first == word and value.shape in ("grade", "score")) or (last == word and value.shape == "times"):
                return (f'"{word}" was read as {sounds[word]:.0f}',)
        return ()

    def _with_flow(self, values: list[SlotValue]) -> list[SlotValue]:
        """Oxygen said right after a saturation is kept with it: "ninety two on two liters nasal cannula"."""
        result = list(values)
        for i in range(1, len(result)):
            flow, before = result[i], result[i - 1]
            oxygen = flow.measure in ("oxygen_flow", "fio2") or (flow.measure is None and flow.value.unit == "L/min")
            if oxygen and before.measure == "spo2" and flow.start - before.end <= 8:
                unit = f" {flow.value.unit}" if flow.value.unit not in (None, "%") else "%"
                labels = tuple(dict.fromkeys((*before.qualifiers, f"on {flow.value.text}{unit}", *flow.qualifiers)))
                result[i - 1] = replace(before, qualifiers=labels)
        return result


def _cheapest(numbers: list[Number], choices: list[list[_Choice]], placer: _Placer) -> list[_Choice | None]:
    """The cheapest placement of all numbers together; a mention filled twice costs more unless it is a repeat.

    The usual shortest path through a row of columns: linear in the count of numbers.
    """
    columns: list[list[tuple[float, int, _Choice | None]]] = []
    for i in range(len(numbers)):
        column: list[tuple[float, int, _Choice | None]] = []
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


def _way_back(columns: list[list[tuple[float, int, _Choice | None]]]) -> list[_Choice | None]:
    chosen: list[_Choice | None] = []
    place = min(range(len(columns[-1])), key=lambda at: columns[-1][at][0]) if columns else -1
    for column in reversed(columns):
        _, back, option = column[place]
        chosen.append(option)
        place = back
    return chosen[::-1]


def _again(before: _Choice | None, option: _Choice | None, numbers: list[Number], at: int, placer: _Placer) -> float:
    """What it costs to fill the slot of the number before once more."""
    if before is None or option is None or option.mention is None or before.mention != option.mention:
        return 0.0
    first, last = numbers[at - 1].end, numbers[at].start
    if before.slot is not option.slot:
        return 1.0
    parted = not _PARTING.isdisjoint(placer.words[first:last])
    return 0.1 if parted or occurrences(placer.tokens, first, last, option.slot.groups, set(), placer.lexicon) else 1.0


register("values", find_slot_values, requires=("terms", "numbers", "boundaries"))
