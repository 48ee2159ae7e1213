"""The commands `crownsole mark ...`; everything heavy is imported late."""

from __future__ import annotations

import getpass
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from listener.run_commands import Force, Output, Packs, Place, RunName

if TYPE_CHECKING:
    from lexicon import Lexicon
    from listener.marking.desk import Marked, Wish
    from parser.marking import Marking

FORMATS = ("text", "json", "csv")


class _WithDefault(TyperGroup):
    """`crownsole mark RUN` is short for `crownsole mark show RUN`."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if args and args[0] not in self.commands and args[0] not in ("-h", "--help"):
            args = ["show", *args]
        return super().parse_args(ctx, args)


mark_app = typer.Typer(
    cls=_WithDefault,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="""Mark runs by a rubric: points with the words that show them. Marks are proposals; a person decides.

    \b
    crownsole mark last                          marks of the run kept last
    crownsole mark run.txt --rubric complete     ... of a transcript, or of a record as JSON
    crownsole mark last --format csv -o marks.csv
    crownsole mark change last pupils 2 --reason "shown, not said"
    crownsole mark settle last                   all other marks stand
    crownsole mark agreement                     how far tool and person agree
    crownsole mark rubrics                       which rubrics there are
    """,
)

RubricName = Annotated[
    str | None, typer.Option("--rubric", "-r", metavar="NAME", help="Else that of the run's checklist, or: complete")
]
Names = Annotated[
    list[str],
    typer.Argument(
        metavar="RUN|FILE...", help="A kept run (id, its beginning, or: last), a transcript, or a record as JSON; -"
    ),
]
Format = Annotated[str, typer.Option("--format", "-f", metavar="FORMAT", help=", ".join(FORMATS))]
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who gives the points; else the user here.")]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why; it is kept beside the points.")]


@mark_app.command()
def show(
    names: Names, *, rubric: RubricName = None, format_: Format = "text", output: Output = None, force: Force = False,
    pack: Packs = [], archive: Place = None,  # noqa: B006
) -> None:
    """Show the marks proposed for runs or files, and the points a person gave.

    \b
    crownsole mark show last monday.txt
    crownsole hear run.m4a --format json | crownsole mark -
    """
    from listener.output import emit

    _known(format_, FORMATS)
    packs = tuple(str(folder) for folder in pack)
    emit(_written(list(_markings(names, rubric, packs, archive)), format_), output, force=force)


@mark_app.command()
def change(
    run: RunName,
    step: Annotated[str, typer.Argument(metavar="STEP", help="The step, as named in --format csv")],
    points: Annotated[float, typer.Argument(metavar="POINTS", help="From 0 to the points of the step")],
    *, reason: Reason, by: By = None, rubric: RubricName = None, pack: Packs = [], archive: Place = None,  # noqa: B006
) -> None:
    """Give other points for a step. What the tool proposed is kept beside them, with the reason.

    \b
    crownsole mark change last pupils 2 --reason "both sides shown, one said"
    """
    from listener.marking.desk import Wish

    found = _changed(run, Wish(_user(by), step, points, reason), rubric, pack, archive)
    mark = found.marking.marks()[step]
    typer.echo(f"{mark.label}: {mark.points:g} proposed, {mark.standing:g} given of {mark.possible:g}.")
    _standing(found)


@mark_app.command()
def settle(
    run: RunName, *, by: By = None, rubric: RubricName = None, pack: Packs = [], archive: Place = None,  # noqa: B006
) -> None:
    """Say that you have looked at every mark of a run and let those you did not change stand."""
    from listener.marking.desk import Wish

    _standing(_changed(run, Wish(_user(by)), rubric, pack, archive))


@mark_app.command()
def agreement(
    runs: Annotated[list[str], typer.Argument(metavar="[RUN]...", help="All runs with points, when none is named.")]
    = [],  # noqa: B006
    *,
    given: Annotated[
        Path | None,
        typer.Option("--given", metavar="TABLE.csv", help="Points given apart from the tool: run, step, points."),
    ] = None,
    rubric: RubricName = None, format_: Format = "text", pack: Packs = [], archive: Place = None,  # noqa: B006
) -> None:
    """Tell how far the tool and a person agree, beyond chance (Cohen's kappa).

    \b
    crownsole mark agreement                     over all runs in which points were given
    crownsole mark agreement --given mine.csv    ... with marks made without seeing the tool's
    """
    import json
    from dataclasses import asdict

    from listener.archive import open_archive
    from listener.marking.agreeing import Asked, agree
    from listener.output import emit
    from parser.marking.text import agreement_text

    _known(format_, FORMATS[:2])
    with open_archive(archive) as store:
        found = agree(store, Asked(tuple(runs), rubric, tuple(str(folder) for folder in pack), given))
    emit(agreement_text(found) if format_ == "text" else json.dumps(asdict(found), ensure_ascii=False), None)


@mark_app.command()
def rubrics(pack: Packs = []) -> None:  # noqa: B006
    """List the rubrics: name, steps, points, critical steps, and what passes."""
    from lexicon.rubrics import rubrics as known
    from listener.marking.desk import ready
    from listener.runs import Options, lexicon_of

    lexicon = lexicon_of(Options(tuple(str(folder) for folder in pack)))
    for name in known(lexicon):
        rubric = ready(lexicon, name)
        points, critical = sum(task.possible for task in rubric.tasks), sum(task.critical for task in rubric.tasks)
        rule = rubric.rubric.to_pass
        typer.echo(
            f"{name:16} {rubric.rubric.title}: {len(rubric.tasks)} steps, {points:g} points, {critical} critical; "
            f"passes with {rule.percent:g} percent and {rule.critical} critical"
        )


def _known(name: str, formats: Sequence[str]) -> None:
    if name not in formats:
        raise typer.BadParameter(f"'{name}' is none of {', '.join(formats)}", param_hint="--format")


def _markings(
    names: Sequence[str], rubric: str | None, packs: tuple[str, ...], place: str | None
) -> Iterator[Marking]:
    for name in names:
        if name == "-" or _is_file(name):
            yield from _of_file(Path(name), rubric, packs)
        else:
            yield _of_run(name, rubric, packs, place)


def _is_file(name: str) -> bool:
    from listener.errors import InputError

    if Path(name).is_file():
        return True
    if any(sign in name for sign in "/\\."):
        raise InputError(f"There is no file {name}.")
    return False


def _of_file(path: Path, rubric: str | None, packs: tuple[str, ...]) -> Iterator[Marking]:
    """Marks of a transcript, or of the records of a JSON file."""
    from listener.marking.desk import ready
    from listener.runs import Options, lexicon_of, read_text, record_of
    from listener.writing import records_in
    from parser.marking import mark

    lexicon = lexicon_of(Options(packs))
    chosen = ready(lexicon, rubric or "complete")
    data = sys.stdin.buffer.read() if str(path) == "-" else path.read_bytes()
    if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
        records = [make() for _, make in records_in(path, data if str(path) == "-" else None)]
    else:
        transcript = read_text(path, data if str(path) == "-" else None)
        records = [record_of(transcript, Options(packs, chosen.rubric.checklist))]
    for record in records:
        _tell_packs(record, lexicon)
        yield mark(record, record.remarks, chosen)


def _of_run(name: str, rubric: str | None, packs: tuple[str, ...], place: str | None) -> Marking:
    from listener.archive import open_archive
    from listener.marking.desk import marked
    from listener.packs_used import lexicon_for

    with open_archive(place) as store:
        info = store.run(name)
        lexicon = lexicon_for(info, packs)
        found = marked(store, info.id, lexicon, rubric)
    _tell_packs(found.record, lexicon)
    return found.marking


def _changed(run: str, wish: Wish, rubric: str | None, pack: Sequence[Path], place: str | None) -> Marked:
    from listener.archive import open_archive
    from listener.marking import desk
    from listener.packs_used import lexicon_for

    with open_archive(place) as store:
        info = store.run(run)
        lexicon = lexicon_for(info, tuple(str(folder) for folder in pack))
        return desk.change(store, info.id, lexicon, rubric, wish)


def _standing(found: Marked) -> None:
    total = found.marking.standing
    typer.echo(f"Run {found.info.id} stands at {total.points:g} of {total.possible:g} points: {total.proposal}.")
    if found.marking.settled:
        typer.echo(f"Settled by {found.marking.settled.by}.")
    typer.echo(found.marking.caution)


def _tell_packs(record: Any, lexicon: Lexicon) -> None:
    from listener.packs_used import told

    for sentence in told(record, lexicon):
        typer.echo(f"crownsole: {sentence}", err=True)


def _written(markings: Sequence[Marking], format_: str) -> str:
    from parser.marking.text import as_csv, as_text

    if format_ == "csv":
        return as_csv(markings)
    if format_ == "json":
        return "\n".join(marking.model_dump_json() for marking in markings)
    return "\n\n".join(as_text(marking) for marking in markings)


def _user(by: str | None) -> str:
    if by:
        return by
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "someone"
