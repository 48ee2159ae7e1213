"""The route of the cohort page: all runs that are kept, by learner."""

from __future__ import annotations

from collections.abc import Callable

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, NoMatchFound, Route

from listener.archive import Archive
from listener.cohort.overview import view_of
from listener.pages.app import page
from listener.pages.progress import anyone
from listener.progress.gathering import Allowed, gather

ADDRESS = "/cohort"


def routes(archive: Archive, allowed: Callable[[Request], Allowed] = anyone) -> list[BaseRoute]:
    """The cohort page of an archive. ``allowed`` tells for a request whose runs it may see."""

    def cohort(request: Request) -> Response:
        found = gather(archive, allowed=allowed(request))
        view = view_of(found.course.points, found.names, remarks=found.remarks,
                       pages=lambda point: _review(request, point.run))
        return page(request, "cohort.html", here="cohort", title=view.title, view=view)

    return [Route(ADDRESS, cohort, name="cohort")]


def _review(request: Request, run: str) -> str:
    try:
        return str(request.app.url_path_for("review", run=run))
    except NoMatchFound:
        return ""
