"""Archives to test with: sound of noise, a run with three utterances."""

from __future__ import annotations

import numpy as np

from listener.archive import Archive, Writer
from listener.levels import Block


def noise(samples: int, seed: int = 0) -> Block:
    return (np.random.default_rng(seed).normal(size=samples) * 3000).astype(np.int16)


def filled(archive: Archive) -> Writer:
    """The writer of a run with three halves of a second and three utterances."""
    writer = archive.begin("live", "a test", lexicon="v1")
    for number in range(1, 4):
        writer.sound(noise(8000, number))
        body = {"number": number, "text": f"word {number}", "offset": 0, "first_word": 0, "words": []}
        writer.append(("utterance", body))
    return writer
