"""Starts the review pages: archive, desk, files on their way in, and server put together."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from starlette.routing import BaseRoute

from listener.archive import Archive, open_archive
from listener.bars import Progress
from listener.pages import marking
from listener.pages.app import create_app
from listener.pages.cohort import routes as cohort_room
from listener.pages.progress import routes as progress_room
from listener.pages.review import UPLOADS, routes
from listener.pages.review_desk import Desk
from listener.pages.review_taking import Taking
from listener.pages.serving import serve
from listener.runs import Ears, Options, lexicon_of, prepare_ears


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line asks of the review pages. ``run`` None shows the list."""

    run: str | None = None
    port: int | None = None
    browser: bool = True
    model: Path | None = None
    packs: tuple[str, ...] = ()
    checklist: str = "complete"
    stock: bool = False
    archive: str | None = None


def review(wishes: Wishes) -> None:
    """Serve the review pages until Ctrl-C."""
    options = Options(wishes.packs, wishes.checklist)
    lexicon_of(options)
    with open_archive(wishes.archive) as archive:
        path = f"/runs/{archive.run(wishes.run).id}" if wishes.run else "/runs"
        room = review_room(archive, options, wishes.model, stock=wishes.stock)
        serve(
            lambda gate: create_app(gate, room, progress_room(archive), cohort_room(archive)),
            port=wishes.port,
            browser=wishes.browser,
            path=path,
            uploads=UPLOADS,
        )


def review_room(archive: Archive, options: Options, model: Path | None, *, stock: bool = False) -> list[BaseRoute]:
    """The routes of the review pages; the acoustic model is made ready when a recording is first brought in."""

    def ears(progress: Progress) -> Ears:
        return prepare_ears(model, options, stock=stock, progress=progress)

    desk = Desk(archive, options.packs)
    return [*routes(desk, Taking(archive, ears, options)), *marking.routes(desk)]
