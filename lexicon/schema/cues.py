"""Cues: words that say whether a finding is there, and words that end what such a word reaches."""

from __future__ import annotations

from typing import Literal

from lexicon.schema.base import Entry, Forms, Id, Ids

CueStatus = Literal[
    "present", "absent", "uncertain", "not_assessed", "history", "family", "hypothetical", "none", "break"
]


class Cue(Entry):
    """One kind of cue. The head of ``cues.yaml`` explains each key."""

    id: Id
    status: CueStatus
    side: Literal["after", "before", "either"] = "after"
    reach: Literal["word", "item", "list", "clause"] = "list"
    #: Only where a statement begins: "any pain" is a question, "or any pain" is not.
    begins: bool = False
    forms: Forms


class CueSet(Entry):
    """A named set of single words: ``{seen}`` in a form stands for any one word of the set "seen"."""

    id: Id
    words: Forms


class CuesFile(Entry):
    """All cues, and the small words that lists and clauses are made of."""

    sets: tuple[CueSet, ...] = ()
    cues: tuple[Cue, ...] = ()
    #: Words dropped before anything is read: "uh", "um".
    fillers: Forms = ()
    #: Words that join the items of a list: "or", "and", ",".
    joins: Forms = ()
    #: Words that may stand between a finding and a cue after it: "is", "was".
    links: Forms = ()
    #: Verbs that make a finding a statement of its own: "pupils are equal" is no item of a list.
    predicates: Forms = ()
    #: Words that tell of whom a cue speaks: "patient", "she": "she denied pain", not "pain denied".
    subjects: Forms = ()
    #: Words that go with the term after them: "the abdomen", "left arm".
    leads: Forms = ()
    #: Words after which a statement is never over: "of", "the", "with".
    unfinished: Forms = ()
    #: Words that lead from a finding to what it is taken for: "consistent with".
    readings: Forms = ()
    #: Words that lead from a finding to its reason, where the reason belongs to the history: "from a previous surgery".
    reasons: Forms = ()
    remove: Ids = ()
