"""Sources, stations, sites and concepts: what can be found and where it belongs."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from lexicon.schema.base import Entry, Forms, Id, Ids, Strings

Nature = Literal["normal", "abnormal", "neutral"]


class Source(Entry):
    """A published source, and how surely its content is known (V, S, M or C)."""

    id: str
    citation: str
    mark: Literal["V", "S", "M", "C"]
    licence: str | None = None


class SourcesFile(Entry):
    sources: tuple[Source, ...] = ()


class Region(Entry):
    """A station of the examination, in record order."""

    id: Id
    title: str
    forms: Forms = ()
    #: Names that announce the station only at the start of a statement, being common words elsewhere.
    headings: Forms = ()
    loinc: str | None = None
    expected: Strings = ()
    source: Strings = ("C",)


class RegionsFile(Entry):
    regions: tuple[Region, ...] = ()
    remove: Ids = ()


class Site(Entry):
    """A part of the body, or a place on it, that findings can be about."""

    id: Id
    label: str
    forms: Forms
    paired: bool = False
    part_of: Id | None = None
    #: Naming the site makes its station current.
    opens: bool = True
    #: Other stations in which the site may be spoken of.
    also: Ids = ()


class Concept(Entry):
    """A finding, device, step, report or graded observation that can be said."""

    id: Id
    label: str
    forms: Forms = ()
    #: Forms that say in themselves that the finding is absent: "nontender", "afebrile".
    absent_forms: Forms = ()
    kind: Literal["finding", "scale", "step", "device", "report"] = "finding"
    nature: Nature = "neutral"
    #: Other stations where it may be filed; "any" for words used everywhere.
    also: Ids = ()
    #: Site taken when none is said.
    site: Id | None = None
    #: Sites it can be about; empty means any.
    sites: Ids = ()
    paired: bool = False
    #: Said right before a thing it tells how that is, and is no finding of its own: "firm" in "firm mass".
    attribute: bool = False
    #: A thing that takes such attributes: "mass".
    thing: bool = False
    #: Id in scales.yaml that reads a number said with it.
    scale: Id | None = None
    #: Shapes of number that may be said with it.
    slots: Ids = ()
    #: Concepts that cannot be true of the same place at the same time.
    opposite: Ids = ()
    #: "sentence = status, site, side, value": checked by the tests and spoken as examples.
    examples: Strings = ()
    source: Strings = ()

    @model_validator(mode="after")
    def _says_something(self) -> "Concept":
        if not self.forms and not self.absent_forms:
            raise ValueError("a concept needs forms or absent_forms")
        return self


class FindingsFile(Entry):
    """One station's sites and concepts. ``region`` is the station's id, or "any" for shared words."""

    region: Id
    source: Strings = ("C",)
    sites: tuple[Site, ...] = ()
    concepts: tuple[Concept, ...] = ()
    remove: Ids = ()
