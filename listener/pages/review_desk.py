"""The desk of one server: runs lying open for review, with the view of each that was made last."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from lexicon import DATA, Lexicon
from listener.archive import Archive, RunInfo
from listener.errors import CrownsoleError, InputError
from listener.pages.review_view import Line, ReviewView, review_of
from listener.reviewing import Review, Shown, Wish
from listener.runs import Options, lexicon_of

#: Runs held open; any other is opened anew when it is asked for.
_HELD = 6


@dataclass(frozen=True, slots=True)
class Opened:
    """A run as shown: what it is, and its view."""

    shown: Shown
    view: ReviewView


@dataclass(slots=True)
class Desk:
    """Opens runs of an archive. ``packs``: read with runs whose own packs are not on this machine."""

    archive: Archive
    packs: tuple[str, ...] = ()
    _reviews: OrderedDict[str, Review] = field(default_factory=OrderedDict)
    _views: dict[str, Opened] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _since: float = field(default_factory=time.time)

    def info(self, run: str) -> RunInfo:
        """What is listed of a run, by its whole id. Raises :class:`InputError` for any other name."""
        info = self.archive.run(run) if run.isascii() and run.isalnum() and len(run) <= 64 else None
        if info is None or info.id != run:
            raise InputError("There is no such run here. It may have been removed.")
        return info

    def review(self, run: str) -> Review:
        """A run by its whole id. Raises :class:`InputError` for any other name."""
        with self._lock:
            known = self._reviews.get(run)
        if known is None:
            known = Review(self.archive, self.info(run).id, self.lexicon_of)
        with self._lock:
            self._reviews[run] = known
            self._reviews.move_to_end(run)
            while len(self._reviews) > _HELD:
                gone, _ = self._reviews.popitem(last=False)
                self._views.pop(gone, None)
        return known

    def open(self, run: str) -> Opened:
        """A run as it stands now, and its view."""
        shown = self.review(run).look()
        with self._lock:
            held = self._views.get(run)
        if held is None or held.shown.record is not shown.record or held.shown.info != shown.info:
            held = Opened(
                shown, review_of(shown.info, shown.record, shown.utterances, shown.lexicon, shown.marks)
            )
            with self._lock:
                self._views[run] = held
        return held

    def act(self, run: str, wish: Wish) -> tuple[Opened, tuple[Line, ...]]:
        """Make a change; the run after it, and the lines that are not as they were."""
        before = self.open(run)
        self.review(run).act(wish)
        after = self.open(run)
        known = set(_lines(before.view))
        return after, tuple(line for line in _lines(after.view) if line not in known)

    def forget(self, run: str) -> None:
        """Let go of a run that was removed."""
        with self._lock:
            self._reviews.pop(run, None)
            self._views.pop(run, None)

    def lexicon_of(self, info: RunInfo) -> Lexicon:
        """The lexicon with the packs a run was made with, where they are here; else with those of this desk."""
        own = info.head.packs
        if own and all(Path(pack).is_dir() for pack in own):
            try:
                return lexicon_of(Options(own, info.head.checklist))
            except CrownsoleError:
                """A pack that is broken now: the run can still be looked at."""
        return lexicon_of(Options(self.packs, info.head.checklist))

    def lexicon_names(self) -> Lexicon:
        """The lexicon that names stations where no run is open."""
        return lexicon_of(Options(self.packs))

    def changed_on_disk(self, lexicon: Lexicon) -> bool:
        """Whether files of the lexicon were written after this server read them."""
        folders = (DATA, *map(Path, lexicon.packs))
        return any(path.stat().st_mtime > self._since for path in _yaml(folders))


def _lines(view: ReviewView) -> Iterator[Line]:
    return (line for station in view.stations for line in station.lines)


def _yaml(folders: Iterable[Path]) -> Iterator[Path]:
    return (path for folder in folders for path in folder.rglob("*.yaml"))


