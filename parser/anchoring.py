"""Ties statements to the words of the run: indices, times, confidence, and doubts of hearing."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import replace
from itertools import pairwise

from parser.layers import Repair
from parser.statements import Amends, Evidence, Statement
from parser.tokens import Tokens
from parser.transcript import Utterance


def joined(first: Utterance, second: Utterance) -> Utterance:
    """Two utterances read as one; places in the text of the run stay true."""
    gap = second.offset - first.offset - len(first.text)
    text = first.text + " " * max(gap, 1) + second.text
    return Utterance(first.number, first.words + second.words, text, first.offset, first.first_word)


def pauses_of(utterance: Utterance, tokens: Tokens) -> tuple[float, ...]:
    """Silence before each token in seconds, from the times of the words; 0.0 where unknown."""
    words = utterance.words
    if not words or words[0].start is None:
        return (0.0,) * len(tokens)
    gaps = [0.0] + [max((b.start or 0.0) - (a.end or 0.0), 0.0) for a, b in pairwise(words)]
    firsts = {word.chars[0] - utterance.offset: gap for word, gap in zip(words, gaps, strict=True)}
    return tuple(firsts.get(start, 0.0) for start in tokens.starts)


def confidences_of(utterance: Utterance, tokens: Tokens) -> tuple[float, ...]:
    """How surely each token was heard, from the words they are of; empty for text."""
    words = utterance.words
    if not words or words[0].confidence is None:
        return ()
    places = [word.chars[0] - utterance.offset for word in words]
    sure = [1.0 if word.confidence is None else word.confidence for word in words]
    return tuple(sure[max(bisect_right(places, start) - 1, 0)] for start in tokens.starts)


def anchored(
    statements: tuple[Statement, ...], utterance: Utterance, repairs: tuple[Repair, ...]
) -> tuple[Statement, ...]:
    """The statements with evidence in words and seconds of the run."""
    places = [word.chars[0] for word in utterance.words]
    result: dict[int, Statement] = {}
    for statement in statements:
        result[id(statement)] = _anchor(statement, utterance, places, repairs)
    return tuple(_retarget(result[id(s)], s, result) for s in statements)


def _retarget(done: Statement, local: Statement, results: dict[int, Statement]) -> Statement:
    """A correction of a statement in the same utterance points at that statement as anchored."""
    if local.amends is None or local.amends.target is None:
        return done
    target = results.get(id(local.amends.target), local.amends.target)
    return replace(done, amends=Amends(local.amends.action, local.amends.cue, target))


def _anchor(statement: Statement, utterance: Utterance, places: list[int], repairs: tuple[Repair, ...]) -> Statement:
    start, end = (at + utterance.offset for at in statement.evidence.chars)
    first = max(bisect_right(places, start) - 1, 0)
    last = max(bisect_left(places, end) - 1, first)
    words = utterance.words[first : last + 1]
    evidence = Evidence(
        utterance=utterance.number,
        words=(utterance.first_word + first, utterance.first_word + last),
        start=words[0].start if words else None,
        end=words[-1].end if words else None,
        chars=(start, end),
        text=statement.evidence.text,
        heard=" ".join(word.heard for word in words),
    )
    known = [word.confidence for word in words if word.confidence is not None]
    doubts = (*statement.doubts, *(word.doubt for word in words if word.doubt), *_repair_doubts(statement, repairs))
    return replace(
        statement,
        evidence=evidence,
        confidence=round(min(known), 3) if known else 1.0,
        doubts=tuple(dict.fromkeys(doubts)),
    )


def _repair_doubts(statement: Statement, repairs: tuple[Repair, ...]) -> list[str]:
    start, end = statement.evidence.chars
    return [
        f'heard "{repair.heard}", read as "{repair.text}"'
        for repair in repairs
        if repair.chars[0] < end and repair.chars[1] > start
    ]
