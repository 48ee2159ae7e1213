"""Finds the lexicon's spoken forms in tokens: one pass, longest form first, all kinds together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any, Generic, TypeVar

from lexicon import Lexicon
from parser.layers import Term
from parser.tokens import words_of

Item = TypeVar("Item")

#: A form of at least so many words may be written with commas ("pupils equal, round, and reactive to light").
LISTED = 4


class FormIndex(Generic[Item]):
    """A prefix tree over token sequences. Spellings are read as American on both sides."""

    def __init__(self, forms: Iterable[tuple[str, Item]], spellings: Mapping[str, str] | None = None) -> None:
        self._spell = _Speller(spellings or {})
        self._root: dict[Any, Any] = {}
        for form, item in forms:
            node = self._root
            for word in words_of(form):
                node = node.setdefault(self._spell[word], {})
            found = node.setdefault(None, [])
            if item not in found:
                found.append(item)

    def find(self, words: Sequence[str]) -> list[tuple[int, int, tuple[Item, ...]]]:
        """Longest forms from left to right, without overlap: ``(start, end, items)``."""
        spell = self._spell
        read = [spell[word] for word in words]
        root = self._root
        found: list[tuple[int, int, tuple[Item, ...]]] = []
        at, last = 0, len(read)
        while at < last:
            node = root.get(read[at])
            if node is None:
                at += 1
                continue
            here, depth, end = at, 0, at
            items: list[Item] | None = None
            while node is not None:
                here, depth = here + 1, depth + 1
                if None in node and (here - at == depth or depth >= LISTED):
                    end, items = here, node[None]
                if here < last and read[here] == "," and "," not in node and here + 1 < last:
                    here += 1
                node = node.get(read[here]) if here < last else None
            if items:
                found.append((at, end, tuple(items)))
                at = end
            else:
                at += 1
        return found


class _Speller(dict[str, str]):
    """Word -> its American spelling, remembered."""

    def __init__(self, spellings: Mapping[str, str]) -> None:
        super().__init__()
        self._pairs = tuple(spellings.items())

    def __missing__(self, word: str) -> str:
        read = word
        for british, american in self._pairs:
            if british in read:
                read = read.replace(british, american)
        if len(self) < 50_000:
            self[word] = read
        return read


@lru_cache(maxsize=4)
def term_index(lexicon: Lexicon) -> FormIndex[Term]:
    """The index of every station, site, concept, measure and scale of a lexicon."""
    return FormIndex(_forms(lexicon), spellings(lexicon))


def spellings(lexicon: Lexicon) -> dict[str, str]:
    """British letters -> American letters."""
    return {s.british: s.american for s in getattr(lexicon.files.get("spelling"), "spellings", ())}


def _forms(lexicon: Lexicon) -> Iterable[tuple[str, Term]]:
    for concept in lexicon.concepts.values():
        yield from ((form, Term("concept", concept.id)) for form in concept.forms)
        yield from ((form, Term("concept", concept.id, absent=True)) for form in concept.absent_forms)
    for site in lexicon.sites.values():
        yield from ((form, Term("site", site.id)) for form in site.forms)
    for kind, file, field in (("measure", "measures", "measures"), ("scale", "scales", "scales")):
        for entry in getattr(lexicon.files.get(file), field, ()):
            yield from ((form, Term(kind, entry.id)) for form in entry.forms)
    for region in lexicon.regions.values():
        yield from ((form, Term("region", region.id)) for form in region.forms)
        yield from ((form, Term("heading", region.id)) for form in region.headings)

