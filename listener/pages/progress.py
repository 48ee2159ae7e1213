"""The routes of the progress page: the page, the portfolio to save, the figures as CSV."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import BaseRoute, NoMatchFound, Route

from listener.archive import Archive
from listener.archive.whose import learners
from listener.errors import UsageError
from listener.pages.app import page, written
from listener.progress.gathering import Allowed, Filters, Gathered, day, gather
from listener.progress.table import as_csv
from listener.progress.text import nothing
from listener.progress.view import view_of
from listener.progress.wordings import moment

ADDRESS = "/progress"
SHEET = "progress.css"


def anyone(request: Request) -> Allowed:
    """Whose runs a request may see, where there are no accounts: everybody's."""
    return lambda learner: True


def routes(archive: Archive, allowed: Callable[[Request], Allowed] = anyone) -> list[BaseRoute]:
    """The progress page of an archive. ``allowed`` tells for a request whose runs it may see."""

    def gathered(request: Request) -> Gathered:
        return gather(archive, _filters(request), allowed=allowed(request))

    def progress(request: Request) -> Response:
        found, may = gathered(request), allowed(request)
        asked = found.filters
        return page(
            request, "progress.html", here="progress", title="Progress", view=view_of(found), asked=asked,
            address=ADDRESS, query=_query(asked), nothing=" ".join(nothing(found)), review=_review(request),
            learners=[name for name in learners(archive) if may(name)],
            checklists=sorted({*found.course.checklists, *filter(None, [asked.checklist])}),
        )

    def saved(request: Request) -> Response:
        return HTMLResponse(portfolio(gathered(request)), headers=_attached("crownsole-progress.html"))

    def figures(request: Request) -> Response:
        made = as_csv(gathered(request))
        return Response(made, media_type="text/csv", headers=_attached("crownsole-progress.csv"))

    return [
        Route(ADDRESS, progress, name="progress"),
        Route(f"{ADDRESS}/portfolio.html", saved),
        Route(f"{ADDRESS}/runs.csv", figures),
    ]


def portfolio(gathered: Gathered) -> str:
    """The course as one page that stands alone: to hand in, to print, to keep."""
    view = view_of(gathered)
    made = moment(datetime.now().astimezone())
    return written("portfolio.html", SHEET, title=view.title, view=view, review="", made=made)


def _filters(request: Request) -> Filters:
    """What is asked for in the address. Raises :class:`UsageError`."""
    asked = request.query_params
    last = asked.get("last", "").strip()
    if last and not (last.isascii() and last.isdigit() and len(last) < 6):
        raise UsageError("The number of runs is a number from 1 on.")
    since = asked.get("since", "").strip()
    return Filters(asked.get("learner") or None, asked.get("checklist") or None, day(since) if since else None,
                   int(last) if last else None)


def _query(asked: Filters) -> str:
    given = {"learner": asked.learner, "checklist": asked.checklist, "since": asked.since, "last": asked.last}
    said = urlencode({name: value for name, value in given.items() if value is not None})
    return f"?{said}" if said else ""


def _attached(name: str) -> dict[str, str]:
    return {"content-disposition": f'attachment; filename="{name}"'}


def _review(request: Request) -> str:
    """The address of the review page with RUN in the place of a run; empty where this server has none."""
    try:
        return str(request.app.url_path_for("review", run="RUN"))
    except NoMatchFound:
        return ""
