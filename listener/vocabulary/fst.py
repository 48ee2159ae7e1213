"""Writes a back-off model as an OpenFst file of type ``const``, the form that loads quickest.

Header: magic, type, arc type, version, flags, properties, start, states, arcs. Then a record for
each state (final cost, first arc, arcs, epsilons) and for each arc (input, output, cost, next),
arcs of a state sorted by label. Costs are negative natural logarithms; 0 is the empty label.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from listener.vocabulary.ngrams import Floats, Ints

_STATE = np.dtype([("final", "<f4"), ("first", "<u4"), ("arcs", "<u4"), ("ieps", "<u4"), ("oeps", "<u4")])
_ARC = np.dtype([("input", "<i4"), ("output", "<i4"), ("cost", "<f4"), ("next", "<i4")])

_EXPANDED, _ACCEPTOR, _WEIGHTED = 0x1, 0x10000, 0x100000000
_EPSILONS, _INPUT_EPSILONS, _OUTPUT_EPSILONS = 0x400000, 0x1000000, 0x4000000
_INPUT_SORTED, _OUTPUT_SORTED = 0x10000000, 0x40000000


@dataclass(frozen=True)
class Automaton:
    """An acceptor: parallel arrays of arcs (``source``, ``label``, ``cost``, ``target``) and final costs by state."""

    start: int
    final: Floats
    source: Ints
    label: Ints
    cost: Floats
    target: Ints


def write_const(automaton: Automaton, path: Path) -> None:
    """Write ``automaton`` to ``path``. Raises OSError when the disk refuses."""
    states = automaton.final.size
    order = np.lexsort((automaton.label, automaton.source))
    arcs = np.empty(order.size, _ARC)
    arcs["input"] = arcs["output"] = automaton.label[order]
    arcs["cost"] = automaton.cost[order]
    arcs["next"] = automaton.target[order]
    counts = np.bincount(automaton.source, minlength=states)
    table = np.empty(states, _STATE)
    table["final"] = automaton.final
    table["arcs"] = counts
    table["first"] = np.cumsum(counts) - counts
    table["ieps"] = table["oeps"] = np.bincount(automaton.source, automaton.label == 0, states).astype(np.uint32)
    with path.open("wb") as stream:
        stream.write(_header(automaton.start, states, order.size, bool((automaton.label == 0).any())))
        stream.write(table.tobytes())
        stream.write(arcs.tobytes())


def _header(start: int, states: int, arcs: int, epsilons: bool) -> bytes:
    properties = _EXPANDED | _ACCEPTOR | _WEIGHTED | _INPUT_SORTED | _OUTPUT_SORTED
    none = (_EPSILONS | _INPUT_EPSILONS | _OUTPUT_EPSILONS) << 1
    properties |= _EPSILONS | _INPUT_EPSILONS | _OUTPUT_EPSILONS if epsilons else none
    names = b"".join(struct.pack("<i", len(name)) + name for name in (b"const", b"standard"))
    return struct.pack("<i", 2125659606) + names + struct.pack("<iiQqqq", 2, 0, properties, start, states, arcs)
