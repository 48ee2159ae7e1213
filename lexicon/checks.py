"""Checks across lexicon files: every name that is used exists; every fault says where."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from difflib import get_close_matches
from typing import TYPE_CHECKING

from lexicon import audit_checks, cue_checks, phrasing, rubric_checks

if TYPE_CHECKING:
    from lexicon.loading import Lexicon

_MARKS = ("V", "S", "M", "C")


def faults(lexicon: "Lexicon") -> list[str]:
    """Every fault across files as a sentence with file and line."""
    own = (*_regions(lexicon), *_sites(lexicon), *_concepts(lexicon))
    rooms = (audit_checks, rubric_checks, cue_checks, phrasing)
    return [*own, *(fault for room in rooms for fault in room.faults(lexicon))]


def _regions(lexicon: "Lexicon") -> Iterator[str]:
    for name, region in lexicon.regions.items():
        yield from _sources(lexicon, region.source, lexicon.origins[("regions", name)])


def _sites(lexicon: "Lexicon") -> Iterator[str]:
    for name, site in lexicon.sites.items():
        where = lexicon.origins[("sites", name)]
        yield from known(site.also, {*lexicon.regions, "any"}, "station", where)
        if site.part_of:
            yield from known((site.part_of,), lexicon.sites, "site", where)


def _concepts(lexicon: "Lexicon") -> Iterator[str]:
    for name, concept in lexicon.concepts.items():
        where = lexicon.origins[("concepts", name)]
        yield from known(concept.also, {*lexicon.regions, "any"}, "station", where)
        yield from known((*concept.sites, *((concept.site,) if concept.site else ())), lexicon.sites, "site", where)
        yield from known(concept.opposite, lexicon.concepts, "concept", where)
        yield from _sources(lexicon, concept.source, where)
        if lexicon.home[name] not in lexicon.regions and lexicon.home[name] != "any":
            yield f"{where}: its file names the station '{lexicon.home[name]}', which regions.yaml does not have"


def _sources(lexicon: "Lexicon", names: Iterable[str], where: str) -> Iterator[str]:
    for name in names:
        if name not in _MARKS:
            yield from known((name,), lexicon.sources, "source", where)


def known(names: Iterable[str], pool: Iterable[str], what: str, where: str) -> Iterator[str]:
    """A fault for each name that is not in the pool, with the nearest name."""
    pool = set(pool)
    for name in names:
        if name not in pool:
            near = get_close_matches(name, pool, 1)
            hint = f"; did you mean '{near[0]}'?" if near else ""
            yield f"{where}: there is no {what} '{name}'{hint}"
