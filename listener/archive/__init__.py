"""The archive: runs kept for good, in SQLite in the user's data folder or in PostgreSQL by URL.

Tables only grow: the database itself refuses to change or remove a row of a run (see ``migrations``). A run
leaves as a whole or not at all. Everything is imported late, so that help stays quick.
"""

from listener.archive.events import Event, Head, RunInfo, Segment
from listener.archive.store import Archive, open_archive
from listener.archive.writing import Writer

__all__ = ["Archive", "Event", "Head", "RunInfo", "Segment", "Writer", "open_archive"]
