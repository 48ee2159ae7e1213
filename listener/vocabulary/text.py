"""Dictation as words of the recogniser and trade words, and the ways in which trade words are heard."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from lexicon import Lexicon
from lexicon.schema.speech import SpeechFile
from lexicon.sounds import Pronouncer, Sounds, dictionary
from listener.errors import LexiconInvalid
from listener.vocabulary.fillings import Filling, Fillings
from listener.vocabulary.mapping import Way
from listener.vocabulary.ngrams import BITS, Ngrams, Words
from listener.vocabulary.phrases import dictation
from listener.vocabulary.respell import LIKELIEST, Respelled, Respeller, distance
from listener.vocabulary.spoken import Unspeakable, words_of_form

Line = tuple[str, ...]

#: A spelling this much further from the word than the nearest one is not taken.
_MARGIN = 0.7
_SPELLINGS_A_WAY = 2
_FARTHEST = 3.0
_SHORTEST_RESPELT = 3
_SLOT = re.compile(r"\{[^{}]*\}|[()|\[\]]")


@dataclass(frozen=True)
class Text:
    """``lines`` of dictation, the ``trade`` words in them that the recogniser lacks, and where each stands."""

    lines: tuple[Line, ...]
    trade: dict[str, str]


class Reader:
    """Says forms of the lexicon aloud, word by word."""

    def __init__(self, lexicon: Lexicon, words: Words) -> None:
        self.lexicon = lexicon
        self.words = words
        self.pronouncer = Pronouncer.of(_speech(lexicon))
        spellings = getattr(lexicon.files.get("spelling"), "spellings", ())
        self._respelt = [(entry.british, entry.american) for entry in spellings]
        self._said: dict[str, Line] = {}

    def said(self, form: str) -> Line:
        """The words of a form. Raises :class:`Unspeakable`."""
        line: list[str] = []
        for token in form.split():
            known = self._said.get(token)
            if known is None:
                known = self._said[token] = words_of_form(token, self._is_word, self._respelt)
            line.extend(known)
        return tuple(line)

    def _is_word(self, piece: str) -> bool:
        return self.has(piece) or self.pronouncer.known(piece)

    def has(self, word: str) -> bool:
        """Whether the recogniser has the word itself."""
        return self.words.ids.get(word, self.words.labels) < self.words.labels


def _speech(lexicon: Lexicon) -> SpeechFile:
    file = lexicon.files.get("speech")
    return file if isinstance(file, SpeechFile) else SpeechFile()


def written(reader: Reader) -> Text:
    """All dictation of the lexicon. Raises :class:`LexiconInvalid` for forms that cannot be said."""
    faults: list[str] = []
    trade: dict[str, str] = {}
    fillings = Fillings.of(reader.lexicon)
    for filling in (*fillings.everything, *_own_words(reader.lexicon)):
        try:
            line = reader.said(filling.text)
        except Unspeakable as fault:
            faults.append(f"{filling.where or 'the lexicon'}: {fault}")
            continue
        for word in line:
            if not reader.has(word):
                trade.setdefault(word, filling.where)
    if faults:
        raise LexiconInvalid("\n".join(dict.fromkeys(faults)))
    lines = tuple(line for text in dictation(reader.lexicon, fillings=fillings) if (line := reader.said(text)))
    for word in {word for line in lines for word in line}:
        if not reader.has(word):
            trade.setdefault(word, "values.py")
    return Text(lines, trade)


def _own_words(lexicon: Lexicon) -> Iterator[Filling]:
    """The words that stand in phrases.yaml itself, slots left out."""
    file = lexicon.files.get("phrases")
    for kind, ways in (("lists", "ways"), ("shapes", "say")):
        for entry in getattr(file, kind, ()):
            for way in getattr(entry, ways):
                yield Filling(_SLOT.sub(" ", way), where=lexicon.origins.get((kind, entry.id), ""))


#: A known word whose pronunciations are further than this from what the recogniser expects is respelled too.
_MISPRONOUNCED = 0.8


def ways_to_hear(
    text: Text, reader: Reader, stock: Ngrams, said: Mapping[str, tuple[Sounds, ...]]
) -> tuple[Way, ...]:
    """How each trade word of ``text`` can be heard, and each known word that the recogniser sounds wrongly.

    ``said`` tells how the recogniser pronounces its words; where it is empty, the CMU dictionary is taken.
    Raises :class:`LexiconInvalid` for words that sound like nothing.
    """
    respeller = Respeller(reader.words, stock, said or dictionary())
    found: list[Way] = []
    likely: list[Way] = []
    faults: list[str] = []
    wanted = {word: reader.pronouncer.ways(word) for word in text.trade} | _mispronounced(text, reader, said)
    for word, sounds in sorted(wanted.items()):
        spellings = _spellings(sounds, respeller)
        if not spellings and word in text.trade:
            faults.append(f"{text.trade[word]}: '{word}' cannot be heard: no known words sound like it; "
                          "add its sounds to speech.yaml")
        for spelling in spellings:
            if spelling.rare:
                found.append(Way(word, spelling.pieces))
            elif word in text.trade:
                likely.append(Way(word, spelling.pieces))
    if faults:
        raise LexiconInvalid("\n".join(faults))
    return (*found, *_in_company(likely, text.lines, reader.words, stock))


def _mispronounced(text: Text, reader: Reader, said: Mapping[str, tuple[Sounds, ...]]) -> dict[str, tuple[Sounds, ...]]:
    """Words of dictation that the recogniser knows, with the pronunciations that it does not expect."""
    found = {}
    for word in {word for line in text.lines for word in line}:
        expected = said.get(word)
        if expected:
            sure = reader.pronouncer.sure(word)
            unlike = tuple(way for way in sure if min(distance(way, other) for other in expected) > _MISPRONOUNCED)
            listed = word in reader.pronouncer.said
            if unlike and len(word) > _SHORTEST_RESPELT and (listed or len(unlike) == len(sure)):
                found[word] = unlike
    return found


def _spellings(ways: Iterable[Sounds], respeller: Respeller) -> list[Respelled]:
    """For each way of saying a word: its best rare spellings, and a likely one that sounds clearly nearer."""
    chosen: dict[tuple[str, ...], Respelled] = {}
    for sounds in ways:
        near = [spelling for spelling in respeller.spellings(sounds) if spelling.distance <= _FARTHEST]
        rare = [spelling for spelling in near if spelling.rare]
        likely = min((spelling for spelling in near if not spelling.rare), key=lambda s: s.distance, default=None)
        for spelling in rare[:_SPELLINGS_A_WAY]:
            if spelling.distance <= rare[0].distance + _MARGIN:
                chosen.setdefault(spelling.pieces, spelling)
        if likely and (not rare or likely.distance + _MARGIN < rare[0].distance):
            chosen.setdefault(likely.pieces, likely)
    return list(chosen.values())


def _in_company(ways: Sequence[Way], lines: Iterable[Line], words: Words, stock: Ngrams) -> list[Way]:
    """Likely spellings with the neighbours beside which they are as rare as the others."""
    trade = {way.word for way in ways}
    after: dict[str, set[str]] = defaultdict(set)
    before: dict[str, set[str]] = defaultdict(set)
    for line in lines if trade else ():
        for i, word in enumerate(line):
            if word in trade:
                if i:
                    after[word].add(line[i - 1])
                if i + 1 < len(line):
                    before[word].add(line[i + 1])
    placed = []
    for way in ways:  # one without company is still heard, but stays what it sounds like
        first, last = words.ids[way.pieces[0]], words.ids[way.pieces[-1]]
        placed.append(replace(
            way,
            after=frozenset(w for w in after[way.word] if _rare_pair(words.ids.get(w), first, words, stock)),
            before=frozenset(w for w in before[way.word] if _rare_pair(last, words.ids.get(w), words, stock)),
        ))
    return placed


def _rare_pair(older: int | None, newer: int | None, words: Words, stock: Ngrams) -> bool:
    if older is None or newer is None or older >= words.labels or newer >= words.labels:
        return True
    pair = np.array([(older << BITS) | newer])
    return bool(stock.unigram[older] * stock.after_one(pair)[0] < LIKELIEST)
