"""Spoken forms: the short notation in which lexicon files give many ways of saying a thing.

``bruit(s)``            bruit, bruits
``(the) neck``          neck, the neck
``[bowel|gut] sound(s)`` bowel sound, bowel sounds, gut sound, gut sounds
``{n}``                 stays as it is: a place for a number (phrases only)
"""

from __future__ import annotations

import re
from itertools import product

_PIECE = re.compile(r"\(([^()\[\]]*)\)|\[([^()\[\]]*)\]|([^()\[\]]+)")
_BAD = re.compile(r"[()\[\]]")


def expand(form: str) -> tuple[str, ...]:
    """Every way of saying that ``form`` stands for, in a fixed order, without repeats.

    Raises ValueError for unbalanced or nested brackets and for a form that can be empty.
    """
    choices: list[tuple[str, ...]] = []
    at = 0
    for match in _PIECE.finditer(form):
        if match.start() != at:
            raise ValueError(f"brackets do not match in {form!r}; use (s) for optional and [a|b] for a choice")
        at = match.end()
        optional, either, plain = match.groups()
        if plain is not None:
            choices.append((plain,))
        elif either is not None:
            choices.append(tuple(either.split("|")))
        else:
            choices.append(("", *(optional or "").split("|")))
    if at != len(form) or _BAD.search("".join(c for options in choices for c in options)):
        raise ValueError(f"brackets do not match in {form!r}; use (s) for optional and [a|b] for a choice")
    ways = dict.fromkeys(" ".join("".join(pieces).split()) for pieces in product(*choices))
    if not ways or "" in ways:
        raise ValueError(f"{form!r} can be empty; a spoken form needs at least one word")
    return tuple(ways)
