"""Where layers live on a spaCy Doc, and how a component is registered.

Layer ``x`` is the Doc extension ``doc._.crownsole_x``. All are declared here, once, so that an
order of components in which something is missing is seen by ``nlp.analyze_pipes()``.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from spacy.language import Language
from spacy.tokens import Doc

from lexicon import Lexicon, load
from parser.statements import Situation
from parser.tokens import Tokens, tokenise

PREFIX = "crownsole_"
LAYERS = (
    "repairs",
    "numbers",
    "terms",
    "asides",
    "stations",
    "boundaries",
    "findings",
    "assertions",
    "sides",
    "values",
    "corrections",
    "statements",
)

for _name in LAYERS:
    if not Doc.has_extension(PREFIX + _name):
        Doc.set_extension(PREFIX + _name, default=())
for _name in ("tokens", "situation"):
    if not Doc.has_extension(PREFIX + _name):
        Doc.set_extension(PREFIX + _name, default=None)

Compute = Callable[..., tuple[Any, ...]]
Factory = Callable[[Language, str, list[str]], Callable[[Doc], Doc]]


def tokens_of(doc: Doc) -> Tokens:
    """The tokens that understanding reads; made from the text when no component set them."""
    tokens: Tokens | None = doc._.crownsole_tokens
    if tokens is None:
        tokens = tokenise(doc.text)
        doc._.crownsole_tokens = tokens
    return tokens


def situation_of(doc: Doc) -> Situation:
    """What the run has made current before this Doc; an empty situation when none was given."""
    return doc._.crownsole_situation or Situation()


def register(name: str, compute: Compute, requires: tuple[str, ...] = (), situation: bool = False) -> Factory:
    """Register ``compute(tokens, *required layers[, situation], lexicon)`` as component ``crownsole_<name>``.

    ``requires`` are names of earlier layers, passed in that order. The component's config takes
    ``packs``, a list of folders laid over the built-in lexicon. Returns the factory, which
    pyproject.toml names as an entry point so that any spaCy pipeline finds it.
    """

    def create(nlp: Language, name: str, packs: list[str]) -> Callable[[Doc], Doc]:
        return _Component(compute, load(packs), own, requires, situation)

    own = name
    Language.factory(
        PREFIX + name,
        default_config={"packs": []},
        assigns=[f"doc._.{PREFIX}{name}"],
        requires=[f"doc._.{PREFIX}{layer}" for layer in requires],
        func=create,
    )
    return create


class _Component:
    def __init__(
        self, compute: Compute, lexicon: Lexicon, name: str, requires: tuple[str, ...], situation: bool
    ) -> None:
        self._compute = compute
        self._lexicon = lexicon
        self._layer = PREFIX + name
        self._requires = tuple(PREFIX + layer for layer in requires)
        self._situation = situation

    def __call__(self, doc: Doc) -> Doc:
        extensions = doc._
        layers = [getattr(extensions, layer) for layer in self._requires]
        if self._situation:
            layers.append(situation_of(doc))
        setattr(extensions, self._layer, self._compute(tokens_of(doc), *layers, self._lexicon))
        return doc
