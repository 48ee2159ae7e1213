"""Writes tiny stock language models by hand, in OpenFst's ngram format, for the reader to read.

Written from the layout alone (Sorensen and Allauzen, Interspeech 2011), with plain loops, so that it shares no
code with the reader.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence

Context = tuple[str, ...]


def ngram_file(
    symbols: Sequence[str], chances: Mapping[Context, Mapping[str, float]], backoffs: Mapping[Context, float]
) -> bytes:
    """``chances[context][word]`` are costs (negative logarithms), "</s>" is the end; contexts are oldest word first,
    "<s>" the start. Labels are places in ``symbols``."""
    label = {word: i for i, word in enumerate(symbols)}
    order = _breadth_first(chances, label)
    start = order.index(("<s>",))
    children = {c: [d for d in order if d and d[1:] == c] for c in order}
    context_bits = "10" + "".join("1" * len(children[c]) + "0" for c in order)
    following = [sorted((w for w in chances[c] if w != "</s>"), key=label.__getitem__) for c in order]
    future_bits = "0" + "".join("1" * len(words) + "0" for words in following)
    final_bits = "".join("1" if "</s>" in chances[c] else "0" for c in order)
    words = [label.get(c[0], 0) if c else 0 for c in order]
    body = struct.pack("<QQQ", len(order), sum(map(len, following)), final_bits.count("1"))
    body += b"".join(map(_bits, (context_bits, future_bits, final_bits)))
    body += struct.pack(f"<{len(order) + 1}i", *words, 0)
    flat = [label[w] for words in following for w in words]
    body += struct.pack(f"<{len(flat)}i", *flat)
    body += struct.pack(f"<{len(order) + 1}f", *(backoffs.get(c, 0.0) for c in order), 0.0)
    ends = [chances[c]["</s>"] for c in order if "</s>" in chances[c]]
    body += struct.pack(f"<{len(ends)}f", *ends)
    costs = [chances[c][w] for c, words in zip(order, following, strict=True) for w in words]
    body += struct.pack(f"<{len(costs)}f", *costs)
    return _header(symbols, start, len(order), len(flat) + len(order)) + body


def _breadth_first(chances: Mapping[Context, object], label: Mapping[str, int]) -> list[Context]:
    order: list[Context] = [()]
    for context in order:
        longer = [c for c in chances if c and c[1:] == context]
        order.extend(sorted(longer, key=lambda c: label.get(c[0], 0)))
    return order


def _bits(bits: str) -> bytes:
    padded = bits + "0" * (-len(bits) % 64)
    return b"".join(struct.pack("<Q", int(padded[i : i + 64][::-1], 2)) for i in range(0, len(padded), 64))


def _text(text: str) -> bytes:
    return struct.pack("<i", len(text.encode())) + text.encode()


def _header(symbols: Sequence[str], start: int, states: int, arcs: int) -> bytes:
    head = struct.pack("<i", 2125659606) + _text("ngram") + _text("standard")
    head += struct.pack("<iiQqqq", 4, 1, 0, start, states, arcs)
    head += struct.pack("<i", 2125658996) + _text("words") + struct.pack("<qq", len(symbols), len(symbols))
    return head + b"".join(_text(word) + struct.pack("<q", i) for i, word in enumerate(symbols))
