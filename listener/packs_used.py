"""Which packs a kept run is read with now, and what differs from those it was made with."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lexicon import Lexicon
    from listener.archive import RunInfo
    from parser.record import Record


def lexicon_for(info: RunInfo, packs: Sequence[str] = ()) -> Lexicon:
    """The lexicon with ``packs`` where any are named, else with those the run was made with that are still there.

    Raises :class:`LexiconInvalid` for a pack that is here and invalid.
    """
    from listener.runs import Options, lexicon_of

    chosen = tuple(packs) or tuple(pack for pack in info.head.packs if Path(pack).is_dir())
    return lexicon_of(Options(chosen))


def told(record: Record, lexicon: Lexicon) -> tuple[str, ...]:
    """A sentence for every pack that is not what the record was made with."""
    from lexicon.packs import differing

    return tuple(differing(record.run.lexicon.packs, lexicon.signed))
