"""Puts entries into words: for each entry, or several together, the sentences that could say it, best first."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from lexicon import Lexicon
from lexicon.schema import Concept
from parser.note.grammar import Grammar, grammar_of, joined
from parser.note.placing import Placing
from parser.record import Entry
from parser.statements import AND

#: Spoken forms tried after the label.
OTHER_FORMS = 6
#: Short words that may stand in a written form; other words of one or two letters are abbreviations.
_SHORT = frozenset(("a", "an", "as", "at", "be", "by", "do", "go", "in", "is", "it", "no", "of", "on", "or", "to"))
_LETTERS = re.compile(r"\b[a-zA-Z](?: [a-zA-Z])+\b")
_VOWELLESS = re.compile(r"\b(?!(?:mm|cm|kg|ml|mcg|mg|hr|th|nd|rd|st)\b)[bcdfghjklmnpqrstvwxz]{2,5}\b")
_TEMPLATES = {"history": "past", "family": "family", "uncertain": "uncertain"}


@dataclass(frozen=True, eq=False)
class Phrasing:
    """Wording of entries in one lexicon. ``here``: the place was named in the sentence before."""

    lexicon: Lexicon

    @property
    def grammar(self) -> Grammar:
        return grammar_of(self.lexicon)

    @property
    def places(self) -> Placing:
        return Placing(self.lexicon)

    def names(self, entry: Entry) -> list[str]:
        """The label, then other spoken forms."""
        concept = self.concept(entry)
        forms = concept.forms if concept else self._forms(entry)
        written = [form for form in forms if _in_full(form)]
        return list(dict.fromkeys((entry.label, *written[:OTHER_FORMS])))

    def _forms(self, entry: Entry) -> tuple[str, ...]:
        for file in ("measures", "scales"):
            for each in getattr(self.lexicon.files.get(file), file, ()):
                if each.id == entry.concept:
                    return tuple(each.forms)
        return ()

    def concept(self, entry: Entry) -> Concept | None:
        return self.lexicon.concepts.get(entry.concept)

    def absent_name(self, entry: Entry) -> str:
        """The name as it stands after "no": the plural of a word where the lexicon hears one."""
        concept = self.concept(entry)
        many = self.grammar.plural(entry.label)
        plain = " " not in entry.label and not self.grammar.is_plural(entry.label)
        return many if plain and concept and many in concept.forms else entry.label

    def absent_names(self, entries: Sequence[Entry]) -> list[str]:
        """Names after "no", "heave or lift" taken apart so that one "or" is left."""
        names: list[str] = []
        for entry in entries:
            concept, parts = self.concept(entry), entry.label.split(" or ")
            many = [self.grammar.plural(part) for part in parts]
            apart = concept is not None and len(parts) > 1 and all(each in concept.forms for each in many)
            names += many if apart else [self.absent_name(entry)]
        return names

    def value(self, entry: Entry) -> str:
        if entry.value is None:
            return ""
        about = "about " if "about" in entry.qualifiers else ""
        return about + self.grammar.quantity(entry.value.text, entry.value.unit)

    def details(self, entry: Entry) -> str:
        """Qualifiers behind a value: ", right arm, sitting"; those that only repeat the place are left out."""
        place = self.places.subject(entry)
        return "".join(f", {each}" for each in entry.qualifiers if each not in (place, "about"))

    def _expected(self, entry: Entry) -> bool:
        concept = self.concept(entry)
        return concept is not None and concept.nature == "normal"

    def neutral(self, entry: Entry) -> bool:
        """Whether it is a plain fact, neither expected nor not."""
        concept = self.concept(entry)
        return concept is not None and concept.nature == "neutral"

    def as_said(self, entry: Entry) -> str:
        """The words of the speaker, with figures for the number."""
        text, value = _LETTERS.sub(_capitals, entry.evidence.text.strip(" .,;")), entry.value
        text = _VOWELLESS.sub(_capitals, text)
        return text.replace(value.as_said, self.value(entry)) if value and value.as_said else text

    # -- one entry

    def alone(self, entry: Entry, region: str, *, here: bool = False) -> Iterator[str]:
        """Sentences that say one entry, best first; the words as said come last."""
        written = self._written(entry)
        if written:
            yield f"{written} {self.value(entry)}".strip() + self.details(entry)
            yield from (f"{written} {self.value(entry)}".strip() + tail for tail in self._tails(entry, region, here))
        for name in self.names(entry):
            yield from self._worded(entry, name, region, here)
            if name == entry.label and entry.value:
                yield self.as_said(entry)
        yield self.as_said(entry)

    def _written(self, entry: Entry) -> str | None:
        wording = self.grammar.wordings.get(entry.concept)
        return {"present": wording.present, "absent": wording.absent}.get(entry.status) if wording else None

    def _worded(self, entry: Entry, name: str, region: str, here: bool) -> Iterator[str]:
        ways = {"present": self._present, "absent": self._absent, "normal": self._normal,
                "not_assessed": self._not_assessed}.get(entry.status)
        if ways is not None:
            yield from ways(entry, name, region, here)
            return
        for tail in self._tails(entry, region, here):
            yield self.grammar.say(_TEMPLATES[entry.status], list=f"{name} {self.value(entry)}".strip() + tail)

    def _tails(self, entry: Entry, region: str, here: bool, preposition: str | None = None) -> tuple[str, ...]:
        usual = preposition or ("in" if entry.kind == "device" else self.places.preposition(region))
        return self.places.tails(entry, usual, self.concept(entry), here=here)

    def _be(self, subject: str) -> str:
        return "are" if self.grammar.is_plural(subject) or AND in subject else "is"

    def _present(self, entry: Entry, name: str, region: str, here: bool) -> Iterator[str]:
        shape, subject, predicate = self.grammar.shape(name)
        details, place = self.details(entry), self.places.subject(entry)
        if entry.value:
            yield from self._present_value(entry, name, region, here)
            return
        if shape == "adjective" and place:
            yield f"{place} {self._be(place)} {name}{details}"
        for tail in self._tails(entry, region, here, "in" if shape == "clause" else None):
            if entry.kind == "report" and shape == "noun" and not self.neutral(entry):
                yield self.grammar.say("reports", list=name + details + tail)
            if shape == "clause" and entry.kind not in ("step", "device"):
                yield f"{subject} {self._be(subject)} {predicate}{details}{tail}"
            if shape == "noun" and entry.kind == "finding" and not self._expected(entry):
                yield self.grammar.say("noted", list=name + details + tail)
            yield f"{name}{details}{tail}"
        if place:
            yield f"{place} {name}{details}"

    def _present_value(self, entry: Entry, name: str, region: str, here: bool) -> Iterator[str]:
        value, details, place = self.value(entry), self.details(entry), self.places.subject(entry)
        end = " bilaterally" if entry.side == "both" else ""
        artery = "artery" in place or "arteries" in place
        if entry.kind == "measure":
            yield f"{name} {value}{details}"
            if entry.qualifiers:
                first, *rest = entry.qualifiers
                yield f"{first} {name} {value}" + "".join(f", {each}" for each in rest)
                yield f"{name} {value}, {joined(entry.qualifiers)}"
                yield f"{name} {value} {' '.join(entry.qualifiers)}"
        if entry.kind == "scale" and artery:
            short = " ".join(word for word in place.split() if word not in ("artery", "arteries", "both"))
            yield f"{short} {self.grammar.plural(name) if end or AND in place else name} {value}{details}{end}"
        if place and set(place.split()) & set(name.split()):
            yield f"{place} {value}{details}"
        usual = self.places.preposition(region)
        for tail in self._tails(entry, region, here, "in" if usual == "of" and entry.kind == "scale" else None):
            if entry.kind == "device":
                yield f"{value} {name}{details}{tail}"
                yield f"{name}, {value}{details}{tail}"
            elif entry.value and entry.value.text.endswith("+") and entry.kind != "scale":
                yield f"{value} {name}{details}{tail}"
            yield f"{name} {value}{details}{tail}"
            yield f"{name}{tail} {value}{details}"
            yield f"{value} {name}{details}{tail}"
        if place:
            yield f"{place} {name} {value}{details}"
            yield f"{place} {value}{details}"

    def _absent(self, entry: Entry, name: str, region: str, here: bool) -> Iterator[str]:
        shape, subject, predicate = self.grammar.shape(name)
        place, value = self.places.subject(entry), f" {self.value(entry)}" if entry.value else ""
        said = self.absent_name(entry) if name == entry.label else name
        if shape == "adjective" and place:
            yield f"{place} {self._be(place)} not {name}"
        for tail in self._tails(entry, region, here):
            if entry.kind == "report" and shape == "noun":
                yield self.grammar.say("denies", list=said + value + tail)
            if shape == "clause":
                yield f"{subject} {self._be(subject)} not {predicate}{tail}"
                yield f"{subject} not {predicate}{tail}"
            if value:
                yield f"no {said} at{value}{tail}"
            if shape != "adjective":
                yield f"no {said}{value}{tail}"
            else:
                yield f"not {name}{tail}"
        concept = self.concept(entry)
        for form in [form for form in concept.absent_forms if _in_full(form)][:3] if concept else ():
            yield f"{place} {self._be(place)} {form}" if place else form
        if place:
            yield f"{place} {self._be(place)} not {name}"
            yield f"{place} not {name}"
            yield f"{place} no {said}"

    def _normal(self, entry: Entry, name: str, region: str, here: bool) -> Iterator[str]:
        place = self.places.subject(entry)
        for word in dict.fromkeys((name, "within normal limits", "normal")):
            if place:
                yield f"{place} {self._be(place)} {word}"
                yield f"{place} {word}"
            yield word + self.places.at(entry, self.places.preposition(region)) if word == name else f"{name} {word}"

    def _not_assessed(self, entry: Entry, name: str, region: str, here: bool) -> Iterator[str]:
        place = self.places.subject(entry)
        for tail in self._tails(entry, region, here):
            yield self.grammar.say("deferred", label=name + tail)
            yield self.grammar.say("not_assessed", label=name + tail)
            yield self.grammar.say("unable", label=name + tail)
        if place:
            yield self.grammar.say("not_assessed", label=f"{place} {name}")

    # -- several entries

    def qualities(self, entries: Sequence[Entry], region: str, *, here: bool = False) -> Iterator[str]:
        """Adjectives of one place: "Skin is warm, dry and intact"."""
        place, names = self.places.subject(entries[0]), [entry.label for entry in entries]
        yield f"{place} {self._be(place)} {joined(names)}" if place else joined(names)

    def negatives(self, entries: Sequence[Entry], region: str, *, here: bool = False) -> Iterator[str]:
        """Absent findings of one place: "No rash, lesions or bruising"."""
        names = joined(self.absent_names(entries), "or")
        for tail in self._tails(entries[0], region, here):
            yield f"no {names}{tail}"

    def described(self, entries: Sequence[Entry]) -> Iterator[str]:
        """Qualities and absences of one place: "Conjunctivae are pink, with no drainage"."""
        good = [e for e in entries if e.status == "present"]
        bad = self.absent_names([e for e in entries if e.status == "absent"])
        place = self.places.subject(entries[0])
        if good and bad:
            front = f"{place} {self._be(place)} {joined([e.label for e in good])}"
            yield f"{front}, with no {joined(bad, 'or')}"

    def attached(self, entries: Sequence[Entry]) -> Iterator[str]:
        """Something with a value and its qualities: "Deep tendon reflexes 2+, symmetrical"."""
        front, *more = entries
        yield f"{front.label} {self.value(front)}".strip() + f", {joined([e.label for e in more])}"

    def presents(self, entries: Sequence[Entry], region: str, *, here: bool = False) -> Iterator[str]:
        """Things found at one place: "Redness and swelling of the right calf noted"."""
        names = joined([entry.label for entry in entries])
        for tail in self._tails(entries[0], region, here):
            if not all(self._expected(entry) for entry in entries):
                yield self.grammar.say("noted", list=names + tail)
            yield names + tail

    def listed(self, entries: Sequence[Entry], template: str) -> Iterator[str]:
        """Reports, history and the like: "Denies nausea, vomiting or fever"."""
        labels = [entry.label for entry in entries]
        for last in ("or", "and") if template == "denies" else ("and",):
            yield self.grammar.say(template, list=joined(labels, last))

    def measured(self, entries: Sequence[Entry]) -> Iterator[str]:
        """Several values in one line: "Temperature 98.4 °F, oral; heart rate 76 per minute, regular"."""
        yield "; ".join(f"{entry.label} {self.value(entry)}{self.details(entry)}" for entry in entries)


def _in_full(form: str) -> bool:
    """Whether a spoken form can be written: no abbreviation, no loose end."""
    words = form.split()
    return all(len(word) > 2 or word in _SHORT or word.isdigit() for word in words) and words[-1] not in (
        "and", "or", "of", "the", "with")


def _capitals(match: re.Match[str]) -> str:
    """Letters said one by one as an abbreviation: "c v a" -> "CVA"; "a" before a word is left alone."""
    return match.group().replace(" ", "").upper()
