"""Finds cues in tokens: the words that say whether a finding is there.

A cue form is a sequence of words, in which ``{seen}`` stands for any one word of the set "seen" and
``{year}`` for a year in digits (see the head of ``lexicon/data/cues.yaml``). Fillers ("uh") are
passed over, so that a hesitation never splits a cue.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from lexicon import Lexicon
from lexicon.schema.cues import Cue, CuesFile
from parser.tokens import words_of

_SET = re.compile(r"\{\w*\}")
_YEAR = re.compile(r"(?:19|20)\d\d\Z")
_CUE = ""  # the key under which a node keeps its cue; no word is empty

_Node = dict[str, "_Node | Cue"]


@dataclass(frozen=True, slots=True)
class CueMatch:
    """A cue at words ``[start, end)`` of a :class:`Reading`."""

    start: int
    end: int
    cue: Cue


@dataclass(frozen=True, slots=True)
class Reading:
    """The tokens without fillers: ``words[i]`` is token ``at[i]``; ``place[t]`` is where token t went.

    A filler goes where the next word is; ``place`` has one entry more than there are tokens.
    """

    words: tuple[str, ...]
    at: tuple[int, ...]
    place: tuple[int, ...]


class CueBook:
    """All cues of a lexicon, ready to be found."""

    def __init__(self, file: CuesFile) -> None:
        self.fillers = frozenset(file.fillers)
        self.joins = frozenset(file.joins)
        self.links = frozenset(file.links)
        self.predicates = frozenset(file.predicates)
        self.subjects = frozenset(file.subjects)
        self.leads = frozenset(file.leads)
        self.unfinished = frozenset(file.unfinished)
        self._sets: dict[str, tuple[str, ...]] = {}
        for named in file.sets:
            for word in named.words:
                self._sets[word] = (*self._sets.get(word, ()), f"{{{named.id}}}")
        self._root: _Node = {}
        for cue in file.cues:
            for form in cue.forms:
                self._add(form, cue)

    def _add(self, form: str, cue: Cue) -> None:
        node = self._root
        at = 0
        for match in (*_SET.finditer(form), None):
            stop = match.start() if match else len(form)
            steps = [*words_of(form[at:stop]), *([match.group()] if match else ())]
            for step in steps:
                node = node.setdefault(step, {})  # type: ignore[assignment]
            at = match.end() if match else stop
        node[_CUE] = cue

    def read(self, words: Sequence[str]) -> Reading:
        """The words without fillers."""
        fillers = self.fillers
        if fillers.isdisjoint(words):
            same = tuple(range(len(words) + 1))
            return Reading(tuple(words), same[:-1], same)
        at = tuple(i for i, word in enumerate(words) if word not in fillers)
        place: list[int] = []
        kept = 0
        for word in words:
            place.append(kept)
            kept += word not in fillers
        place.append(kept)
        return Reading(tuple(words[i] for i in at), at, tuple(place))

    def find(self, words: Sequence[str], edges: Iterable[int] = ()) -> list[CueMatch]:
        """Cues from left to right, longest form first, without overlap.

        A cue never runs over an edge of a span: ``edges`` are the places where spans start and end
        ("no changes in vision" is not the phrase "no changes" when "changes in vision" is the finding).
        """
        fences = sorted(edges)
        found: list[CueMatch] = []
        root, sets = self._root, self._sets
        at, last, fence = 0, len(words), 0
        while at < last:
            word = words[at]
            if word not in root and word not in sets:
                at += 1
                continue
            while fence < len(fences) and fences[fence] <= at:
                fence += 1
            limit = fences[fence] if fence < len(fences) else last
            end, cue = self._longest(words, at, limit)
            if cue is None:
                at += 1
            else:
                found.append(CueMatch(at, end, cue))
                at = end
        return found

    def _longest(self, words: Sequence[str], at: int, limit: int) -> tuple[int, Cue | None]:
        """The longest cue that begins at ``at`` and ends by ``limit``; words win over sets."""
        nodes: list[_Node] = [self._root]
        best_end, best = at, None
        for here in range(at, limit):
            word = words[here]
            steps = (word, *self._sets.get(word, ()))
            if _YEAR.match(word):
                steps = (*steps, "{year}")
            nodes = [node[step] for node in nodes for step in steps if step in node]  # type: ignore[misc]
            if not nodes:
                break
            cue = next((node[_CUE] for node in nodes if _CUE in node), None)
            if cue is not None:
                best_end, best = here + 1, cue
        return best_end, best  # type: ignore[return-value]


_BOOKS: dict[tuple[str, tuple[str, ...]], CueBook] = {}


def cue_book(lexicon: Lexicon) -> CueBook:
    """The cues of a lexicon, built once. A lexicon without cues has an empty book."""
    key = (lexicon.version, lexicon.packs)
    if key not in _BOOKS:
        file = lexicon.files.get("cues")
        _BOOKS[key] = CueBook(file if isinstance(file, CuesFile) else CuesFile())
    return _BOOKS[key]
