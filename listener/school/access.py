"""Who may ask for what, told route by route; and the log of access.

Every route of every room is wrapped once: one that names a run asks :func:`listener.school.people.may_see` first, and
answers for a run of someone else exactly as for a run that is not there. A route that was not wrapped is not served.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import insert, select
from starlette.concurrency import run_in_threadpool
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp, Receive, Scope, Send

from listener.archive import Archive, RunInfo
from listener.archive.tables import AccessRow
from listener.archive.writing import stamp
from listener.errors import InputError
from listener.school.people import Person, Role, may_judge, may_see

PERSON = "crownsole.person"
_RUN = re.compile(r"[0-9A-Za-z]{6,64}")
_HIDDEN = "There is no such run here. It may have been removed."
#: Parts of a run's page that are asked for many times while it is looked at: only the first is told in the log.
_PARTS = ("sound.wav", "choices")
#: Pages that show many runs.
_LISTS = ("/runs", "/progress", "/progress/portfolio.html", "/progress/runs.csv", "/cohort")
#: Ends of paths at which a change is for educators.
_EDUCATORS = ("/remove", "/marks")
#: What is done at a route, for the log.
_WORDS = {
    "GET /runs": "list of runs", "GET /runs/{run}": "run", "GET /runs/{run}/view.json": "run, its lines",
    "GET /runs/{run}/sound.wav": "run, its sound", "GET /runs/{run}/note": "run, its note",
    "GET /runs/{run}/files/{format}": "run, saved as a file", "GET /runs/{run}/run.zip": "run, saved whole",
    "GET /runs/{run}/again": "run, read anew", "POST /runs/{run}/again": "run, filed as read anew",
    "POST /runs/{run}/changes": "run, changed", "POST /runs/{run}/end": "run, ended",
    "POST /runs/{run}/remove": "run, removed", "GET /runs/{run}/marks": "marks of a run",
    "POST /runs/{run}/marks": "points for a run", "GET /runs/{run}/marks.csv": "marks of a run, saved",
    "GET /runs/{run}/marks.json": "marks of a run, saved", "POST /taking": "file brought in",
    "GET /progress": "progress", "GET /progress/portfolio.html": "portfolio, saved",
    "GET /progress/runs.csv": "figures of runs, saved", "GET /cohort": "cohort", "GET /people": "people",
    "POST /people": "people, changed", "POST /account": "own account, changed", "POST /sign-out": "sign out",
}
_SAFE = ("GET", "HEAD")


@dataclass(frozen=True, slots=True)
class Seen:
    """A line of the log: who did what when and from where, and how it ended."""

    at: str
    who: str
    what: str
    run: str | None
    outcome: str
    address: str


@dataclass(frozen=True, slots=True)
class Log:
    """The log of access of an archive; it only grows, and holds nothing that was said in a run."""

    archive: Archive

    def write(self, who: str, what: str, outcome: str, address: str, run: str | None = None) -> None:
        values = {"at": stamp(self.archive.clock()), "who": who, "what": what[:200], "run": run, "outcome": outcome,
                  "address": address[:60]}
        with self.archive.writing() as connection:
            connection.execute(insert(AccessRow).values(**values))

    def last(self, count: int = 100, who: str | None = None) -> tuple[Seen, ...]:
        """The last lines, the newest first."""
        asked = select(AccessRow.__table__).order_by(AccessRow.number.desc()).limit(count)
        if who is not None:
            asked = asked.where(AccessRow.who == who)
        with self.archive.reading() as connection:
            return tuple(Seen(r.at, r.who, r.what, r.run, r.outcome, r.address) for r in connection.execute(asked))


def wrapped(routes: Iterable[BaseRoute], roles: Sequence[Role], archive: Archive, log: Log) -> list[BaseRoute]:
    """The routes of a room, each behind its check. Raises :class:`TypeError` for what cannot be wrapped."""
    found: list[BaseRoute] = []
    for route in routes:
        if not isinstance(route, Route):
            raise TypeError(f"{route!r} is no route that can be served with accounts")
        route.app = Check(route.app, route.path, tuple(roles), archive, log)
        found.append(route)
    return found


class Check:
    """Stands before one route."""

    def __init__(self, app: ASGIApp, path: str, roles: tuple[Role, ...], archive: Archive, log: Log) -> None:
        self.app, self.path, self.roles = app, path, roles
        self._archive, self._log = archive, log

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        await run_in_threadpool(self._check, scope)
        await self.app(scope, receive, send)

    def _check(self, scope: Scope) -> None:
        """Raises :class:`InputError` for what this person may not see or do; both are told the same way."""
        person: Person = scope[PERSON]
        address = client_of(scope)
        route = f"{scope['method']} {self.path}"
        what = _WORDS.get(route, route)
        if person.role not in self.roles:
            self._log.write(person.name, what, "refused", address)
            raise InputError("There is no such page here.")
        if "run" not in scope["path_params"]:
            if scope["method"] not in _SAFE or self.path in _LISTS:
                self._log.write(person.name, what, "done", address)
            return
        asked = str(scope["path_params"]["run"])
        run = self._run(asked)
        if run is None or not self._may(person, run, scope):
            self._log.write(person.name, what, "refused", address, run.id if run else None)
            raise InputError(_HIDDEN)
        if not any(part in self.path for part in _PARTS) or scope["method"] not in _SAFE:
            self._log.write(person.name, what, "done", address, run.id)

    def _may(self, person: Person, run: RunInfo, scope: Scope) -> bool:
        changes = scope["method"] not in _SAFE
        if (changes and self.path.endswith(_EDUCATORS)) or scope["method"] == "DELETE":
            return may_judge(person, run)
        return may_see(person, run)

    def _run(self, asked: str) -> RunInfo | None:
        """The run with this whole id."""
        if not _RUN.fullmatch(asked):
            return None
        try:
            found = self._archive.run(asked)
        except InputError:
            return None
        return found if found.id == asked else None


def client_of(scope: Scope) -> str:
    client: Any = scope.get("client")
    return str(client[0]) if client else "unknown"
