"""The routes of the marks of a kept run: what is proposed, what shows it, and the points that a person gives."""

from __future__ import annotations

import getpass
import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from lexicon import Lexicon
from lexicon.rubrics import rubrics
from listener.errors import UsageError
from listener.marking.desk import LONGEST_NAME, LONGEST_REASON, Marked, Stale, Wish, change, checked_text, marked
from listener.packs_used import told
from listener.pages.app import page
from listener.pages.review_desk import Desk
from listener.pages.visiting import visitor_of
from parser.marking.text import as_csv, quoted

_UNREADABLE = "The page sent what cannot be read. Load it again."
_OUTCOMES = {
    "met": "heard",
    "part": "in part",
    "not_met": "not met",
    "not_due": "not called for",
    "deferred": "left out aloud",
}
#: The shape beside each outcome, as for stations.
_SHAPES = {"met": "documented", "part": "partial", "not_met": "missing"}


def routes(desk: Desk) -> list[BaseRoute]:
    """The marks of the runs of a desk."""
    pages = _Pages(desk)
    return [
        Route("/runs/{run}/marks", pages.look, name="marks"),
        Route("/runs/{run}/marks", pages.give, methods=["POST"]),
        Route("/runs/{run}/marks.csv", pages.table),
        Route("/runs/{run}/marks.json", pages.document),
    ]


class _Pages:
    """One method a route. Those that are not async work in a thread of their own."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def look(self, request: Request) -> Response:
        found, lexicon = self._marked(request)
        return page(
            request, "marks.html", here="runs", title=f"Marks of {found.info.head.source}", found=found,
            marking=found.marking, rubrics={name: one.title for name, one in rubrics(lexicon).items()},
            packs=told(found.record, lexicon), outcomes=_OUTCOMES, shapes=_SHAPES, quoted=quoted,
            number=lambda points: f"{points:g}", may=_may(request) and found.info.status == "finished",
            by=_signer(request), fixed=visitor_of(request) is not None, query=urlencode({"rubric": found.rubric.id}),
            longest_reason=LONGEST_REASON, longest_name=LONGEST_NAME,
        )  # fmt: skip

    async def give(self, request: Request) -> Response:
        if not _may(request):
            raise UsageError("Points are given by an educator.")
        body = _read(await request.body())
        wish, rubric = _wish(body, request), _text(body, "rubric")
        try:
            found = await run_in_threadpool(self._change, request.path_params["run"], wish, rubric)
        except Stale as error:
            return JSONResponse({"error": str(error), "why": "stale"}, 409)
        except UsageError as error:
            return JSONResponse({"error": str(error), "why": "refused"}, 422)
        total = found.marking.standing
        said = f"Kept. The run stands at {total.points:g} of {total.possible:g} points: {total.proposal}."
        return JSONResponse({"said": said})

    def table(self, request: Request) -> Response:
        found, _ = self._marked(request)
        return Response(as_csv([found.marking]), media_type="text/csv", headers=_attached(found, "csv"))

    def document(self, request: Request) -> Response:
        found, _ = self._marked(request)
        made = found.marking.model_dump_json()
        return Response(made, media_type="application/json", headers=_attached(found, "json"))

    def _marked(self, request: Request) -> tuple[Marked, Lexicon]:
        lexicon = self._lexicon(request.path_params["run"])
        rubric = request.query_params.get("rubric") or None
        return marked(self.desk.archive, request.path_params["run"], lexicon, rubric), lexicon

    def _change(self, run: str, wish: Wish, rubric: str) -> Marked:
        return change(self.desk.archive, run, self._lexicon(run), rubric or None, wish)

    def _lexicon(self, run: str) -> Lexicon:
        """The lexicon of a run by its whole id. Raises :class:`InputError` for any other name."""
        self.desk.review(run)
        return self.desk.lexicon_of(self.desk.archive.run(run))


def _may(request: Request) -> bool:
    """Whether a visitor may give points: educators, and the one user where there are no accounts."""
    visitor = visitor_of(request)
    return visitor is None or visitor.role == "educator"


def _signer(request: Request) -> str:
    visitor = visitor_of(request)
    if visitor is not None:
        return visitor.name
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "someone"


def _read(data: bytes) -> Mapping[str, Any]:
    try:
        body = json.loads(data)
    except (ValueError, RecursionError):
        raise UsageError(_UNREADABLE) from None
    if not isinstance(body, dict):
        raise UsageError(_UNREADABLE)
    return body


def _wish(body: Mapping[str, Any], request: Request) -> Wish:
    """What the page asks: ``settle``, or points for a step. An account signs with its own name."""
    named = _text(body, "by")
    by = _signer(request) if visitor_of(request) is not None or not named.strip() else named
    last = body.get("last")
    if type(last) is not int:
        raise UsageError(_UNREADABLE)
    if body.get("settle") is True:
        return Wish(checked_text(by, LONGEST_NAME, "Say who lets the marks stand."), last=last)
    points = body.get("points")
    if isinstance(points, bool) or not isinstance(points, int | float):
        raise UsageError("Points are a number.")
    return Wish(by, _text(body, "step"), float(points), _text(body, "reason"), last)


def _text(body: Mapping[str, Any], name: str) -> str:
    value = body.get(name, "")
    if not isinstance(value, str):
        raise UsageError(_UNREADABLE)
    return value


def _attached(found: Marked, suffix: str) -> dict[str, str]:
    return {"content-disposition": f'attachment; filename="crownsole-marks-{found.info.id}.{suffix}"'}
