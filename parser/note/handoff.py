"""The handoff (SBAR): situation, background, assessment, recommendation, from what was said and no more."""

from __future__ import annotations

from collections.abc import Sequence

from lexicon import Lexicon
from parser.audit.doubt import plain
from parser.note.exceptions import exceptions
from parser.note.facts import standing
from parser.note.grammar import grammar_of, sentence
from parser.note.narrative import Paragraph, Sentence, compose
from parser.record import Entry, Record

_TELLING = ("caution.", "range.news2")
_OBSERVED = ("vital_signs",)


def handoff(record: Record, lexicon: Lexicon) -> tuple[Paragraph, ...]:
    """Four paragraphs. The recommendation names what local policy would usually escalate, by remarks of the audit."""
    words = grammar_of(lexicon).templates
    out = exceptions(record, lexicon)
    background = [pair for pair in standing(record) if pair[0] == "history" or pair[1].status in ("history", "family")]
    known = {entry.id for _, entry in background}
    situation = [pair for pair in standing(record) if pair[0] in _OBSERVED and pair[1].kind in ("measure", "scale")]
    known |= {entry.id for _, entry in situation}
    rest = [pair for pair in out if pair[1].id not in known]
    return (
        _part("handoff_situation", situation, lexicon, words["nothing"]),
        _part("handoff_background", background, lexicon, words["no_background"]),
        _part("handoff_assessment", rest, lexicon, words["no_abnormal"]),
        Paragraph("handoff_recommendation", words["handoff_recommendation"], _recommended(record, words)),
    )


def _part(name: str, entries: Sequence[tuple[str, Entry]], lexicon: Lexicon, otherwise: str) -> Paragraph:
    sentences = tuple(each for paragraph in compose(entries, lexicon) for each in _headed(paragraph))
    title = grammar_of(lexicon).templates[name]
    return Paragraph(name, title, sentences or (Sentence(otherwise, ()),))


def _headed(paragraph: Paragraph) -> tuple[Sentence, ...]:
    first = Sentence("", (), heading=paragraph.region)
    return (first, *paragraph.sentences)


def _recommended(record: Record, words: dict[str, str]) -> tuple[Sentence, ...]:
    found = [remark for remark in record.remarks if plain(remark.rule).startswith(_TELLING)]
    if not found:
        return (Sentence(words["no_recommendation"], ()),)
    return tuple(Sentence(sentence(remark.message), remark.entries, told=True) for remark in found)
