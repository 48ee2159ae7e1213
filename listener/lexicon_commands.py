"""The commands `crownsole lexicon new` and `diff`; everything heavy is imported late."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def new(folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder to make.")]) -> None:
    """Make a pack to start from: terms, checklist, marks and note wording, explained, and in order as it is.

    \b
    crownsole lexicon new our-school
    crownsole lexicon check our-school
    """
    from listener.new_pack import new_pack

    for name in new_pack(folder):
        typer.echo(f"{folder / name}")
    typer.echo(f"Read {folder / 'README.md'} first. Then: crownsole lexicon check {folder}", err=True)


def diff(
    one: Annotated[Path, typer.Argument(metavar="A", help="A pack, or its old version.")],
    other: Annotated[Path | None, typer.Argument(metavar="[B]", help="Its new version.")] = None,
    format_: Annotated[str, typer.Option("--format", "-f", metavar="FORMAT", help="text or json")] = "text",
) -> None:
    """Tell what a pack adds, removes and changes, or what its new version does; what alters old runs comes first.

    \b
    crownsole lexicon diff our-school            against the built-in lexicon
    crownsole lexicon diff our-school-2025 our-school
    """
    from listener.lexicon_diff import as_json, as_text, compared
    from listener.output import emit

    if format_ not in ("text", "json"):
        raise typer.BadParameter(f"'{format_}' is none of text, json", param_hint="--format")
    found = compared(one, other)
    emit(as_text(found) if format_ == "text" else as_json(found), None)
