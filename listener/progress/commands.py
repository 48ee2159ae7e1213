"""The command `crownsole progress`; everything heavy is imported late."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from listener.archive import Archive
    from listener.progress.gathering import Gathered

FORMATS = ("text", "csv", "json", "html")

Learner = Annotated[str | None, typer.Option("--learner", metavar="NAME", help="Only the runs of this learner.")]
Checklist = Annotated[str | None, typer.Option("--checklist", "-c", metavar="NAME", help="Only with this checklist.")]
Since = Annotated[str | None, typer.Option("--since", metavar="DAY", help="Only from this day on, such as 2026-09-01.")]
Last = Annotated[int | None, typer.Option("--last", metavar="N", help="Only the last N of these runs.")]
Format = Annotated[str, typer.Option("--format", "-f", metavar="FORMAT", help=f"{', '.join(FORMATS)}.")]
Output = Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help="Write here.")]
Force = Annotated[bool, typer.Option("--force", help="Write over an existing file.")]
AsPage = Annotated[bool, typer.Option("--page", help="Open the page of progress in the browser.")]
Port = Annotated[int, typer.Option("--port", metavar="NUMBER", help="Port of the page; 0 takes a free one.")]
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Print the address of the page, open nothing.")]
Anew = Annotated[bool, typer.Option("--anew", help="Compute the figures of every run again.")]
Place = Annotated[
    str | None,
    typer.Option("--archive", metavar="PLACE", envvar="CROWNSOLE_ARCHIVE", show_envvar=True,
                 help="A file, or the URL of a PostgreSQL database; else the user's data folder."),
]


def progress(
    *, learner: Learner = None, checklist: Checklist = None, since: Since = None, last: Last = None,
    format_: Format = "text", output: Output = None, force: Force = False, page: AsPage = False, port: Port = 0,
    no_browser: NoBrowser = False, anew: Anew = False, archive: Place = None,
) -> None:
    """Show how kept runs change: stations, omissions, order and timing, doubt, time, words a minute.

    \b
    crownsole progress                          all kept runs
    crownsole progress --learner L-07 --last 10
    crownsole progress --format html -o portfolio.html
    crownsole progress --page                   the same as a page, with plots
    """
    from listener.archive import open_archive
    from listener.bars import bar
    from listener.errors import UsageError
    from listener.output import emit
    from listener.progress.gathering import Filters, day, gather

    if format_ not in FORMATS:
        raise UsageError(f"There is no format '{format_}' of progress. Formats are: {', '.join(FORMATS)}.")
    filters = Filters(learner, checklist, day(since) if since else None, last)
    with open_archive(archive) as store:
        if page:
            _serve(store, port, not no_browser)
            return
        with bar() as told:
            found = gather(store, filters, anew=anew, progress=told)
    emit(_written(found, format_), output, force=force)


def _written(found: Gathered, format_: str) -> str:
    if format_ == "csv":
        from listener.progress.table import as_csv

        return as_csv(found)
    if format_ == "json":
        import json

        from listener.progress.table import as_json

        return json.dumps(as_json(found), ensure_ascii=False, indent=1)
    if format_ == "html":
        from listener.pages.progress import portfolio

        return portfolio(found)
    from listener.progress.text import text

    return text(found)


def _serve(store: Archive, port: int, browser: bool) -> None:
    from listener.pages.app import create_app
    from listener.pages.progress import ADDRESS, routes
    from listener.pages.serving import serve

    serve(lambda gate: create_app(gate, routes(store)), port=port, browser=browser, path=ADDRESS)
