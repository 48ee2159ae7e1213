"""Whose run it is, and the figures of a run; both tables only grow, and leave with their run."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "second"
down_revision = "first"
branch_labels = None
depends_on = None

_PARTS = ("assignment", "summary")
_ONLY_GROWS = "the archive only grows: rows are never changed"
_WHOLE_RUNS = "only a whole run can be removed"
_IN_ORDER = "rows follow one another without a gap"


def upgrade() -> None:
    _tables()
    statements = _sqlite() if op.get_bind().dialect.name == "sqlite" else _postgresql()
    for statement in statements:
        op.execute(statement)


def _tables() -> None:
    op.create_table(
        "assignment",
        *_place_in_run(),
        sa.Column("learner", sa.Text),
        sa.Column("attempt", sa.Integer),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.CheckConstraint("attempt IS NULL OR attempt >= 1", name="attempts_count_from_one"),
    )
    op.create_table(
        "summary",
        *_place_in_run(),
        sa.Column("basis", sa.Text, nullable=False),
        sa.Column("scheme", sa.Text, nullable=False),
        sa.Column("lexicon", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
    )
    op.create_index("assignment_learner", "assignment", ["learner", "run"])


def _place_in_run() -> tuple[sa.Column[int], sa.Column[int]]:
    run = sa.ForeignKey("run.key", ondelete="CASCADE")
    return (
        sa.Column("run", sa.Integer, run, primary_key=True, autoincrement=False),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    )


def _gap(table: str) -> str:
    return f"NEW.number <> (SELECT COALESCE(MAX(number), 0) + 1 FROM {table} WHERE run = NEW.run)"


def _sqlite() -> list[str]:
    def guard(table: str, moment: str, when: str, message: str) -> str:
        condition = f"WHEN {when} " if when else ""
        return (
            f"CREATE TRIGGER {table}_{moment.lower()} BEFORE {moment} ON {table} {condition}"
            f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
        )

    gone = "".join(f"DELETE FROM {table} WHERE run = NEW.run; " for table in ("event", "audio_segment", *_PARTS))
    in_run = "EXISTS (SELECT 1 FROM run WHERE key = OLD.run)"
    return [
        *(guard(table, "UPDATE", "", _ONLY_GROWS) for table in _PARTS),
        *(guard(table, "DELETE", in_run, _WHOLE_RUNS) for table in _PARTS),
        *(guard(table, "INSERT", _gap(table), _IN_ORDER) for table in _PARTS),
        "DROP TRIGGER removal_done",
        "CREATE TRIGGER removal_done AFTER INSERT ON removal "
        f"BEGIN DELETE FROM run WHERE key = NEW.run; {gone}END",
    ]


def _postgresql() -> list[str]:
    def trigger(table: str, moment: str, name: str) -> str:
        row = "STATEMENT" if moment == "TRUNCATE" else "ROW"
        return (
            f"CREATE TRIGGER {table}_before_{moment.lower()} BEFORE {moment} ON {table} "
            f"FOR EACH {row} EXECUTE FUNCTION {name}()"
        )

    follows = [
        f"CREATE FUNCTION archive_{table}_follows() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF {_gap(table)} THEN RAISE EXCEPTION '{_IN_ORDER}' USING ERRCODE = 'integrity_constraint_violation'; "
        "END IF; RETURN NEW; END $$"
        for table in _PARTS
    ]
    changes = [(table, moment) for table in _PARTS for moment in ("UPDATE", "TRUNCATE")]
    return [
        *follows,
        *(trigger(table, moment, "archive_only_grows") for table, moment in changes),
        *(trigger(table, "DELETE", "archive_part_leaves") for table in _PARTS),
        *(trigger(table, "INSERT", f"archive_{table}_follows") for table in _PARTS),
    ]
