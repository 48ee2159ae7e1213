"""Small files of words: spellings, directions, asides and corrections."""

from __future__ import annotations

from typing import Literal

from lexicon.schema.base import Entry, Forms, Id, Ids, Strings


class Spelling(Entry):
    id: Id
    british: str
    american: str


class SpellingFile(Entry):
    spellings: tuple[Spelling, ...] = ()
    remove: Ids = ()


class Direction(Entry):
    """Words spoken to the tool after its name."""

    id: Id
    forms: Forms
    meaning: str
    #: Can be undone by "recorder undo".
    undoable: bool = False


class AsideCue(Entry):
    """Words that open talk which is not dictation."""

    id: Id
    kind: Literal["conduct", "chat"]
    forms: Forms
    #: Questions cover what is asked about; requests and chat end where dictation starts again.
    question: bool = False
    #: At most this many words belong to it when nothing else ends it.
    reach: int = 8


class CorrectionCue(Entry):
    """Words that take back or replace what was said just before."""

    id: Id
    action: Literal["replace", "withdraw"]
    forms: Forms
    #: Only a correction when something that can replace follows ("actually", "rather").
    needs_replacement: bool = False


class DirectionsFile(Entry):
    """``names`` are the words by which the tool is addressed."""

    names: Forms = ()
    directions: tuple[Direction, ...] = ()
    asides: tuple[AsideCue, ...] = ()
    resume: Forms = ()
    corrections: tuple[CorrectionCue, ...] = ()
    announce: Forms = ()
    source: Strings = ("C",)
    remove: Ids = ()


class SideForm(Entry):
    """Words for a side; "none" for words that only look like one."""

    id: Id
    side: Literal["left", "right", "both", "midline", "none"]
    forms: Forms
    #: Only where it is written in capitals, and not behind a number: "R hip", not "2 L".
    capitals: bool = False


class Comparison(Entry):
    """Words that compare the sides; both are meant, and which is stronger is kept."""

    id: Id
    forms: Forms
    stronger: Literal["left", "right"]


class LateralityFile(Entry):
    sides: tuple[SideForm, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    remove: Ids = ()


class Mishearing(Entry):
    """What recognisers make of a term. ``regions`` and ``needs`` limit where it is believed."""

    id: Id
    heard: Forms
    read_as: str
    regions: Ids = ()
    #: One of these words must stand near by, when what was heard is ordinary English.
    needs: Strings = ()
    #: One of these words must stand right before it; none of those may.
    after: Strings = ()
    not_after: Strings = ()
    #: Right after it an abnormal finding must be named, or nothing at all.
    then: Literal["finding", "end"] | None = None


class MishearingsFile(Entry):
    mishearings: tuple[Mishearing, ...] = ()
    #: Words of ordinary talk: near them nothing is read by its sound.
    talk: Strings = ()
    remove: Ids = ()
