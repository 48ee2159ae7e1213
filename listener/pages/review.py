"""The routes of the review pages: the list of kept runs, one run under review, its sound, changes, notes and files."""

from __future__ import annotations

import getpass
import json
import tempfile
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Route

from listener.archive.exchange import export
from listener.errors import InputError, UsageError
from listener.packs_used import told
from listener.pages.app import page
from listener.pages.review_desk import Desk, Opened
from listener.pages.review_list import listed
from listener.pages.review_sound import answer, clip
from listener.pages.review_taking import LARGEST, Taking
from listener.pages.review_view import Line, plain
from listener.pages.visiting import Visitor, visitor_of
from listener.reviewing import Doubtful, Stale, Wish
from listener.wording import clock
from parser.note import FORMATS, MissingLibrary, write
from parser.note.document import PAPERS, WORDINGS, Style, document
from parser.note.grammar import grammar_of
from parser.proposing import choices

#: Beginnings of paths that take files, with their limit of bytes; for :class:`listener.pages.guard.Gate`.
UPLOADS: Mapping[str, int] = {"/taking": LARGEST}

_LONGEST_REASON = 500
_LONGEST_NAME = 60
_RESERVED = frozenset(["speaker", "program", "session", "page", "terminal"])
_CHUNK = 1024 * 1024
_KINDS: Mapping[str, tuple[str, str]] = {
    "text": ("txt", "text/plain"),
    "markdown": ("md", "text/markdown"),
    "html": ("html", "text/html"),
    "csv": ("csv", "text/csv"),
    "docx": ("docx", "application/vnd.openxmlformats-officedocument.wordprocessingml.document"),
    "pdf": ("pdf", "application/pdf"),
    "fhir": ("fhir.json", "application/fhir+json"),
    "json": ("json", "application/json"),
}


def routes(desk: Desk, taking: Taking) -> list[BaseRoute]:
    """The review pages of a desk; the names of its places are those of ``app.PLACES``, and "review" for one run."""
    pages = _Pages(desk, taking)
    return [
        Route("/runs", pages.runs, name="runs"),
        Route("/runs/{run}", pages.run, name="review"),
        Route("/runs/{run}/view.json", pages.view),
        Route("/runs/{run}/sound.wav", pages.sound),
        Route("/runs/{run}/choices/{entry}", pages.choices),
        Route("/runs/{run}/changes", pages.change, methods=["POST"]),
        Route("/runs/{run}/end", pages.end, methods=["POST"]),
        Route("/runs/{run}/again", pages.again),
        Route("/runs/{run}/again", pages.take_again, methods=["POST"]),
        Route("/runs/{run}/remove", pages.remove, methods=["POST"]),
        Route("/runs/{run}/note", pages.note),
        Route("/runs/{run}/files/{format}", pages.file),
        Route("/runs/{run}/run.zip", pages.export),
        Route("/taking", pages.take, methods=["POST"]),
        Route("/taking/{job}", pages.job),
    ]


