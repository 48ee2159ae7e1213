"""Puts the runs of a cohort into the archive, each once, with whose they are."""

from __future__ import annotations

from dataclasses import replace

from lexicon import Lexicon
from listener.archive import Archive, RunInfo
from listener.archive.keeping import keep
from listener.archive.reading import filed_record
from listener.cohort.files import Item
from listener.cohort.jobs import Outcome, Setting, transcript_of
from listener.errors import CrownsoleError, InputError
from listener.runs import read_text
from parser.record import Record


class Keeper:
    """Knows the runs that are in the archive already."""

    def __init__(self, archive: Archive, lexicon: Lexicon, setting: Setting) -> None:
        self._archive = archive
        self._lexicon = lexicon
        self._setting = setting
        self._runs = {info.id: info for info in archive.runs()}

    def keep(self, item: Item, outcome: Outcome) -> str:
        """The id of the run in the archive; it is put there unless it is there. Raises :class:`CrownsoleError`."""
        there = self._there(item, outcome)
        if there is None:
            return self._put(item, outcome)
        if (there.learner, there.attempt) != (item.who.learner, item.who.attempt):
            self._archive.assign(there.id, item.who.learner, item.who.attempt)
        return there.id

    def _there(self, item: Item, outcome: Outcome) -> RunInfo | None:
        """The run of this outcome: as noted, or, where the program was killed before the note, by its words."""
        if outcome.kept in self._runs:
            return self._runs[outcome.kept or ""]
        if outcome.kept is not None:
            return None
        words = Record.model_validate_json(outcome.record).words
        for info in self._runs.values():
            if info.head.source == item.name and info.status == "finished" and self._same(info, words):
                return info
        return None

    def _same(self, info: RunInfo, words: tuple[object, ...]) -> bool:
        try:
            filed = filed_record(self._archive, info.id)
        except CrownsoleError:
            return False
        return filed is not None and filed.words == words

    def _put(self, item: Item, outcome: Outcome) -> str:
        record = Record.model_validate_json(outcome.record)
        sound = item.path if item.kind == "sound" else None
        if not record.words and sound is None:
            raise InputError(f"{item.name} is empty.")
        heard = transcript_of(outcome) if sound else replace(read_text(item.path), source=item.name)
        made = keep(self._archive, heard, self._lexicon, sound=sound, checklist=self._setting.options.checklist,
                    model=record.run.model, learner=item.who.learner, attempt=item.who.attempt)
        self._runs[made.run.id] = self._archive.run(made.run.id)
        return made.run.id
