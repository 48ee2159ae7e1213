"""All scores of a record, from one visible list of families."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from lexicon import Lexicon
from parser.lookup import Lookup
from parser.record import Computed, Record
from parser.scores.body import body
from parser.scores.inputs import Inputs
from parser.scores.news2 import news2
from parser.scores.pressure import orthostatic, pressures, shock_index
from parser.scores.sums import sums
from parser.scores.urine import urine
from parser.settings import USUAL, Settings

FAMILIES: tuple[Callable[[Inputs], Iterator[Computed | None]], ...] = (
    pressures,
    orthostatic,
    shock_index,
    body,
    news2,
    sums,
    urine,
)


def computed(record: Record, lexicon: Lexicon, settings: Settings = USUAL) -> tuple[Computed, ...]:
    """Every value that can be computed, and for those begun what is missing.

    Only standing entries count, and only numbers that can be true. Nothing is summed from an incomplete set.
    """
    return computed_from(Inputs(Lookup.of(record, lexicon), settings))


def computed_from(inputs: Inputs) -> tuple[Computed, ...]:
    """The same from inputs already gathered."""
    return tuple(value for family in FAMILIES for value in family(inputs) if value is not None)
