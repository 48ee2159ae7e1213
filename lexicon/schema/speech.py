"""How trade words sound, and the shapes in which findings are dictated: what hearing learns from."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field, field_validator

from lexicon.forms import expand
from lexicon.schema.base import Entry, Id, Ids, Strings

PHONEMES = frozenset([
    "AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW", "B", "CH", "D",
    "DH", "F", "G", "HH", "JH", "K", "L", "M", "N", "NG", "P", "R", "S", "SH", "T", "TH", "V", "W", "Y", "Z",
    "ZH",
])

_LETTERS = re.compile(r"[\^]?[a-z'VC]*\[[a-z']+\][a-z'VC]*\$?")


def _phonemes(text: str) -> str:
    unknown = [sound for sound in text.split() if sound not in PHONEMES]
    if unknown:
        raise ValueError(f"{unknown[0]!r} is no phoneme; the head of speech.yaml lists them")
    return text


Sounds = Annotated[str, BeforeValidator(lambda value: "" if value is None else value), AfterValidator(_phonemes)]


class Pronunciation(Entry):
    """A word and the ways of saying it, each a string of phonemes."""

    id: Annotated[str, AfterValidator(str.lower)]
    sounds: Annotated[
        tuple[Sounds, ...], BeforeValidator(lambda v: (v,) if isinstance(v, str) else v), Field(min_length=1)
    ]


class Sounding(Entry):
    """Letters and how they sound."""

    id: str
    sounds: Sounds


class LetterRule(Sounding):
    """Letters in square brackets, with what must stand before and after them, and how they sound."""

    @field_validator("id")
    @classmethod
    def _is_rule(cls, value: str) -> str:
        if not _LETTERS.fullmatch(value):
            raise ValueError("letters stand in square brackets, as in '^[ps]', '[c]e' or 'C[y]$'")
        return value


class SpeechFile(Entry):
    pronunciations: tuple[Pronunciation, ...] = ()
    beginnings: tuple[Sounding, ...] = ()
    endings: tuple[Sounding, ...] = ()
    letters: tuple[LetterRule, ...] = ()
    remove: Strings = ()


_SLOT = re.compile(r"\{([^{}]*)\}")
_NAME = re.compile(r"[a-z_]+(?::[a-z0-9_.\-+]+)*")


def _templates(value: tuple[str, ...]) -> tuple[str, ...]:
    for template in value:
        if not template.split():
            raise ValueError("a phrase is empty")
        for slot in _SLOT.findall(template):
            if not _NAME.fullmatch(slot):
                raise ValueError(f"'{{{slot}}}' is no slot; the head of phrases.yaml lists them")
        if _SLOT.sub("", template).translate(str.maketrans("", "", "{}")) != _SLOT.sub("", template):
            raise ValueError(f"braces do not match in {template!r}")
        expand(template)
    return value


#: Phrases in the notation of :mod:`lexicon.forms` with {slots}, as written.
Templates = Annotated[Strings, AfterValidator(_templates)]


class WordList(Entry):
    """A named list of ways, any of which may stand where {its id} stands; "" is silence."""

    id: Id
    ways: Strings


class PhraseShape(Entry):
    """Shapes of dictation that are about equally common; ``share`` weighs them against other shapes."""

    id: Id
    share: Annotated[int, Field(ge=1, le=1000)] = 10
    say: Templates


class PhrasesFile(Entry):
    #: Words of nearly every examination.
    common: Strings = ()
    lists: tuple[WordList, ...] = ()
    shapes: tuple[PhraseShape, ...] = ()
    remove: Ids = ()
