"""What numbers each measure, scale and finding can take, compiled from the lexicon."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from lexicon import Lexicon
from lexicon.schema.measures import Measure, MeasuresFile, NumbersFile, PartRule, Scale, ScalesFile, SlotKind, UnitRule
from parser.grammar import Phrases, grammar
from parser.layers import Term


@dataclass(frozen=True, slots=True)
class Slot:
    """What one measure, scale or kind of number takes; ``id`` is None for a kind of number."""

    id: str | None
    kind: str
    label: str
    shapes: tuple[str, ...]
    units: tuple[UnitRule, ...] = ()
    unit_kinds: frozenset[str] = frozenset()
    unit_needed: bool = False
    unit: str | None = None
    stands_for: tuple[tuple[str, str], ...] = ()
    parts: tuple[PartRule, ...] = ()
    groups: frozenset[str] = frozenset()
    scale: Scale | None = None
    #: "A hundred and four" may be 100.4.
    tenths: bool = False
    #: The measure that a number of this kind is by itself.
    names: str | None = None
    #: Offered only where nothing else takes the number: the size of any abnormal finding.
    spare: bool = False
    alone_units: frozenset[str] = frozenset()
    alone_shapes: frozenset[str] = frozenset()
    alone_range: tuple[float, float] | None = None
    cue_needs_unit: bool = False


@dataclass(frozen=True)
class Slots:
    """Every slot of a lexicon, and the cues that point to measures beside numbers."""

    measures: Mapping[str, Slot]
    scales: Mapping[str, Slot]
    kinds: Mapping[str, Slot]
    #: Phrase -> (measure or scale, whether it names it in full).
    cues: Phrases[tuple[str, bool]]
    alone: tuple[Slot, ...]
    #: Measure -> what may be said after it without a name.
    followers: Mapping[str, tuple[Slot, ...]]
    concepts: Mapping[str, tuple[Slot, ...]]

    def of(self, term: Term) -> tuple[Slot, ...]:
        """The slots of a term: none for most words."""
        if term.kind == "measure":
            slot = self.measures.get(term.id)
        elif term.kind == "scale":
            slot = self.scales.get(term.id)
        else:
            own = self.concepts.get(term.id, ()) if term.kind == "concept" else ()
            return own if not term.absent else tuple(slot for slot in own if not slot.spare)
        return (slot,) if slot else ()

    def named(self, name: str) -> Slot:
        """The measure or scale of this id."""
        return self.measures[name] if name in self.measures else self.scales[name]


@lru_cache(maxsize=4)
def slots(lexicon: Lexicon) -> Slots:
    """The slots of a lexicon."""
    file, graded = lexicon.files.get("measures"), lexicon.files.get("scales")
    measures = file.measures if isinstance(file, MeasuresFile) else ()
    scales = graded.scales if isinstance(graded, ScalesFile) else ()
    by_measure = {measure.id: _of_measure(measure) for measure in measures}
    by_scale = {scale.id: _of_scale(scale) for scale in scales}
    kinds = {kind.id: _of_kind(kind) for kind in grammar(lexicon).file.slots}
    cues: Phrases[tuple[str, bool]] = Phrases()
    entries: list[Measure | Scale] = [*measures, *scales]
    for entry in entries:
        for full, forms in ((True, entry.forms), (False, entry.cues)):
            for form in forms:
                cues.add(form, (entry.id, full))
    followers: dict[str, tuple[Slot, ...]] = {}
    for measure in measures:
        for name in measure.follows:
            followers[name] = (*followers.get(name, ()), by_measure[measure.id])
    named = {**kinds, **by_measure, **by_scale}
    concepts = {
        concept.id: tuple(
            _naming(named[name], concept.slots, grammar(lexicon).file, by_measure)
            for name in (concept.scale, *concept.slots)
            if name in named
        )
        for concept in lexicon.concepts.values()
    }
    if "size" in kinds:
        spare = replace(kinds["size"], spare=True)
        concepts.update(
            (concept.id, (spare,))
            for concept in lexicon.concepts.values()
            if not concepts[concept.id]
            and concept.kind == "finding"
            and concept.nature != "normal"
            and not concept.attribute
        )
    alone = tuple(
        s for s in (*by_measure.values(), *by_scale.values()) if s.alone_units or s.alone_shapes or s.alone_range
    )
    return Slots(by_measure, by_scale, kinds, cues, alone, followers, concepts)


def _naming(slot: Slot, taken: tuple[str, ...], file: NumbersFile, measures: Mapping[str, Slot]) -> Slot:
    """The slot of a kind, with the measure that its number is by itself, and the qualifiers of that measure."""
    kind = next((kind for kind in file.slots if slot.kind == "slot" and kind.id == slot.label), None)
    if (
        kind is None
        or kind.names is None
        or kind.names not in measures
        or (kind.names_beside and kind.names_beside not in taken)
    ):
        return slot
    return replace(slot, names=kind.names, groups=measures[kind.names].groups)


def _of_kind(kind: SlotKind) -> Slot:
    return Slot(
        None,
        "slot",
        kind.id,
        kind.shapes,
        unit_kinds=frozenset(kind.units),
        unit_needed=kind.unit_needed,
        unit=kind.unit,
        stands_for=tuple(kind.stands_for.items()),
    )


def _of_measure(measure: Measure) -> Slot:
    return Slot(
        measure.id,
        "measure",
        measure.label,
        measure.shapes,
        measure.units,
        parts=measure.parts,
        groups=frozenset(measure.qualifiers),
        alone_units=frozenset(measure.alone_units),
        alone_shapes=frozenset(measure.alone_shapes),
        alone_range=measure.alone_range,
        tenths=measure.tenths,
        cue_needs_unit=measure.cue_needs_unit,
    )


def _of_scale(scale: Scale) -> Slot:
    return Slot(
        scale.id,
        "scale",
        scale.label,
        scale.shapes,
        unit=scale.unit,
        groups=frozenset(scale.qualifiers),
        scale=scale,
        alone_shapes=frozenset(scale.alone_shapes),
    )
