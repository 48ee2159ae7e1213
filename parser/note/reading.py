"""Reads sentences of a note with the pipeline that reads dictation, so that wording can be proved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from parser.note.facts import Fact, fact_of_statement
from parser.pipeline import understand
from parser.statements import Situation
from parser.transcript import utterances_of_text


class Reader:
    """Reads one sentence after another, each in the situation the ones before it left."""

    def __init__(self, packs: Sequence[str] = ()) -> None:
        self.packs = tuple(packs)
        self.situation = Situation()

    def enter(self, region: str) -> None:
        """A heading was passed."""
        self.situation = Situation(region=region)

    def read(self, text: str) -> tuple[tuple[Fact, ...], Situation]:
        """The facts of a text in the present situation, and the situation it would leave."""
        facts: list[Fact] = []
        situation = self.situation
        for utterance in utterances_of_text(text):
            understood = understand(utterance, replace(situation, pending=None), self.packs, last=True)
            standing = (s for s in understood.statements if s.amends is None or s.amends.action != "withdraw")
            facts += [fact_of_statement(statement) for statement in standing]
            situation = understood.situation
        return tuple(facts), situation

    def take(self, text: str) -> tuple[Fact, ...]:
        """Read a text for good."""
        facts, self.situation = self.read(text)
        return facts


