"""What the slots of dictated phrases can be filled with: every spoken form of the lexicon, by kind and station."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import product

from lexicon import Lexicon
from lexicon.schema import Concept
from listener.vocabulary.values import Range

#: The station of what can be said anywhere.
ANYWHERE = "any"

Values = tuple[tuple[tuple[str, ...], Range], ...]

_SET = re.compile(r"\{([a-z_]+)\}")
_MOST_WAYS = 60

#: How much oftener a form is dictated when all, or some, of its words are common ones; words that do not count.
_ALL_COMMON, _SOME_COMMON = 10.0, 2.5
_SMALL_WORDS = frozenset({"a", "an", "and", "at", "for", "from", "in", "of", "on", "or", "the", "to", "with"})
#: How much oftener the concepts and sites are named that a complete run has.
_CHECKED = 3.0
_CHIEF = 2


@dataclass(frozen=True)
class Filling:
    """A spoken form; ``values``, ``units`` and ``qualifiers`` are what may be said with it.

    ``where``: its place in a file. ``chief``: among the first forms of its entry.
    """

    text: str
    weight: float = 1.0
    values: Values = ()
    units: tuple[str, ...] = ()
    qualifiers: tuple[str, ...] = ()
    where: str = ""
    chief: bool = False


@dataclass
class Fillings:
    """``everything`` once, and by (slot, station)."""

    everything: list[Filling] = field(default_factory=list)
    by_kind: dict[tuple[str, str], list[Filling]] = field(default_factory=lambda: defaultdict(list))
    sides: tuple[str, ...] = ("left", "right", "both", "bilateral")
    common: frozenset[str] = frozenset()

    @classmethod
    def of(cls, lexicon: Lexicon) -> "Fillings":
        found = cls(common=frozenset(getattr(lexicon.files.get("phrases"), "common", ())))
        for collect in (_regions, _sites, _concepts, _measures, _scales, _cues, _directions, _sentences):
            for kinds, region, filling in collect(lexicon):
                found.add(kinds, region, filling)
        return found

    def add(self, kinds: Iterable[str], region: str, filling: Filling) -> None:
        self.everything.append(filling)
        for kind in kinds:
            self.by_kind[(kind, region)].append(filling)

    def of_kind(self, kind: str, region: str) -> Sequence[Filling]:
        """What can fill a slot at a station; at "any", what belongs to none, or else all there is."""
        own = self.by_kind.get((kind, region), [])
        if own or region != ANYWHERE:
            return own
        return [filling for (other, _), all_ in sorted(self.by_kind.items()) if other == kind for filling in all_]

    def weight(self, filling: Filling) -> float:
        """How often a form is dealt: first forms, common words and what checklists look for most."""
        return filling.weight * _commonness(filling.text, self.common)

    def chief(self, kind: str) -> list[tuple[str, Filling]]:
        """(station, form) of the chief forms of a kind."""
        return [(region, filling) for (other, region), all_ in sorted(self.by_kind.items()) if other == kind
                for filling in all_ if filling.chief]

    def has(self, region: str) -> bool:
        return any(station == region for _, station in self.by_kind)


Found = Iterator[tuple[tuple[str, ...], str, Filling]]


def _commonness(text: str, common: frozenset[str]) -> float:
    words = [word for word in text.split() if word not in _SMALL_WORDS]
    known = sum(word in common for word in words)
    return 1.0 if not known else _ALL_COMMON if known == len(words) else _SOME_COMMON


def _checked(lexicon: Lexicon) -> frozenset[str]:
    """Ids of concepts, sites, measures and scales that checklists look for."""
    matches = [match for item in getattr(lexicon.files.get("checklist"), "items", ()) for match in item.any]
    return frozenset(name for match in matches for name in (*match.concepts, *match.sites))


def _sentences(lexicon: Lexicon) -> Found:
    """The sentences of norms and checklists."""
    for name, region in lexicon.regions.items():
        for text in region.expected:
            yield ("example",), name, Filling(text.lower(), _CHECKED)
    for item in getattr(lexicon.files.get("checklist"), "items", ()):
        if item.say:
            yield ("example",), item.region, Filling(item.say.lower(), _CHECKED)


def _ranked(
    forms: Sequence[str], where: str, *, weight: float = 1.0, values: Values = (), units: tuple[str, ...] = (),
    qualifiers: tuple[str, ...] = (),
) -> Iterator[Filling]:
    """The first form is said most."""
    for rank, form in enumerate(forms):
        yield Filling(form, weight / (rank + 2), values, units, qualifiers, where, rank < _CHIEF)


def _regions(lexicon: Lexicon) -> Found:
    for name, region in lexicon.regions.items():
        for filling in _ranked((*region.forms, region.title.lower()), lexicon.origins[("regions", name)]):
            yield ("region",), name, filling


def _sites(lexicon: Lexicon) -> Found:
    checked = _checked(lexicon)
    for name, site in lexicon.sites.items():
        weight = _CHECKED if name in checked else 1.0
        for filling in _ranked(site.forms, lexicon.origins[("sites", name)], weight=weight):
            yield ("site",), lexicon.home[name], filling


def _concepts(lexicon: Lexicon) -> Found:
    scales = {scale.id: scale for scale in getattr(lexicon.files.get("scales"), "scales", ())}
    slots, checked = _slots(lexicon), _checked(lexicon)
    for name, concept in lexicon.concepts.items():
        where, home = lexicon.origins[("concepts", name)], lexicon.home[name]
        values: Values = ()
        if concept.scale in scales:
            scale = scales[concept.scale]
            values = ((scale.shapes, Range(scale.least, scale.most, out_of=scale.out_of)),)
        values += tuple((slots[slot][0], Range(1, 12)) for slot in concept.slots if slot in slots)
        units = tuple(unit for slot in concept.slots if slot in slots for unit in slots[slot][1])
        weight, kinds = _CHECKED if name in checked else 1.0, _kinds(concept)
        for filling in _ranked(concept.forms, where, weight=weight, values=values, units=units):
            yield kinds, home, filling
        for filling in _ranked(concept.absent_forms, where, weight=weight):
            yield ("absent_word",), home, filling
        for example in concept.examples:
            yield ("example",), home, Filling(example.split("=")[0].strip().lower(), where=where)


def _kinds(concept: Concept) -> tuple[str, ...]:
    kinds = {"step": ("step",), "device": ("device",), "report": ("report",)}.get(
        concept.kind, ("finding", concept.nature)
    )
    return (*kinds, *(("graded",) if concept.scale else ()), *(("sized",) if concept.slots else ()))


def _slots(lexicon: Lexicon) -> dict[str, tuple[tuple[str, ...], tuple[str, ...]]]:
    """Kind of number a finding can take -> its shapes and the ways of saying its units."""
    numbers = lexicon.files.get("numbers")
    units: dict[str, list[str]] = defaultdict(list)
    for unit in getattr(numbers, "units", ()):
        units[unit.kind].extend(_aloud(unit.forms))
    return {
        slot.id: (slot.shapes, tuple(form for kind in slot.units for form in units[kind]))
        for slot in getattr(numbers, "slots", ())
    }


def _aloud(forms: Iterable[str]) -> list[str]:
    """Ways of saying a unit: whole words, not the signs and short forms of writing."""
    return [form for form in forms if re.fullmatch(r"[a-z ']+", form) and re.search(r"[aeiou]\w|\w\w[aeiou]", form)]


def _measures(lexicon: Lexicon) -> Found:
    file = lexicon.files.get("measures")
    said_units = {unit.code: _aloud(unit.forms) for unit in getattr(lexicon.files.get("numbers"), "units", ())}
    circumstances: dict[str, list[str]] = defaultdict(list)
    for qualifier in getattr(file, "qualifiers", ()):
        circumstances[qualifier.group].extend(qualifier.forms)
        for filling in _ranked(qualifier.forms, ""):
            yield ("circumstance",), ANYWHERE, filling
    for measure in getattr(file, "measures", ()):
        where = lexicon.origins[("measures", measure.id)]
        parts = [(part.least, part.most) for part in measure.parts]
        values: Values = tuple(
            (measure.shapes, Range(*unit.likely) if len(parts) < 2 else Range(*parts[0], *parts[1]))
            for unit in measure.units
        ) or ((measure.shapes, Range(0, 200)),)
        units = tuple(form for unit in measure.units for form in said_units.get(unit.code, ()))
        qualifiers = tuple(form for group in measure.qualifiers for form in circumstances[group])
        forms = (*measure.forms, *measure.cues)
        for filling in _ranked(forms, where, values=values, units=units, qualifiers=qualifiers):
            yield ("measure",), "vital_signs", filling


def _scales(lexicon: Lexicon) -> Found:
    for scale in getattr(lexicon.files.get("scales"), "scales", ()):
        where = lexicon.origins[("scales", scale.id)]
        values: Values = ((scale.shapes, Range(scale.least, scale.most, out_of=scale.out_of)),)
        for filling in _ranked((*scale.forms, *scale.cues), where, values=values):
            yield ("scale",), ANYWHERE, filling


def _cues(lexicon: Lexicon) -> Found:
    file = lexicon.files.get("cues")
    sets = {entry.id: entry.words for entry in getattr(file, "sets", ())}
    for cue in getattr(file, "cues", ()):
        kind = "cue:gone" if cue.status == "absent" and cue.side == "before" else f"cue:{cue.status}"
        forms = [way for form in cue.forms for way in _with_sets(form, sets) if "n't" not in way.split()]
        for filling in _ranked(forms, lexicon.origins.get(("cues", cue.id), "")):
            yield (kind,), ANYWHERE, filling


def _with_sets(form: str, sets: dict[str, Sequence[str]]) -> list[str]:
    """Ways of a cue with words of its sets in place; of very many ways an even choice."""
    pieces = _SET.split(form)
    if any(name not in sets for name in pieces[1::2]):
        return []
    choices = [sets[piece] if i % 2 else (piece,) for i, piece in enumerate(pieces)]
    total = 1
    for choice in choices:
        total *= len(choice)
    step = max(1, total // _MOST_WAYS)
    ways = ["".join(way) for i, way in enumerate(product(*choices)) if i % step == 0] if total < 100_000 else []
    return ways


def _directions(lexicon: Lexicon) -> Found:
    file = lexicon.files.get("directions")
    lists = {
        "name": getattr(file, "names", ()), "resume": getattr(file, "resume", ()),
        "announce": getattr(file, "announce", ()),
        "direction": [form for entry in getattr(file, "directions", ()) for form in entry.forms],
        "correction": [form for entry in getattr(file, "corrections", ()) for form in entry.forms],
    }
    for entry in getattr(file, "asides", ()):
        kind = "question" if entry.question else "request" if entry.kind == "conduct" else "small_talk"
        lists[kind] = [*lists.get(kind, ()), *entry.forms]
    for kind, forms in lists.items():
        for filling in _ranked(forms, ""):
            yield (kind,), ANYWHERE, filling