class _Pages:
    """One method a route. Those that are not async work in a thread of their own."""

    def __init__(self, desk: Desk, taking: Taking) -> None:
        self.desk = desk
        self.taking = taking

    def runs(self, request: Request) -> Response:
        number = request.query_params.get("page", "1")
        asked = int(number) if number.isascii() and number.isdigit() and len(number) < 9 else 1
        visitor = visitor_of(request)
        shown = listed(self.desk, asked, visitor.learner if visitor else None)
        return page(request, "runs.html", here="runs", title="Runs", list=shown, jobs=self.taking.under_way(visitor))

    def run(self, request: Request) -> Response:
        """The frame of the page, at once; what stands in it comes with the view."""
        info = self.desk.info(request.path_params["run"])
        return page(
            request, "review.html", here="runs", title=info.head.source, run=info, made=_moment(info.head.made_at),
            length=clock(info.seconds) if info.seconds else "", by=_signer(request), files=_files(),
            statuses=_STATUSES, sides=_SIDES,
        )  # fmt: skip

    def view(self, request: Request) -> Response:
        return JSONResponse(self._told(self._opened(request)))

    def sound(self, request: Request) -> Response:
        info = self._opened(request).shown.info
        asked = request.query_params
        wanted = clip(info.id, info.seconds, asked.get("from"), asked.get("to"))
        return answer(self.desk.archive, wanted, request.headers.get("range"))

    def choices(self, request: Request) -> Response:
        shown = self._opened(request).shown
        found = shown.record.entries().get(request.path_params["entry"])
        if found is None:
            raise InputError("There is no such line in this run.")
        return JSONResponse(plain(choices(found[1], found[0], shown.lexicon)))

    async def change(self, request: Request) -> Response:
        wish = _wish(await _body(request), visitor_of(request))
        try:
            opened, lines = await run_in_threadpool(self.desk.act, request.path_params["run"], wish)
        except Stale as error:
            return JSONResponse({"error": str(error), "why": "stale"}, 409)
        except Doubtful as error:
            return JSONResponse({"error": str(error), "why": "doubtful"}, 422)
        except UsageError as error:
            return JSONResponse({"error": str(error), "why": "refused"}, 422)
        return JSONResponse(self._told(opened, lines))

    async def end(self, request: Request) -> Response:
        await _body(request)
        await run_in_threadpool(lambda: self.desk.review(request.path_params["run"]).end())
        return JSONResponse({})

    def again(self, request: Request) -> Response:
        opened = self._opened(request)
        difference = self.desk.review(opened.shown.info.id).again()
        changed = self.desk.changed_on_disk(opened.shown.lexicon)
        return JSONResponse({**plain(difference), "lines": list(difference.lines), "restart": changed})

    async def take_again(self, request: Request) -> Response:
        seal = str((await _body(request)).get("seal"))
        review = self.desk.review(request.path_params["run"])
        try:
            await run_in_threadpool(review.take, seal)
        except Stale as error:
            return JSONResponse({"error": str(error), "why": "stale"}, 409)
        return JSONResponse({})

    async def remove(self, request: Request) -> Response:
        run = request.path_params["run"]
        if (await _body(request)).get("remove") != run:
            raise UsageError("Nothing was removed: the removal was not confirmed.")
        self.desk.review(run)
        info = await run_in_threadpool(self.desk.archive.remove, run)
        self.desk.forget(run)
        return JSONResponse({"said": f"The run {info.head.source} was removed, its sound included."})

    def note(self, request: Request) -> Response:
        opened = self._opened(request)
        shown = opened.shown
        style = _style(request)
        made = document(shown.record, shown.lexicon, style)
        return page(
            request, "note.html", here="runs", title=made.heading, run=opened.view.run, note=made,
            wording=style.wording, wordings={name: heading for name, (heading, _) in WORDINGS.items()},
            mark=grammar_of(shown.lexicon).templates["confirm"], files=_files(), made=_moment(opened.view.run.made),
        )  # fmt: skip

    def file(self, request: Request) -> Response:
        name = request.path_params["format"]
        if name not in _KINDS:
            raise InputError(f"There is no format of that name. Formats are: {', '.join(_KINDS)}.")
        shown = self._opened(request).shown
        try:
            content = write(shown.record, shown.lexicon, name, _style(request))
        except MissingLibrary as error:
            raise UsageError(str(error)) from None
        suffix, kind = _KINDS[name]
        return Response(content, media_type=kind, headers=_attached(f"{_stem(shown.record.run.source)}.{suffix}"))

    def export(self, request: Request) -> Response:
        from starlette.background import BackgroundTask

        shown = self._opened(request).shown
        folder = tempfile.TemporaryDirectory(prefix="crownsole-")
        target = Path(folder.name) / f"crownsole-{shown.info.id}.zip"
        try:
            export(self.desk.archive, shown.info.id, shown.record, target)
        except BaseException:
            folder.cleanup()
            raise
        return FileResponse(
            target, media_type="application/zip", filename=target.name, background=BackgroundTask(folder.cleanup)
        )

    async def take(self, request: Request) -> Response:
        path = self.taking.place(request.query_params.get("name", ""))
        try:
            with path.open("wb") as target:
                held = bytearray()
                async for part in request.stream():
                    held += part
                    if len(held) >= _CHUNK:
                        await run_in_threadpool(self.taking.write, target, bytes(held))
                        held.clear()
                await run_in_threadpool(self.taking.write, target, bytes(held))
        except BaseException as error:
            self.taking.drop(path)
            if isinstance(error, ClientDisconnect):
                return Response(status_code=400)
            raise
        return JSONResponse(self.taking.add(path, visitor_of(request)).as_json())

    def job(self, request: Request) -> Response:
        return JSONResponse(self.taking.job(request.path_params["job"], visitor_of(request)).as_json())

    def _opened(self, request: Request) -> Opened:
        return self.desk.open(request.path_params["run"])

    def _told(self, opened: Opened, lines: tuple[Line, ...] | None = None) -> dict[str, Any]:
        """The view as JSON; with ``lines`` only what a change can have altered."""
        view, shown = opened.view, opened.shown
        state = {
            "revision": shown.revision,
            "undoable": shown.undoable,
            "waiting": view.waiting,
            "changed_lexicon": shown.lexicon.version != shown.record.run.lexicon.version,
        }
        if lines is None:
            return {**plain(view), **state, "packs": list(told(shown.record, shown.lexicon))}
        heads = [{**plain(s), "lines": [line.id for line in s.lines]} for s in view.stations]
        some = {name: plain(getattr(view, name)) for name in ("remarks", "sources", "computed")}
        return {**state, **some, "heads": heads, "lines": plain(lines)}


