"""Where a finding is, in words: subjects ("left forearm") and tails (" of the left ankle", " bilaterally")."""

from __future__ import annotations

from dataclasses import dataclass

from lexicon import Lexicon
from lexicon.schema import Concept
from parser.note.grammar import Grammar, grammar_of, joined
from parser.record import Entry
from parser.statements import AND

_SIDES = {"left": " on the left", "right": " on the right", "both": " bilaterally", "midline": " in the midline"}


@dataclass(frozen=True, eq=False)
class Placing:
    """Wording of places in one lexicon."""

    lexicon: Lexicon

    @property
    def grammar(self) -> Grammar:
        return grammar_of(self.lexicon)

    def subject(self, entry: Entry, *, one: bool = False) -> str:
        """The site with its side, as the subject of a sentence: "left forearm", "both arms", "skin".

        A paired site without a side stands in the plural unless ``one``.
        """
        if not entry.site:
            return ""
        return joined([self._name(part, entry.side, one) for part in entry.site.split(AND)])

    def _name(self, part: str, side: str | None, one: bool) -> str:
        site = self.lexicon.sites.get(part.replace(" ", "_"))
        label = site.label if site else part
        if side in ("left", "right"):
            return label if label.startswith(side) else f"{side} {label}"
        if side == "both" and site and not site.paired:
            return label
        if side == "both":
            return label if label.startswith(("both", "all")) else f"both {self.grammar.plural(label)}"
        return self.grammar.plural(label) if site and site.paired and not one else label

    def preposition(self, region: str) -> str:
        """How places of a station are spoken of: "in", "on", "at" or "of"."""
        for word in ("in", "on", "at"):
            if region in self.grammar.lists.get(f"places_{word}", ()):
                return word
        return "of"

    def at(self, entry: Entry, preposition: str, *, one: bool = False) -> str:
        """The place behind a finding; a side alone is " on the left"; empty when neither is known."""
        if not entry.site:
            return _SIDES.get(entry.side or "", "")
        place = self.subject(entry, one=one)
        article = "" if place.startswith(("both ", "all ", "between ", "under ", "below ")) else "the "
        return f" {preposition} {article}{place}"

    def tails(self, entry: Entry, usual: str, concept: Concept | None, *, here: bool) -> tuple[str, ...]:
        """Ways of saying where, best first; nothing where the place goes without saying."""
        if not entry.site:
            return (self.at(entry, usual),)
        side = entry.model_copy(update={"site": None})
        whole = entry.model_copy(update={"side": None})
        known = concept is not None and concept.site is not None and entry.site == concept.site.replace("_", " ")
        tails = [self.at(side, usual)] if known or here else []
        tails += [""] if here else []
        tails += [self.at(entry, word) for word in (usual, "of", "in", "on")]
        tails += [self.at(entry, usual, one=True), self.at(whole, usual) + self.at(side, usual)]
        tails += [self.at(side, usual) if entry.side else f" {usual} the {entry.site}"]
        return tuple(dict.fromkeys(tails))
