"""People of a school: accounts, who is signed in, tries that failed, and the log of access, which only grows."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "third"
down_revision = "second"
branch_labels = None
depends_on = None

_ONLY_GROWS = "the log of access only grows"


def upgrade() -> None:
    _tables()
    if op.get_bind().dialect.name == "sqlite":
        for moment in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER access_{moment.lower()} BEFORE {moment} ON access "
                f"BEGIN SELECT RAISE(ABORT, '{_ONLY_GROWS}'); END"
            )
        op.execute(
            "CREATE TRIGGER access_insert BEFORE INSERT ON access WHEN NEW.number IN (SELECT number FROM access) "
            f"BEGIN SELECT RAISE(ABORT, '{_ONLY_GROWS}'); END"
        )
        return
    for moment in ("UPDATE", "DELETE", "TRUNCATE"):
        row = "STATEMENT" if moment == "TRUNCATE" else "ROW"
        op.execute(
            f"CREATE TRIGGER access_before_{moment.lower()} BEFORE {moment} ON access "
            f"FOR EACH {row} EXECUTE FUNCTION archive_only_grows()"
        )


def _tables() -> None:
    op.create_table(
        "person",
        sa.Column("key", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("name", sa.Text, nullable=False, unique=True),
        sa.Column("role", sa.Text, nullable=False),
        sa.Column("learner", sa.Text),
        sa.Column("password", sa.Text),
        sa.Column("disabled", sa.Boolean, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.CheckConstraint("role IN ('learner', 'educator', 'administrator')", name="role_is_one_of_ours"),
        sa.CheckConstraint("(role = 'learner') = (learner IS NOT NULL)", name="learners_have_a_learner"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "sign_in",
        sa.Column("token", sa.Text, primary_key=True),
        sa.Column("person", sa.Integer, sa.ForeignKey("person.key", ondelete="CASCADE"), nullable=False),
        sa.Column("begun", sa.BigInteger, nullable=False),
        sa.Column("seen", sa.BigInteger, nullable=False),
    )
    op.create_index("sign_in_person", "sign_in", ["person"])
    op.create_table(
        "failure",
        sa.Column("subject", sa.Text, primary_key=True),
        sa.Column("tries", sa.Integer, nullable=False),
        sa.Column("since", sa.BigInteger, nullable=False),
        sa.Column("until", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "access",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("run", sa.Text),
        sa.Column("outcome", sa.Text, nullable=False),
        sa.Column("address", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
