"""Checks of cues: every set that a form names is given; sets hold single words."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

from lexicon.schema.cues import CuesFile

if TYPE_CHECKING:
    from lexicon.loading import Lexicon

_SET = re.compile(r"\{([^{}]*)\}")
#: What the matcher reads without a list of words.
_BUILT_IN = frozenset(("year",))


def faults(lexicon: "Lexicon") -> Iterator[str]:
    """A sentence with file and line for every fault."""
    file = lexicon.files.get("cues")
    if not isinstance(file, CuesFile):
        return
    sets = {named.id for named in file.sets} | _BUILT_IN
    for named in file.sets:
        for word in named.words:
            if " " in word:
                yield f"{lexicon.origins[('sets', named.id)]}: '{word}' is more than one word; a set holds single words"
    for cue in file.cues:
        for name in sorted({name for form in cue.forms for name in _SET.findall(form)} - sets):
            where = lexicon.origins[("cues", cue.id)]
            yield f"{where}: there is no set '{name}'; known are {', '.join(sorted(sets))}"
