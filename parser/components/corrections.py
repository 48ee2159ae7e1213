"""Corrections: where the speaker takes something back or replaces it."""

from __future__ import annotations

from functools import lru_cache

from lexicon import Lexicon
from lexicon.schema import CorrectionCue
from parser.components.layer import register
from parser.layers import Correction
from parser.terms import FormIndex
from parser.tokens import Tokens


@lru_cache(maxsize=4)
def _index(lexicon: Lexicon) -> FormIndex[CorrectionCue]:
    cues = getattr(lexicon.files.get("directions"), "corrections", ())
    return FormIndex((form, cue) for cue in cues for form in cue.forms)


def find_corrections(tokens: Tokens, lexicon: Lexicon) -> tuple[Correction, ...]:
    """Every cue of correction, in order; cues that follow each other directly count as one."""
    found: list[Correction] = []
    for start, end, cues in _index(lexicon).find(tokens.words):
        cue = cues[0]
        last = found[-1] if found else None
        if last is not None and all(word == "," for word in tokens.words[last.end : start]):
            sure = last.sure or not cue.needs_replacement
            action = last.action if last.action == "replace" else cue.action
            found[-1] = Correction(last.start, end, action, sure)
        else:
            found.append(Correction(start, end, cue.action, not cue.needs_replacement))
    return tuple(found)


create_corrections = register("corrections", find_corrections)
