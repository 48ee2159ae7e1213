"""The pipeline of understanding: its stages in order, and how one utterance is understood.

The same function serves live runs, recordings and text: one utterance and the situation go in,
statements and the new situation come out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import spacy
from spacy.language import Language
from spacy.tokens.underscore import Underscore

import parser.components.corrections
import parser.components.directions
import parser.components.findings
import parser.components.measures
import parser.components.mishearing
import parser.components.numbers
import parser.components.regions
import parser.components.sides
import parser.components.statements
import parser.components.statuses
import parser.components.terms  # noqa: F401  (importing registers the components)
from lexicon import Lexicon, load
from parser.amending import amended
from parser.anchoring import anchored, confidences_of, joined, pauses_of
from parser.components.layer import PREFIX
from parser.layers import Aside, SiteUse
from parser.spans import assert_spans
from parser.statements import AND, Situation, Statement
from parser.tokens import tokenise, with_pauses
from parser.transcript import Transcript, Utterance
from parser.unfinished import breaks_off

__all__ = ["STAGES", "Understood", "assert_spans", "build", "finish", "understand", "understand_all"]

#: The stages in order; each is a spaCy component ``crownsole_<stage>``.
STAGES = (
    "mishearing",
    "numbers",
    "terms",
    "asides",
    "boundaries",
    "stations",
    "findings",
    "values",
    "assertions",
    "sides",
    "corrections",
    "statements",
)

#: Statements of earlier utterances that a correction can still reach.
REMEMBERED = 12


@dataclass(frozen=True, slots=True)
class Understood:
    """What one utterance came to: its statements, its asides, and the text that gave nothing."""

    utterance: Utterance
    statements: tuple[Statement, ...]
    asides: tuple[tuple[Aside, tuple[int, int]], ...]
    situation: Situation


def build(packs: Sequence[str] = ()) -> Language:
    """A blank English pipeline with all our components; cached by packs."""
    return _build(tuple(packs))


@lru_cache(maxsize=4)
def _build(packs: tuple[str, ...]) -> Language:
    nlp = spacy.blank("en")
    for stage in STAGES:
        nlp.add_pipe(PREFIX + stage, config={"packs": list(packs)})
    return nlp


def understand(
    utterance: Utterance, situation: Situation, packs: Sequence[str] = (), *, last: bool = False
) -> Understood:
    """Read one utterance in its situation.

    An utterance that breaks off before its meaning is complete ("blood pressure ...") gives nothing
    yet: its words are kept in ``situation.pending`` and read with the next one. ``last`` reads them
    now. Any text is accepted; the work is linear in its length.
    """
    whole = joined(situation.pending, utterance) if situation.pending else utterance
    nlp = build(packs)
    lexicon = load(packs)
    tokens = tokenise(whole.text)
    tokens = with_pauses(tokens, pauses_of(whole, tokens), confidences_of(whole, tokens))
    doc = nlp.make_doc(whole.text)
    doc._.crownsole_tokens = tokens
    doc._.crownsole_situation = situation
    doc = nlp(doc)
    if not last and breaks_off(doc, whole, lexicon):
        return Understood(whole, (), (), replace(situation, pending=whole))
    return _read(doc, whole, situation, lexicon)


def _read(doc: spacy.tokens.Doc, whole: Utterance, situation: Situation, lexicon: Lexicon) -> Understood:
    layers = doc._
    tokens = layers.crownsole_tokens
    sites = tuple(
        SiteUse(term.id, m.start, m.end) for m in layers.crownsole_terms for term in m.terms[:1] if term.kind == "site"
    )
    local = amended(
        tokens,
        layers.crownsole_statements,
        layers.crownsole_corrections,
        layers.crownsole_numbers,
        layers.crownsole_sides,
        sites,
        situation.recent,
        lexicon,
    )
    statements = anchored(local, whole, layers.crownsole_repairs)
    asides = tuple(
        (aside, (whole.offset + tokens.starts[aside.start], whole.offset + tokens.ends[aside.end - 1]))
        for aside in layers.crownsole_asides
    )
    return Understood(whole, statements, asides, _following(situation, statements, layers, sites, lexicon))


def _following(
    situation: Situation,
    statements: tuple[Statement, ...],
    layers: Underscore,
    sites: tuple[SiteUse, ...],
    lexicon: Lexicon,
) -> Situation:
    """The situation after an utterance: its last station and place, and the statements still in reach."""
    region, site, side = situation.region, situation.site, situation.side
    stations = layers.crownsole_stations
    ends = (lexicon.region_order[0], lexicon.region_order[-1])
    findings = [
        f
        for f in layers.crownsole_findings
        if f.kind in ("finding", "scale") or (f.kind == "step" and f.region in ends)
    ]
    if stations:
        region, site, side = stations[-1].region, None, None
    after = [f for f in findings if not stations or f.start >= stations[-1].at]
    if after and after[-1].region in lexicon.regions:
        region = after[-1].region
    named = next(
        (s for s in reversed(sites) if lexicon.sites[s.id].opens and lexicon.home[s.id] in lexicon.regions), None
    )
    if (
        named is not None
        and not findings
        and not layers.crownsole_values
        and (not stations or stations[-1].at < named.start)
    ):
        also = lexicon.sites[named.id].also
        region = region if region in also or "any" in also else lexicon.home[named.id]
    last = next((s for s in reversed(statements) if s.site and s.region == region), None)
    if last is not None:
        site, side = (last.site or "").split(AND)[-1], last.side
    elif sites and lexicon.sites[sites[-1].id].opens and lexicon.home[sites[-1].id] == region:
        site, side = sites[-1].id, None
    gone = {id(s.amends.target) for s in statements if s.amends is not None}
    standing = [
        s
        for s in (*situation.recent, *statements)
        if id(s) not in gone and (s.amends is None or s.amends.action == "replace")
    ]
    recent = tuple(replace(s, amends=None) for s in standing)
    return Situation(region, site, side, situation.posture, recent[-REMEMBERED:])


def finish(situation: Situation, packs: Sequence[str] = ()) -> Understood | None:
    """Read what is still pending at the end of a run; None when nothing is."""
    if situation.pending is None:
        return None
    return understand(situation.pending, replace(situation, pending=None), packs, last=True)


def understand_all(transcript: Transcript, packs: Sequence[str] = ()) -> Iterable[Understood]:
    """Every utterance of a transcript in order, each read in the situation the ones before it left."""
    situation = Situation()
    for utterance in transcript.utterances:
        understood = understand(utterance, situation, packs)
        situation = understood.situation
        if situation.pending is None:
            yield understood
    ending = finish(situation, packs)
    if ending is not None:
        yield ending