_STATUSES = {
    "present": "present",
    "absent": "absent",
    "normal": "normal",
    "uncertain": "uncertain",
    "not_assessed": "not assessed",
    "history": "in the history",
    "family": "in the family",
}
_SIDES = {"": "no side", "left": "left", "right": "right", "both": "both sides", "midline": "midline"}


async def _body(request: Request) -> Mapping[str, Any]:
    try:
        body = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise UsageError("The page sent what cannot be read. Load it again.") from None
    if not isinstance(body, dict):
        raise UsageError("The page sent what cannot be read. Load it again.")
    return body


def _wish(body: Mapping[str, Any], visitor: Visitor | None) -> Wish:
    """A wish as the page sends it. Raises :class:`UsageError`."""
    changes = body.get("changes")
    if changes is not None and not isinstance(changes, dict):
        raise UsageError("The page sent what cannot be read. Load it again.")
    return Wish(
        _text(body, "do", 40) or "",
        _text(body, "revision", 100) or "",
        visitor.name if visitor else _name(body),
        _text(body, "entry", 20),
        _text(body, "reason", _LONGEST_REASON),
        changes,
        body.get("sure") is True,
    )


def _text(body: Mapping[str, Any], name: str, most: int) -> str | None:
    value = body.get(name)
    if value is None:
        return None
    if not isinstance(value, str):
        raise UsageError("The page sent what cannot be read. Load it again.")
    text = " ".join(value.split())
    if len(text) > most:
        raise UsageError(f"This is too long: at most {most} signs are kept.")
    return "".join(sign for sign in text if sign.isprintable()) or None


def _name(body: Mapping[str, Any]) -> str:
    """Who signs a change: as said on the page, else the user of this machine."""
    name = _text(body, "by", _LONGEST_NAME) or _user()
    if name.lower() in _RESERVED:
        raise UsageError(f"Changes cannot be signed with '{name}': that names a part of the program.")
    return name


def _signer(request: Request) -> str:
    """Who signs changes unless another name is given: the account, or the user of this machine."""
    visitor = visitor_of(request)
    return visitor.name if visitor else _user()


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "someone"


def _moment(made: str) -> str:
    moment = datetime.fromisoformat(made).astimezone()
    return f"{moment.day} {moment.strftime('%B %Y, %H:%M')}"


def _files() -> dict[str, str]:
    return {name: FORMATS[name].meaning.partition(";")[0] for name in _KINDS if name in FORMATS}


def _style(request: Request) -> Style:
    asked = request.query_params
    wording, paper = asked.get("wording", "narrative"), asked.get("paper", "a4")
    if wording not in WORDINGS or paper not in PAPERS:
        raise InputError("There is no such wording or paper.")
    moment = datetime.now(UTC).isoformat(timespec="seconds")
    return Style(wording, "trace" in asked, None, moment, paper)


def _stem(source: str) -> str:
    stem = Path(source).stem or "run"
    return "".join(sign if sign.isalnum() or sign in " -_" else "-" for sign in stem)[:80]


def _attached(name: str) -> dict[str, str]:
    """RFC 6266: the name as it is, and in ASCII for those that know no other."""
    plainly = name.encode("ascii", "replace").decode().replace("?", "-")
    return {"content-disposition": f"attachment; filename=\"{plainly}\"; filename*=UTF-8''{quote(name)}"}
