"""A cohort from its folder to its tables: what is done is left, the rest goes to the workers, all is told."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

from listener.archive import open_archive
from listener.bars import Progress, silent
from listener.cohort import crew
from listener.cohort.files import Found, Item
from listener.cohort.jobs import Filed, Job, Outcome, Setting
from listener.cohort.keeping import Keeper
from listener.cohort.ledger import Ledger, key_of
from listener.cohort.overview import write_overview
from listener.errors import CrownsoleError, HearingError, InputError, StorageError, UsageError
from listener.locking import take
from listener.output import emit
from listener.runs import lexicon_of, prepare_ears

#: Failures that are worth another try when the cohort is run again: the recogniser's and those of the machine.
_PASSING = (1, 4, 6, HearingError.exit_code)
_REFRESH_S = 15.0
_HERE = crew.Where()


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be done. ``out`` takes tables, pages and what is done; ``keep`` puts the runs into the archive.

    ``archive``: which one, a file or the URL of a database; else the usual one.
    """

    folder: Path
    out: Path
    found: Found
    setting: Setting
    where: crew.Where = _HERE
    keep: bool = True
    archive: str | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """What a cohort came to: every file once, in the order of names; ``earlier`` were done by an earlier command."""

    filed: tuple[Filed, ...]
    earlier: int
    seconds: float
    remarks: tuple[str, ...] = ()

    def count(self, state: str) -> int:
        return sum(one.outcome.state == state for one in self.filed)

    @property
    def exit_code(self) -> int:
        return max((one.outcome.exit_code for one in self.filed), default=0)


def run(order: Order, progress: Progress = silent) -> Told:
    """Work on every file that is not done; write tables and overview.

    Raises :class:`UsageError` when another cohort writes to the same folder, and other :class:`CrownsoleError`.
    """
    crew.installed()
    began = time.monotonic()
    ledger = Ledger(order.out / "done")
    hold = take(order.out / ".lock")
    if hold is None:
        raise UsageError(f"Another cohort writes to {order.out} now. Name another folder with -o.")
    try:
        work = _Work(order, ledger, progress)
        work.all()
        filed = tuple(work.filed())
        progress("writing the tables")
        from listener.cohort.tables import write_tables

        write_tables(order.out, (replace(one, outcome=_whole(ledger, one.outcome)) for one in filed))
        write_overview(order.out, filed, order.found.remarks, order.setting.options.packs)
    finally:
        hold.free()
    return Told(filed, work.earlier, time.monotonic() - began, (*order.found.remarks, *work.remarks))


