"""The first schema: runs, events and sound that only grow.

The database refuses to change a row, to leave a gap in the numbers, and to remove anything but a whole run; a
run is removed by a row in ``removal``.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "first"
down_revision = None
branch_labels = None
depends_on = None

_PARTS = ("event", "audio_segment")
_ONLY_GROWS = "the archive only grows: rows are never changed"
_WHOLE_RUNS = "only a whole run can be removed"
_IN_ORDER = "rows follow one another without a gap"
_HERE_ALREADY = "this run is here already"


def upgrade() -> None:
    _tables()
    statements = _sqlite() if op.get_bind().dialect.name == "sqlite" else _postgresql()
    for statement in statements:
        op.execute(statement)


def _tables() -> None:
    key = sa.ForeignKey("run.key", ondelete="CASCADE")
    op.create_table(
        "run",
        sa.Column("key", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("id", sa.Text, nullable=False, unique=True),
        sa.Column("head", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "event",
        sa.Column("run", sa.Integer, key, primary_key=True, autoincrement=False),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("kind", "at", "body", "hash")),
    )
    op.create_table(
        "audio_segment",
        sa.Column(
            "run", sa.Integer, sa.ForeignKey("run.key", ondelete="CASCADE"), primary_key=True, autoincrement=False
        ),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("start", sa.Integer, nullable=False),
        sa.Column("samples", sa.Integer, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
        sa.CheckConstraint("samples BETWEEN 1 AND 16000", name="one_second"),
    )
    op.create_table(
        "removal",
        sa.Column("run", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("id", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_index("event_kind", "event", ["run", "kind", "number"])


def _sqlite() -> list[str]:
    def guard(table: str, moment: str, when: str, message: str) -> str:
        name = f"{table}_{moment.split()[1].lower()}"
        condition = f"WHEN {when} " if when else ""
        return f"CREATE TRIGGER {name} {moment} ON {table} {condition}BEGIN SELECT RAISE(ABORT, '{message}'); END"

    made = [guard(table, "BEFORE UPDATE", "", _ONLY_GROWS) for table in ("run", *_PARTS, "removal")]
    made += [
        guard(table, "BEFORE DELETE", "EXISTS (SELECT 1 FROM run WHERE key = OLD.run)", _WHOLE_RUNS) for table in _PARTS
    ]
    made += [
        guard(
            table,
            "BEFORE INSERT",
            f"NEW.number <> (SELECT COALESCE(MAX(number), 0) + 1 FROM {table} WHERE run = NEW.run){more}",
            _IN_ORDER,
        )
        for table, more in zip(_PARTS, ("", f" OR NEW.start <> {_END_OF_SOUND}"), strict=True)
    ]
    made += [
        guard("run", "BEFORE INSERT", "EXISTS (SELECT 1 FROM run WHERE id = NEW.id OR key = NEW.key)", _HERE_ALREADY),
        guard("run", "BEFORE DELETE", "NOT EXISTS (SELECT 1 FROM removal WHERE run = OLD.key)", _WHOLE_RUNS),
        guard("removal", "BEFORE DELETE", "", _ONLY_GROWS),
        guard("removal", "BEFORE INSERT", "NOT EXISTS (SELECT 1 FROM run WHERE key = NEW.run)", _WHOLE_RUNS),
        "CREATE TRIGGER removal_done AFTER INSERT ON removal BEGIN DELETE FROM run WHERE key = NEW.run; "
        "DELETE FROM event WHERE run = NEW.run; DELETE FROM audio_segment WHERE run = NEW.run; END",
    ]
    return made


_END_OF_SOUND = (
    "COALESCE((SELECT start + samples FROM audio_segment WHERE run = NEW.run ORDER BY number DESC LIMIT 1), 0)"
)


def _postgresql() -> list[str]:
    return [*_functions(), *_triggers()]


def _functions() -> list[str]:
    def function(name: str, body: str, result: str = "NEW") -> str:
        return f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {body} RETURN {result}; END $$"

    def refuse(condition: str, message: str) -> str:
        code = "USING ERRCODE = 'integrity_constraint_violation'"
        return f"IF {condition} THEN RAISE EXCEPTION '{message}' {code}; END IF;"

    def gap(table: str) -> str:
        return f"NEW.number <> (SELECT COALESCE(MAX(number), 0) + 1 FROM {table} WHERE run = NEW.run)"

    in_run = "EXISTS (SELECT 1 FROM run WHERE key = OLD.run)"
    said = "EXISTS (SELECT 1 FROM removal WHERE run = OLD.key)"
    return [
        function("archive_only_grows", refuse("TRUE", _ONLY_GROWS)),
        function("archive_part_leaves", refuse(in_run, _WHOLE_RUNS), "OLD"),
        function("archive_run_leaves", refuse(f"NOT {said}", _WHOLE_RUNS), "OLD"),
        function("archive_removal", refuse("NOT EXISTS (SELECT 1 FROM run WHERE key = NEW.run)", _WHOLE_RUNS)),
        function("archive_remove", "DELETE FROM run WHERE key = NEW.run;"),
        function("archive_event_follows", refuse(gap("event"), _IN_ORDER)),
        function(
            "archive_audio_segment_follows",
            refuse(f"{gap('audio_segment')} OR NEW.start <> {_END_OF_SOUND}", _IN_ORDER),
        ),
    ]


def _triggers() -> list[str]:
    def trigger(table: str, moment: str, name: str) -> str:
        row = "STATEMENT" if moment.endswith("TRUNCATE") else "ROW"
        return (
            f"CREATE TRIGGER {table}_{'_'.join(moment.lower().split())} {moment} ON {table} "
            f"FOR EACH {row} EXECUTE FUNCTION {name}()"
        )

    tables, moments = ("run", *_PARTS, "removal"), ("UPDATE", "TRUNCATE")
    changes = [(table, f"BEFORE {moment}") for table in tables for moment in moments]
    made = [trigger(table, moment, "archive_only_grows") for table, moment in changes]
    made += [trigger(table, "BEFORE DELETE", "archive_part_leaves") for table in _PARTS]
    made += [trigger(table, "BEFORE INSERT", f"archive_{table}_follows") for table in _PARTS]
    return [
        *made,
        trigger("run", "BEFORE DELETE", "archive_run_leaves"),
        trigger("removal", "BEFORE DELETE", "archive_only_grows"),
        trigger("removal", "BEFORE INSERT", "archive_removal"),
        trigger("removal", "AFTER INSERT", "archive_remove"),
    ]
