"""Starts the live page: archive, lexicon, engine and server put together."""

from __future__ import annotations

import sys
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

from anyio import to_thread
from starlette.applications import Starlette
from starlette.routing import BaseRoute

from lexicon import Lexicon
from listener.archive import open_archive
from listener.archive.whose import whose
from listener.pages.app import create_app
from listener.pages.cohort import routes as cohort_room
from listener.pages.ears import ModelHearers
from listener.pages.guard import Gate
from listener.pages.live import routes
from listener.pages.practice import Practice
from listener.pages.progress import routes as progress_room
from listener.pages.review import UPLOADS
from listener.pages.review_starting import review_room
from listener.pages.serving import serve
from listener.runs import Options, lexicon_of


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line asks of the live page."""

    run: str | None = None
    port: int | None = None
    browser: bool = True
    model: Path | None = None
    packs: tuple[str, ...] = ()
    checklist: str = "complete"
    learner: str | None = None
    stock: bool = False
    archive: str | None = None


def practise(wishes: Wishes) -> None:
    """Serve the live page until Ctrl-C; a run under way is then closed and kept."""
    lexicon = lexicon_of(Options(wishes.packs, wishes.checklist))
    whose(wishes.learner, None)
    with open_archive(wishes.archive) as archive:
        run = archive.run(wishes.run).id if wishes.run else None
        practice = Practice(
            archive, ModelHearers(wishes.model, wishes.stock), wishes.packs, checklist=wishes.checklist,
            learner=wishes.learner, run=run,
        )
        room = review_room(archive, Options(wishes.packs, wishes.checklist), wishes.model, stock=wishes.stock)
        serve(
            lambda gate: live_app(gate, practice, lexicon, room, progress_room(archive), cohort_room(archive)),
            port=wishes.port,
            browser=wishes.browser,
            uploads=UPLOADS,
        )
        if practice.run is not None:
            print(f"Run {practice.run} is kept. See it with: crownsole review {practice.run}", file=sys.stderr)


def live_app(gate: Gate, practice: Practice, lexicon: Lexicon, *rooms: Sequence[BaseRoute]) -> Starlette:
    """The application of the live page, whose practice goes on as long as it is served."""
    return create_app(gate, routes(practice, lexicon), *rooms, lifespan=_going(practice))


def _going(practice: Practice) -> Callable[[Starlette], AbstractAsyncContextManager[None]]:
    @asynccontextmanager
    async def going(app: Starlette) -> AsyncIterator[None]:
        practice.start()
        try:
            yield
        finally:
            await to_thread.run_sync(practice.stop)

    return going