class _Work:
    """The files of one cohort on their way; outcomes are held without their records."""

    def __init__(self, order: Order, ledger: Ledger, progress: Progress) -> None:
        self.order = order
        self.ledger = ledger
        self.progress = progress
        self.remarks: list[str] = []
        self.earlier = 0
        self._outcomes: dict[str, Outcome] = {}
        self._items = {item.name: item for item in order.found.items}
        self._refreshed = time.monotonic()

    def all(self) -> None:
        jobs = list(self._jobs())
        with ExitStack() as stack:
            keep = self._keeping(stack)
            for name in list(self._outcomes):
                self._settle(name, keep)
            if not jobs:
                return
            self.progress("starting the workers")
            client = stack.enter_context(crew.crew(self.order.where))
            if any(job.kind == "sound" for job in jobs):
                crew.prepare(client, self.order.setting)
            step = f"working on {len(jobs)} files"
            self.progress(step, 0, len(jobs))
            for done, outcome in enumerate(crew.outcomes(client, jobs), 1):
                self._take(outcome, keep)
                ended = "" if outcome.state == "done" else f" ({outcome.state})"
                self.progress(f"{done} of {len(jobs)} files, last {outcome.name}{ended}", done, len(jobs))

    def filed(self) -> Iterator[Filed]:
        for name, item in self._items.items():
            if name in self._outcomes:
                outcome = self._outcomes[name]
                yield Filed(name, item.who, outcome, page_of(outcome) if outcome.state == "done" else "")

    def _jobs(self) -> Iterator[Job]:
        """The files that are not done; those that are become outcomes at once."""
        order = self.order
        lexicon = lexicon_of(order.setting.options).version
        model = self._model()
        for number, item in enumerate(order.found.items):
            self.progress("looking for what is done", number, len(order.found.items))
            try:
                key = key_of(item, order.setting, model, lexicon)
            except InputError as error:
                self._outcomes[item.name] = Outcome("", item.name, "failed", str(error), error.exit_code)
                continue
            done = self.ledger.brief(key)
            if done is None or (done.state == "failed" and done.exit_code in _PASSING):
                yield Job(key, str(item.path.resolve()), item.name, item.kind, order.setting, lexicon=lexicon)
            else:
                self._outcomes[item.name] = done
                self.earlier += 1

    def _model(self) -> str:
        """Name of model and vocabulary; they are fetched and compiled here, once, before any worker needs them."""
        setting = self.order.setting
        if all(item.kind == "text" for item in self.order.found.items):
            return ""
        ears = prepare_ears(Path(setting.model) if setting.model else None, setting.options, stock=setting.stock,
                            progress=self.progress)
        return f"{ears.info.name} {ears.info.vocabulary} {ears.folder.fingerprint}"

    def _keeping(self, stack: ExitStack) -> Callable[[Item, Outcome], str] | None:
        if not self.order.keep:
            return None
        archive = stack.enter_context(open_archive(self.order.archive))
        return Keeper(archive, lexicon_of(self.order.setting.options), self.order.setting).keep

    def _take(self, outcome: Outcome, keep: Callable[[Item, Outcome], str] | None) -> None:
        """An outcome that has come: it is on the disk before anything else is done with it."""
        self.ledger.put(outcome)
        if outcome.state == "done":
            _page(self.order.out, outcome)
        brief = replace(outcome, record="-" if outcome.record else "", page="", words=None)
        self._outcomes[outcome.name] = brief
        self._settle(outcome.name, keep, outcome)
        if time.monotonic() - self._refreshed > _REFRESH_S:
            write_overview(self.order.out, tuple(self.filed()), self.order.found.remarks,
                           self.order.setting.options.packs, unfinished=len(self._items) - len(self._outcomes))
            self._refreshed = time.monotonic()

    def _settle(self, name: str, keep: Callable[[Item, Outcome], str] | None, whole: Outcome | None = None) -> None:
        """See that the run is in the archive; what stands in the way is a remark, the outcome is safe."""
        brief = self._outcomes[name]
        if keep is None or brief.state != "done":
            return
        whole = whole or self.ledger.whole(brief.key)
        if whole is None:
            return
        try:
            run = keep(self._items[name], whole)
        except (CrownsoleError, OSError) as error:
            self.remarks.append(f"{name} could not be put into the archive: {error}")
            return
        if run != whole.kept:
            self.ledger.put(replace(whole, kept=run))
            self._outcomes[name] = replace(brief, kept=run)


def page_of(outcome: Outcome) -> str:
    """Where the page of a run stands inside the folder of results."""
    plain = re.sub(r"[^A-Za-z0-9]+", "-", outcome.name.rpartition(".")[0] or outcome.name).strip("-")[:60]
    return f"runs/{plain or 'run'}-{outcome.key[:8]}.html"


def _page(out: Path, outcome: Outcome) -> None:
    place = out / page_of(outcome)
    try:
        place.parent.mkdir(exist_ok=True)
    except OSError as error:
        raise StorageError(f"{place.parent} cannot be made ({error.strerror}).") from None
    emit(outcome.page, place, force=True)


def _whole(ledger: Ledger, brief: Outcome) -> Outcome:
    """With its record, for the tables; what was damaged meanwhile is told as failed."""
    if brief.state != "done":
        return brief
    whole = ledger.whole(brief.key)
    return whole or replace(brief, state="failed", record="", reason="What was done of this file is damaged.",
                            exit_code=StorageError.exit_code)
