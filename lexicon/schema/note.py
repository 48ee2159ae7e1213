"""How notes are worded: templates, names of units, word classes, and what must never be written."""

from __future__ import annotations

import re
from string import Formatter

from pydantic import model_validator

from lexicon.schema.base import Entry, Id, Ids, Strings

#: What a template may hold between braces.
FIELDS = frozenset(("list", "label", "value", "text", "reason", "old", "new", "run", "source", "stations", "count"))


class Template(Entry):
    """A sentence with fields in braces. A field that does not exist is refused when the lexicon is read."""

    id: Id
    text: str

    @model_validator(mode="after")
    def _known_fields(self) -> "Template":
        try:
            fields = {name for _, name, _, _ in Formatter().parse(self.text) if name is not None}
        except ValueError as error:
            raise ValueError(f"the braces of the template '{self.id}' do not match ({error})") from None
        unknown = sorted(fields - FIELDS)
        if unknown:
            known = ", ".join(sorted(FIELDS))
            raise ValueError(f"the template '{self.id}' has the unknown field {{{unknown[0]}}}; known are {known}")
        return self


class WordList(Entry):
    """Words of one class, by which the wording tells how a label is put into a sentence."""

    id: Id
    words: Strings


class UnitName(Entry):
    """How a UCUM code is written in prose. ``close`` units stand right after the figure ("98%")."""

    id: Id
    code: str
    text: str
    close: bool = False


class Wording(Entry):
    """How a note says the concept ``id``, where its label does not do: when it is there, and when it is not."""

    id: Id
    present: str | None = None
    absent: str | None = None


class Plural(Entry):
    """A plural that no rule gives; ``id`` is the singular."""

    id: Id
    many: str


class Avoid(Entry):
    """Writing that must not appear in a note: ``patterns`` are regular expressions, case counts."""

    id: Id
    patterns: Strings
    write: str
    source: Strings

    @model_validator(mode="after")
    def _readable(self) -> "Avoid":
        for pattern in self.patterns:
            try:
                re.compile(pattern)
            except re.error as error:
                raise ValueError(f"the pattern {pattern} of '{self.id}' is no regular expression ({error})") from None
        return self


class NoteFile(Entry):
    templates: tuple[Template, ...] = ()
    word_lists: tuple[WordList, ...] = ()
    written_units: tuple[UnitName, ...] = ()
    wordings: tuple[Wording, ...] = ()
    irregular_plurals: tuple[Plural, ...] = ()
    avoid: tuple[Avoid, ...] = ()
    remove: Ids = ()
