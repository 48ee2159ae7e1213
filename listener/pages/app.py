"""The application: the guard before everything, the files of the pages, and the routes of each room."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Mount, NoMatchFound
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from listener.errors import CrownsoleError, InputError, StorageError, UsageError
from listener.pages.guard import TOKEN_HEADER, TOO_BIG, Gate, Guard
from listener.pages.visiting import VISITOR, token_of, visitor_of

STATIC = Path(__file__).with_name("static")

#: The places of the head line: name of the route -> what it is called. A room that has such a route is shown.
PLACES: Mapping[str, str] = {"practise": "Practise", "runs": "Runs", "progress": "Progress", "cohort": "Cohort",
                             "people": "People"}

#: Where there are accounts: which places each role has.
_OPEN_TO: Mapping[str, tuple[str, ...]] = {
    "learner": ("runs", "progress"), "educator": ("runs", "progress", "cohort"), "administrator": ("people",),
}

Lifespan = Callable[[Starlette], AbstractAsyncContextManager[None]]

_STATUS: Mapping[type[CrownsoleError], int] = {InputError: 404, UsageError: 400, StorageError: 503}


def environment() -> Environment:
    """The templates: everything written into a page is escaped, and a name that is not given is an error."""
    return Environment(
        loader=PackageLoader("listener.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


_TEMPLATES = environment()


def create_app(gate: Gate, *rooms: Sequence[BaseRoute], lifespan: Lifespan | None = None) -> Starlette:
    """The application with the routes of the rooms given, behind the guard."""
    app = assembled(lambda inner: Guard(inner, gate), *rooms, lifespan=lifespan)
    app.state.gate = gate
    return app


def assembled(
    guard: Callable[[ASGIApp], ASGIApp], *rooms: Sequence[BaseRoute], lifespan: Lifespan | None = None
) -> Starlette:
    """The application with the routes of the rooms given, behind any guard."""
    static = Mount("/static", StaticFiles(directory=STATIC), name="static")
    app = Guarded(
        routes=[static, *(route for room in rooms for route in room)],
        exception_handlers={HTTPException: _told, CrownsoleError: _told, Exception: _failed},
        lifespan=lifespan,
    )
    app.state.guard = guard
    return app


class Guarded(Starlette):
    """An application with the guard around all of it, its answers to failures too."""

    def build_middleware_stack(self) -> ASGIApp:
        made: ASGIApp = self.state.guard(super().build_middleware_stack())
        return made


def page(request: Request, template: str, *, status: int = 200, **shown: Any) -> HTMLResponse:
    """A page from a template that extends ``base.html``; ``shown`` are the values it names."""
    made = _TEMPLATES.get_template(template).render(
        **{"title": "", "here": "", **shown}, token=token_of(request), visitor=visitor_of(request),
        places=_places(request),
    )
    return HTMLResponse(made, status)


def written(template: str, *sheets: str, **shown: Any) -> str:
    """A page that stands alone, with the style in it, from a template that extends ``alone.html``: to save or send.

    ``sheets`` are further files of styles in the folder of static files.
    """
    style = "\n".join((STATIC / sheet).read_text(encoding="utf-8") for sheet in ("style.css", *sheets))
    return _TEMPLATES.get_template(template).render(**shown, style=style)


def _places(request: Request) -> list[tuple[str, str, str]]:
    """Name, address and label of each place that this server has, for this visitor."""
    found: list[tuple[str, str, str]] = []
    visitor = visitor_of(request)
    if visitor is None and VISITOR in request.scope:
        return found  # nobody is signed in
    for name, label in PLACES.items():
        if visitor is not None and name not in _OPEN_TO[visitor.role]:
            continue
        try:
            found.append((name, str(request.app.url_path_for(name)), label))
        except NoMatchFound:
            continue
    return found


async def _told(request: Request, error: Exception) -> Response:
    """An error for people: as a page to a reader, as JSON to a script."""
    if isinstance(error, HTTPException):
        status, said = error.status_code, _SENTENCES.get(error.status_code, str(error.detail))
    else:
        status = next((code for kind, code in _STATUS.items() if isinstance(error, kind)), 500)
        said = str(error)
    if TOKEN_HEADER in request.headers or "text/html" not in request.headers.get("accept", ""):
        return JSONResponse({"error": said}, status)
    return page(request, "error.html", status=status, title="Not possible", said=said)


_SENTENCES = {404: "There is no such page here.", 405: "This cannot be asked of this page.", 413: TOO_BIG}


async def _failed(request: Request, error: Exception) -> Response:
    """An error of the program: told without anything that was said in a run."""
    return await _told(request, HTTPException(500, "The program failed. What was recorded is kept."))
