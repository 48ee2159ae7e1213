"""Puts the server mode together: archive, people, pages behind their checks, and the server."""

from __future__ import annotations

import logging
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.routing import BaseRoute

from listener.archive import Archive, open_archive
from listener.errors import UsageError
from listener.pages import cohort, progress
from listener.pages.app import assembled
from listener.pages.review import UPLOADS
from listener.pages.review_starting import review_room
from listener.progress.gathering import Allowed
from listener.runs import Options, lexicon_of
from listener.school.access import PERSON, Log, wrapped
from listener.school.door import Doorway, Public
from listener.school.pages import Accounts, open_routes, own_routes, people_routes
from listener.school.passwords import Passwords
from listener.school.people import ROLES, People, Role, may_see_learner
from listener.school.signing_in import Door, Now, SignIns

_SEEING: tuple[Role, ...] = ("learner", "educator")


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line asks of the server mode. ``proxy``: whose word about the browser's address is taken."""

    origin: str
    database: str | None = None
    host: str = "127.0.0.1"
    port: int = 8300
    proxy: str = "127.0.0.1"
    model: Path | None = None
    packs: tuple[str, ...] = ()
    checklist: str = "complete"


@dataclass(frozen=True, slots=True)
class School:
    """The parts of a server with accounts over one archive."""

    archive: Archive
    public: Public
    passwords: Passwords = field(default_factory=Passwords)
    now: Now = time.time

    def app(self, *rooms: Sequence[BaseRoute]) -> Starlette:
        """The application. ``rooms`` are for learners and educators, besides progress; the cohort is for educators."""
        people, log = People(self.archive, self.passwords), Log(self.archive)
        sign_ins = SignIns(self.archive, self.now)
        accounts = Accounts(people, Door(people, self.now), sign_ins, log, self.public)
        seeing = [route for room in (*rooms, progress.routes(self.archive, _allowed)) for route in room]
        return assembled(
            lambda inner: Doorway(inner, self.public, sign_ins),
            open_routes(accounts),
            wrapped(own_routes(accounts), ROLES, self.archive, log),
            wrapped(people_routes(accounts), ("administrator",), self.archive, log),
            wrapped(seeing, _SEEING, self.archive, log),
            wrapped(cohort.routes(self.archive, _allowed), ("educator",), self.archive, log),
        )


def _allowed(request: Request) -> Allowed:
    person = request.scope[PERSON]
    return lambda learner: may_see_learner(person, learner)


def serve(wishes: Wishes) -> None:
    """Serve until told to stop. Raises :class:`UsageError` and :class:`StorageError`."""
    public = Public(wishes.origin, UPLOADS)
    options = Options(wishes.packs, wishes.checklist)
    lexicon_of(options)
    with open_archive(wishes.database) as archive:
        if not People(archive).all():
            raise UsageError("There are no accounts yet. Make one with: crownsole people add NAME --role educator")
        room = review_room(archive, options, wishes.model)
        logging.getLogger("crownsole.pages").setLevel(logging.ERROR)
        print(f"Serving {wishes.origin} on {wishes.host}:{wishes.port}. Ctrl-C ends it.", flush=True)
        uvicorn.run(
            School(archive, public).app(room),
            host=wishes.host,
            port=wishes.port,
            proxy_headers=public.secure,
            forwarded_allow_ips=wishes.proxy,
            ws="none",
            log_level="error",
            access_log=False,
            server_header=False,
            date_header=False,
            limit_concurrency=128,
            timeout_graceful_shutdown=3,
        )
