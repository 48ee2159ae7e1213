"""Run by alembic: brings the connection it is given to the newest version of the schema."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], target_metadata=None)
context.run_migrations()
