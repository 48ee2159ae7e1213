"""Reads from an acoustic model how it pronounces each of its words.

A model with a language model of its own keeps its pronunciations in ``graph/HCLr.fst``, a graph from
states of sound to words (Mohri, Pereira and Riley 2008, "Speech recognition with weighted finite-state
transducers": H, C and L composed). Walking it from the start gives every word with its phones; the
transition model in ``am/final.mdl`` tells the phone of each state of sound. Phones have positions
(begin, end, internal, singleton) and no names there; they are named by order, as the 39 phonemes of the
CMU dictionary sorted, which is checked against that dictionary.
"""

from __future__ import annotations

import struct
from collections import defaultdict
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from lexicon.schema.speech import PHONEMES
from lexicon.sounds import Sounds, dictionary

_PHONEMES = sorted(PHONEMES)
_MAGIC = struct.pack("<i", 2125659606)
_STATE = np.dtype([("final", "<f4"), ("first", "<u4"), ("arcs", "<u4"), ("ieps", "<u4"), ("oeps", "<u4")])
_ARC = np.dtype([("input", "<i4"), ("output", "<i4"), ("cost", "<f4"), ("next", "<i4")])
_POSITIONS = 4
_AGREEMENT = 0.8
_LONGEST = 40


def pronunciations(model: Path, symbols: tuple[str, ...]) -> Mapping[str, tuple[Sounds, ...]]:
    """Word -> its pronunciations in ARPAbet; empty when the model is built in another way than is understood."""
    try:
        paths = _walk(_Graph.read(model / "graph" / "HCLr.fst"), _phones(model))
    except (OSError, ValueError, IndexError, struct.error):
        return {}
    found = {
        symbols[label]: tuple(sorted({named for way in ways if (named := _named(way)) is not None}))
        for label, ways in paths.items()
        if label < len(symbols)
    }
    return found if _agrees(found) else {}


Records = np.ndarray[tuple[int], np.dtype[np.void]]


class _Graph:
    """The const automaton inside a file of look-ahead type."""

    def __init__(self, start: int, states: Records, arcs: Records) -> None:
        self.start = start
        self.first: list[int] = states["first"].tolist()
        self.last: list[int] = (states["first"] + states["arcs"]).tolist()
        self.input: list[int] = arcs["input"].tolist()
        self.output: list[int] = arcs["output"].tolist()
        self.next: list[int] = arcs["next"].tolist()

    @classmethod
    def read(cls, path: Path) -> "_Graph":
        data = path.read_bytes()
        at = data.index(_MAGIC, 4) + 4
        names = []
        for _ in range(2):
            (size,) = struct.unpack_from("<i", data, at)
            names.append(data[at + 4 : at + 4 + size])
            at += 4 + size
        _, flags, _, start, states, arcs = struct.unpack_from("<iiQqqq", data, at)
        if names != [b"const", b"standard"] or flags:
            raise ValueError("another kind of graph")
        at += 40
        table = np.frombuffer(data, _STATE, states, at)
        return cls(start, table, np.frombuffer(data, _ARC, arcs, at + table.nbytes))


class _Phones:
    """``of[t]``: the phone of transition t; ``position[t]``: begin, end, internal, singleton or nonword."""

    def __init__(self, of: list[int], position: list[str]) -> None:
        self.of = of
        self.position = position


def _phones(model: Path) -> _Phones:
    """The phone of each transition: two transitions (stay, leave) for each tuple of the transition model."""
    data = (model / "am" / "final.mdl").read_bytes()
    tag, columns = (b"<Tuples> ", 4) if b"<Tuples> " in data else (b"<Triples> ", 3)
    at = data.index(tag) + len(tag)
    (count,) = struct.unpack_from("<i", data, at + 1)
    raw = np.frombuffer(data, np.uint8, count * columns * 5, at + 5).reshape(count, columns, 5)
    if not (raw[:, :, 0] == 4).all():
        raise ValueError("another kind of transition model")
    phones = raw[:, :, 1:].copy().view("<i4").reshape(count, columns)[:, 0].tolist()
    rows = (model / "graph" / "phones" / "word_boundary.int").read_text(encoding="ascii").split("\n")
    position = dict(row.split() for row in rows if row)
    of = [0, *(phone for phone in phones for _ in range(2))]
    return _Phones(of, [position.get(str(phone), "nonword") for phone in of])


def _walk(graph: _Graph, phones: _Phones) -> dict[int, set[tuple[int, ...]]]:
    """Label -> phone sequences, by every path from the start through one word."""
    found: dict[int, set[tuple[int, ...]]] = defaultdict(set)
    known = len(phones.of)
    paths: list[tuple[tuple[int, ...], int, int, bool]] = [((), 0, graph.start, False)]
    while paths:
        path, label, state, ended = paths.pop()
        if ended and label:
            found[label].add(path)
            continue
        if len(path) > _LONGEST:
            raise ValueError("words without an end")
        wanted = ("internal", "end") if path else ("begin", "singleton")
        for arc in range(graph.first[state], graph.last[state]):
            target, sound = graph.next[arc], graph.input[arc]
            if target == state:
                continue
            if not 0 < sound < known:  # a mark that tells homophones apart
                if path and (graph.output[arc] or not ended):
                    paths.append((path, label or graph.output[arc], target, ended))
            elif not ended and phones.position[sound] in wanted:
                last = phones.position[sound] in ("end", "singleton")
                paths.append(((*path, phones.of[sound]), label or graph.output[arc], target, last))
    return found


def _named(path: tuple[int, ...]) -> Sounds | None:
    """Phones are numbered after the silences, four positions each: 11 to 14 is AA in a model with two silences."""
    named = [(phone - _FIRST_PHONE) // _POSITIONS for phone in path]
    return tuple(_PHONEMES[i] for i in named) if all(0 <= i < len(_PHONEMES) for i in named) else None


#: SIL and SPN, each with five positions, come before the phones of words.
_FIRST_PHONE = 11


def _agrees(found: Mapping[str, tuple[Sounds, ...]]) -> bool:
    known = dictionary()
    both = [word for i, word in enumerate(found) if i % 16 == 0 and word in known]
    return bool(both) and sum(bool(set(found[word]) & set(known[word])) for word in both) > _AGREEMENT * len(both)
