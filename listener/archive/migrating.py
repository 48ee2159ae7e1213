"""Brings an archive to the schema of this program; alembic is imported only when there is something to do."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from listener.errors import StorageError

#: The newest version; every older one is reached from it through ``migrations/versions``.
NEWEST = "third"
_FOLDER = Path(__file__).parent / "migrations"


def migrate(engine: Engine, name: str) -> None:
    """Make or update the tables, in one transaction.

    Raises :class:`StorageError` for an archive of a newer program, or of another one.
    """
    with engine.connect().execution_options(reading=True) as connection, connection.begin():
        if _version(connection) == NEWEST:
            return
    with engine.connect() as connection, connection.begin():
        if engine.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(7270187)"))
        version = _version(connection)
        if version != NEWEST:
            _check(connection, version, name)
            _upgrade(connection)


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _check(connection: Connection, version: str | None, name: str) -> None:
    known = {path.stem for path in (_FOLDER / "versions").glob("*.py")}
    if version is not None and version not in known:
        raise StorageError(
            f"{name} was made by a newer Crownsole (version '{version}'). Update the program; nothing was changed."
        )
    if version is None and {"run", "event"} & set(inspect(connection).get_table_names()):
        raise StorageError(
            f"{name} belongs to another program. Name another place with --archive; nothing was changed."
        )


def _upgrade(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_FOLDER).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
