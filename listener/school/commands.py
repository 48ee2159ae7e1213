"""The commands of the server mode: `crownsole serve` and `crownsole people`; everything heavy is imported late."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from listener.school.people import People, Person

people_app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="Accounts of the server mode.")

Database = Annotated[
    str | None,
    typer.Option("--database", metavar="URL", envvar="CROWNSOLE_ARCHIVE", show_envvar=True,
                 help="A PostgreSQL database, or a file; else the archive in the user's data folder."),
]
Name = Annotated[str, typer.Argument(metavar="NAME", help="The name of an account.")]
Role = Annotated[str, typer.Option("--role", metavar="ROLE", help="learner, educator or administrator.")]
Learner = Annotated[
    str | None,
    typer.Option("--learner", metavar="NAME", help="Under which name a learner's runs are kept, if not the account's."),
]
Typed = Annotated[bool, typer.Option("--password-stdin", help="Take the password from standard input, one line.")]


def serve(
    origin: Annotated[
        str, typer.Option("--origin", metavar="ADDRESS", help="How browsers reach it: https://practice.example")
    ],
    *,
    database: Database = None,
    host: Annotated[str, typer.Option("--host", metavar="ADDRESS", help="Where to listen.")] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", metavar="NUMBER", help="Port to listen on.")] = 8300,
    proxy: Annotated[
        str, typer.Option("--proxy", metavar="ADDRESS", help="The proxy whose word about browsers' addresses is taken.")
    ] = "127.0.0.1",
    model: Annotated[Path | None, typer.Option("--model", "-m", metavar="FOLDER", help="A Vosk model folder.")] = None,
    pack: Annotated[
        list[Path], typer.Option("--pack", "-p", metavar="FOLDER", help="A school's lexicon pack.")
    ] = [],  # noqa: B006
    checklist: Annotated[
        str, typer.Option("--checklist", "-c", metavar="NAME", help="What a run that is brought in should have.")
    ] = "complete",
) -> None:
    """Serve a school: review and progress with accounts. Learners see their own runs, educators all.

    \b
    crownsole people add anna --role learner --learner L-07
    crownsole serve --database postgresql://crownsole@db/school --origin https://practice.example

    It listens on loopback behind your own proxy, which does TLS. Nobody needs this for practice on their own machine.
    """
    from listener.school.starting import Wishes
    from listener.school.starting import serve as run

    run(Wishes(origin, database, host, port, proxy, model, tuple(map(str, pack)), checklist))


@people_app.command()
def add(
    name: Name, role: Role = "learner", learner: Learner = None, typed: Typed = False, database: Database = None
) -> None:
    """Make an account; the password is asked for.

    \b
    crownsole people add anna --role learner --learner L-07
    crownsole people add teach --role educator
    """
    with _people(database) as people:
        person = people.add(name, role, learner, _password(typed))
        _log(people, f"add account {person.name}")
        typer.echo(_line(person))


@people_app.command("list")
def list_(database: Database = None) -> None:
    """List the accounts."""
    with _people(database) as people:
        for person in people.all():
            typer.echo(_line(person))


@people_app.command()
def disable(
    name: Name,
    enable: Annotated[bool, typer.Option("--enable", help="Open it again.")] = False,
    database: Database = None,
) -> None:
    """Shut an account: it is signed out at once, and cannot sign in. Its runs stay."""
    with _people(database) as people:
        person = people.disable(name, not enable)
        _log(people, f"{'open' if enable else 'shut'} account {person.name}")
        typer.echo(_line(person))


@people_app.command()
def password(name: Name, typed: Typed = False, database: Database = None) -> None:
    """Set a new password; whoever was signed in with the old one is signed out."""
    with _people(database) as people:
        person = people.get(name)
        people.set_password(name, _password(typed))
        _log(people, f"set password of {person.name}")
        typer.echo(f"The password of {person.name} was set.")


@people_app.command()
def role(name: Name, role: Annotated[str, typer.Argument(metavar="ROLE")], learner: Learner = None,
         database: Database = None) -> None:
    """Give an account another role."""
    with _people(database) as people:
        person = people.set_role(name, role, learner)
        _log(people, f"set role of {person.name}")
        typer.echo(_line(person))


@people_app.command()
def log(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="Only of this account.")] = None,
    count: Annotated[int, typer.Option("--last", metavar="N", help="How many lines.")] = 50,
    database: Database = None,
) -> None:
    """Show the log of access, the newest line first."""
    from listener.school.access import Log

    with _people(database) as people:
        for seen in Log(people.archive).last(count, people.get(name).name if name else None):
            told = f"{seen.at[:19]}Z  {seen.who:16}  {seen.outcome:8}  {seen.what}"
            typer.echo(f"{told}  {seen.run or ''}  {seen.address}")


@contextmanager
def _people(database: str | None) -> Iterator[People]:
    from listener.archive import open_archive
    from listener.errors import UsageError

    try:
        from listener.school.people import People
    except ImportError:
        raise UsageError("Accounts need one more package. Install it with: pip install 'crownsole[server]'") from None
    with open_archive(database) as archive:
        yield People(archive)


def _password(typed: bool) -> str:
    """From standard input, or asked for twice on the terminal."""
    from listener.errors import UsageError

    if typed:
        return sys.stdin.readline().rstrip("\n")
    if not sys.stdin.isatty():
        raise UsageError("A password is asked for on a terminal. Without one, give it with --password-stdin.")
    return str(typer.prompt("Password", hide_input=True, confirmation_prompt=True, err=True))


def _log(people: People, what: str) -> None:
    from listener.school.access import Log

    Log(people.archive).write("operator", what, "done", "command line")


def _line(person: Person) -> str:
    state = "shut" if person.disabled else "open" if person.has_password else "open, no password"
    return f"{person.name:20}  {person.role:14}  {person.learner or '':20}  {state}"
