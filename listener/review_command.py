"""The command that opens the review pages; everything heavy is imported late."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from listener.run_commands import Checklist, ModelPath, Packs, Place, Stock

RunName = Annotated[
    str | None, typer.Argument(metavar="RUN", help="The id, the beginning of it, or: last. The list without.")
]
Port = Annotated[int | None, typer.Option("--port", metavar="N", help="The port on this machine; else a free one.")]
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Print the address and open it by hand.")]


def review(
    run: RunName = None, *, port: Port = None, no_browser: NoBrowser = False, model: ModelPath = None,
    pack: Packs = [], checklist: Checklist = "complete", stock: Stock = False, archive: Place = None,  # noqa: B006
) -> None:
    """Review kept runs on a page: hear what stands behind a line, confirm, amend, withdraw, print, export.

    \b
    crownsole review                           the list of kept runs; recordings and transcripts can be dropped on it
    crownsole review last                      the run made last
    crownsole review last --no-browser         the address is printed and opened by hand

    The page is served on this machine alone. Every change is kept with who made it and when; nothing is overwritten.
    """
    from listener.pages.review_starting import Wishes
    from listener.pages.review_starting import review as serve

    packs: tuple[str, ...] = tuple(str(Path(one)) for one in pack)
    serve(Wishes(run, port, not no_browser, model, packs, checklist, stock, archive))
