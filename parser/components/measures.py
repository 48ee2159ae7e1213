"""Values: numbers filled into the slots of measures, scales and findings.

A number may stand after its measure ("heart rate is seventy two"), before it ("two plus pedal pulses")
or name it by itself ("one twenty over eighty"); :mod:`parser.placing` finds where each belongs. Here
values get their qualifiers, and a value said again in another unit is compared with the first.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import replace

from lexicon import Lexicon
from parser.components.layer import register
from parser.grammar import grammar
from parser.layers import Boundary, Mention, Number, SlotValue
from parser.placing import Choice, Places
from parser.qualifying import distribute, occurrences, roughly
from parser.slots import Fit
from parser.tokens import Tokens

_SIDES = frozenset(("left", "right", "both", "bilateral"))
_SAME_AGAIN = frozenset(("(", "or", "/", "equals", "=", "that's", "which", "is", ","))


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
    return _Values(tokens, mentions, boundaries, lexicon).of(numbers)


class _Values:
    def __init__(
        self, tokens: Tokens, mentions: tuple[Mention, ...], boundaries: tuple[Boundary, ...], lexicon: Lexicon
    ) -> None:
        self.tokens = tokens
        self.words = tokens.words
        self.mentions = mentions
        self.lexicon = lexicon
        self.places = Places(tokens, mentions, boundaries, lexicon)

    def of(self, numbers: tuple[Number, ...]) -> tuple[SlotValue, ...]:
        """The values of an utterance in order."""
        return tuple(self._values(self._restated(self.places.placed(numbers))))

    def _restated(self, placed: list[tuple[Number, Choice]]) -> list[tuple[Number, Choice]]:
        """Drops a value said again in another unit ("98.4 F (36.9 C)"), and marks one that does not agree."""
        kept: list[tuple[Number, Choice]] = []
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

    def _same_again(self, before: tuple[Number, Choice], after: tuple[Number, Choice]) -> bool:
        first, second = before[1], after[1]
        units = first.fit.value.unit, second.fit.value.unit
        between = self.words[before[0].end : after[0].start]
        return (
            first.slot is second.slot
            and first.slot.kind == "measure"
            and None not in units
            and units[0] != units[1]
            and len(between) <= 3
            and _SAME_AGAIN.issuperset(between)
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

    def _values(self, placed: list[tuple[Number, Choice]]) -> list[SlotValue]:
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

    def _one_measure(self, first: tuple[Number, Choice], second: tuple[Number, Choice]) -> bool:
        return (
            first[1].mention == second[1].mention
            and first[1].slot is second[1].slot
            and (
                first[1].mention is not None
                or self.places.segment(first[0].start) == self.places.segment(second[0].start)
            )
        )

    def _cluster(
        self, cluster: list[tuple[Number, Choice]], following: list[tuple[Number, Choice]], taken: set[int]
    ) -> list[SlotValue]:
        """The values of one mention, each with its qualifiers."""
        start, end = self._window(cluster, following, taken)
        spans = [(number.start, number.end) for number, _ in cluster]
        inside = taken | {place for first, last in spans for place in range(first, last)}
        found = occurrences(self.tokens, (start, end), cluster[0][1].slot.groups, inside, self.lexicon)
        taken.update(place for o in found for place in range(o.start, o.end))
        values = []
        for (number, choice), own in zip(cluster, distribute(found, spans, self.words), strict=True):
            labels = [occurrence.qualifier.label for occurrence in own]
            if roughly(self.tokens, number.start):
                labels.append("about")
            doubts = choice.fit.doubts + self._heard_alike(number) + self._as_change(number)
            values.append(
                SlotValue(
                    None if choice.slot.names else choice.mention,
                    choice.slot.names or choice.slot.id,
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
        self, cluster: list[tuple[Number, Choice]], following: list[tuple[Number, Choice]], taken: set[int]
    ) -> tuple[int, int]:
        """The tokens around a cluster in which its qualifiers may stand."""
        first, last, index = cluster[0][0], cluster[-1][0], cluster[0][1].mention
        mention = self.mentions[index] if index is not None else None
        low, high = self.places.segment(first.start)[0], self.places.segment(last.end - 1)[1]
        begin = min(mention.start, first.start) if mention else first.start
        start = max(
            [
                low,
                begin - (5 if mention else 8),
                *(place + 1 for place in range(max(low, begin - 8), begin) if place in taken),
            ]
        )
        start = max([start, *(place + 1 for place in range(start, first.start) if self.places.full_stop(place))])
        end = min(high, max(last.end, mention.end if mention else 0) + 8)
        end = min(
            [end, *(place for place in range(last.end, min(end, len(self.words))) if self.places.full_stop(place))]
        )
        for number, choice in following:
            other = self.mentions[choice.mention].start if choice.mention is not None else number.start
            end = min(end, max(last.end, min(number.start, other)))
        for place in range(bisect_right(self.places.starts, last.end - 1), len(self.mentions)):
            if self.mentions[place].start >= end:
                break
            if place != index and any(slot.kind == "measure" for slot in self.places.slots_of(place)):
                end = self.mentions[place].start
        while following and end > last.end and self.words[end - 1] in _SIDES:
            end -= 1
        return start, end

    def _as_change(self, number: Number) -> tuple[str, ...]:
        """ "Weight up two kilos" may tell by how much, not how much."""
        changed = number.readings[0].unit and grammar(self.lexicon).changes.before(self.words, number.start)
        return ("may be a change, not the value itself",) if changed else ()

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


create_values = register("values", find_slot_values, requires=("terms", "numbers", "boundaries"))
