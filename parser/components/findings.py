"""Findings: every concept that was said, with the place it was said of and its station.

Which station a finding belongs to follows from its place, else from the concept, else from what the
dictation has made current.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from lexicon import ANY, Lexicon
from lexicon.schema import Concept
from parser.components.attributes import folded
from parser.components.layer import register
from parser.components.lists import DOUBTFUL
from parser.components.places import JOIN, SMALL, Group, places_after, site_groups
from parser.layers import Aside, Boundary, Finding, Mention, Number, SiteUse, Station
from parser.statements import Situation
from parser.tokens import Tokens

_COPULA = frozenset(
    "is are was were appear appears looks look remains with without no not very slightly mildly both feel feels "
    "and also noted to be the has have had been".split()
)
_NORMAL = "normal"

#: A place this many tokens behind a measure tells where it was measured.
MEASURED = 12

#: A station was named only just now when it was within this many tokens.
LONG = 12

#: The station taken when nothing that was said names one.
FALLBACK = "general_survey"
#: After this station the examination proper begins: what the person reports is filed with the part it is about.
VITALS = "vital_signs"


@dataclass(slots=True)
class _State:
    """What the sweep has made current. Lives only inside one call.

    ``entered``: the token at which the station became current. ``told``: a concept that is about
    itself ("bowel movement") has come since the place was named.
    """

    region: str | None
    site: SiteUse | None
    stations: Iterator[Station]
    doubtful: set[int]
    cuts: list[int]
    numbered: Mapping[int, str]
    following: Station | None = None
    told: bool = False
    entered: int = -LONG
    found: list[Finding] = field(default_factory=list)

    def reach(self, at: int) -> None:
        """Make current what was announced up to token ``at``."""
        while self.following is not None and self.following.at <= at:
            if self.following.region != self.region:
                self.region, self.site, self.told = self.following.region, None, False
            self.entered = self.following.at
            self.following = next(self.stations, None)


def find_findings(
    tokens: Tokens,
    terms: tuple[Mention, ...],
    numbers: tuple[Number, ...],
    asides: tuple[Aside, ...],
    stations: tuple[Station, ...],
    boundaries: tuple[Boundary, ...],
    situation: Situation,
    lexicon: Lexicon,
) -> tuple[Finding, ...]:
    """Findings in the order they were said. Concepts inside asides are none."""
    state = _State(
        situation.region,
        SiteUse(situation.site, 0, 0) if situation.site else None,
        iter(stations),
        {b.at for b in boundaries if b.reason == DOUBTFUL},
        [*(b.at for b in boundaries if b.reason != DOUBTFUL), len(tokens)],
        {token: number.readings[0].shape for number in numbers for token in range(number.start, number.end)},
    )
    state.following = next(state.stations, None)
    for clause, (first, last) in enumerate(_clauses(terms, asides, boundaries)):
        if first < last:
            _read_clause(tokens, terms, (first, last), clause, state, lexicon)
    return folded(tokens.words, terms, sorted(state.found, key=lambda finding: finding.start), lexicon)


def _clauses(
    terms: tuple[Mention, ...], asides: tuple[Aside, ...], boundaries: tuple[Boundary, ...]
) -> list[tuple[int, int]]:
    """Index ranges of mentions between boundaries; mentions inside asides end a range and are left out."""
    cuts = sorted(
        {*(b.at for b in boundaries if b.reason != DOUBTFUL), *(a.start for a in asides), *(a.end for a in asides)}
    )
    hidden = [(a.start, a.end) for a in asides]
    ranges: list[tuple[int, int]] = []
    first = cut = shade = 0
    for i, mention in enumerate(terms):
        while cut < len(cuts) and cuts[cut] <= mention.start:
            ranges.append((first, i))
            first, cut = i, cut + 1
        while shade < len(hidden) and hidden[shade][1] <= mention.start:
            shade += 1
        if shade < len(hidden) and hidden[shade][0] <= mention.start:
            ranges.append((first, i))
            first = i + 1
    ranges.append((first, len(terms)))
    return ranges


def _read_clause(
    tokens: Tokens, terms: tuple[Mention, ...], span: tuple[int, int], clause: int, state: _State, lexicon: Lexicon
) -> None:
    words, numbered = tokens.words, state.numbered
    end = state.cuts[bisect_right(state.cuts, terms[span[1] - 1].start)]
    concepts = _concepts(terms, span, end, numbered, state.region, lexicon)
    groups = site_groups(words, terms, span, {i for i, _ in concepts}, lexicon)
    devices = {i for i, term in concepts if term[1] in lexicon.concepts and lexicon.concepts[term[1]].kind == "device"}
    posts = places_after(words, terms, [i for i, _ in concepts], groups, numbered, state.doubtful, devices)
    normals = _normal_targets(words, terms, concepts)
    used_normals = set(normals.values())
    measures = [terms[i].end for i in range(*span) if any(term.kind == "measure" for term in terms[i].terms)]
    g = 0
    pre: Group | None = None
    for (index, term), post in zip(concepts, posts, strict=True):
        mention = terms[index]
        while g < len(groups) and groups[g].start < mention.start:
            pre = groups[g] if not groups[g].after_preposition or pre is None else pre
            _enter(groups[g], measures, state, lexicon)
            g += 1
        state.reach(mention.start)
        if (mention.start, mention.end) in used_normals:
            continue
        _file(words, mention, index, term, clause, pre, post, normals.get(index), state, lexicon)
    for group in groups[g:]:
        _enter(group, measures, state, lexicon)
    state.reach(terms[span[1] - 1].start)
    state.found += _named_only(terms, span, clause, state, lexicon)
    if not concepts:
        state.found += _place_only(terms, span, groups, clause, state, lexicon)


def _concepts(
    terms: tuple[Mention, ...],
    span: tuple[int, int],
    end: int,
    numbered: Mapping[int, str],
    region: str | None,
    lexicon: Lexicon,
) -> list[tuple[int, tuple[str, str, bool]]]:
    """Index and meaning of every mention that stands for a concept or scale."""
    found: list[tuple[int, tuple[str, str, bool]]] = []
    site: str | None = None
    for i in range(*span):
        meant = _concept(terms[i], end, numbered, region, site, lexicon)
        if meant is not None:
            found.append((i, meant))
        site = next((term.id for term in terms[i].terms if term.kind == "site"), site)
    return found


def _place_only(
    terms: tuple[Mention, ...], span: tuple[int, int], groups: Sequence[Group], clause: int, state: _State,
    lexicon: Lexicon,
) -> Iterator[Finding]:
    """A place of which no finding is told ("breasts deferred") stands for its station."""
    for site in (group.sites[0] for group in groups[:1]):
        region = _region_of_site(site.id, site.start, state, lexicon)
        if region is not None and region in lexicon.regions:
            for i in (i for i in range(*span) if terms[i].start == site.start):
                yield Finding(i, terms[i].start, terms[i].end, "region", region, region, clause=clause)


def _named_only(
    terms: tuple[Mention, ...], span: tuple[int, int], clause: int, state: _State, lexicon: Lexicon
) -> Iterator[Finding]:
    """Stations and measures that were named: it may be said of them that they were not assessed."""
    for i in range(*span):
        for term in terms[i].terms[:1]:
            if term.kind in ("region", "heading"):
                yield Finding(i, terms[i].start, terms[i].end, "region", term.id, term.id, clause=clause)
            elif term.kind == "measure":
                yield Finding(
                    i, terms[i].start, terms[i].end, "measure", term.id, state.region or FALLBACK, clause=clause
                )


def _concept(
    mention: Mention, end: int, numbered: Mapping[int, str], region: str | None, site: str | None, lexicon: Lexicon
) -> tuple[str, str, bool] | None:
    """(kind, id, absent form) of the mention when it stands for a concept or scale, the best fitting one.

    ``end`` is where its clause ends.
    """
    options = [term for term in mention.terms if term.kind in ("concept", "scale")]
    if not options:
        return None
    if any(term.kind == "measure" for term in mention.terms):
        shape = next((numbered[at] for at in range(mention.end, min(mention.end + 5, end)) if at in numbered), "grade")
        if shape != "grade":
            return None
    if len(options) > 1:
        options.sort(key=lambda term: -_fit(term.id, region, site, lexicon))
    best = options[0]
    return best.kind, best.id, best.absent


def _fit(concept: str, region: str | None, site: str | None, lexicon: Lexicon) -> float:
    if concept not in lexicon.concepts:
        return 0.0
    home = lexicon.home[concept]
    known = lexicon.concepts[concept]
    also = known.also
    if site is not None and site in (known.site, *known.sites):
        return 4.0
    if home == region:
        return 3.0
    if region in also:
        return 2.0
    if ANY in (home, *also) and home not in lexicon.regions:
        return 1.0
    order = lexicon.region_order  # steps that open and close a run have the same words: the nearer station wins
    here = order.index(region) if region in order else 0
    return 1.0 - abs(order.index(home) - here) / len(order) if home in order else 0.0


def _normal_targets(
    words: Sequence[str], terms: tuple[Mention, ...], concepts: list[tuple[int, tuple[str, str, bool]]]
) -> dict[int, tuple[int, int]]:
    """Concept mention -> the normal word that belongs to it ("normal color, temperature and turgor")."""
    targets: dict[int, tuple[int, int]] = {}
    for k, (index, term) in enumerate(concepts):
        if term[1] != _NORMAL:
            continue
        mention = terms[index]
        place = (mention.start, mention.end)
        end = mention.end
        for following, following_term in concepts[k + 1 :]:
            gap = words[end : terms[following].start]
            if following_term[1] == _NORMAL or len(gap) > 2 or not all(w in JOIN or w in SMALL for w in gap):
                break
            targets[following] = place
            end = terms[following].end
        if end == mention.end and k and concepts[k - 1][0] not in targets:
            before = terms[concepts[k - 1][0]]
            gap = words[before.end : mention.start]
            if len(gap) <= 3 and all(w in _COPULA for w in gap):
                targets[concepts[k - 1][0]] = place
    return targets


def _file(
    words: Sequence[str],
    mention: Mention,
    index: int,
    term: tuple[str, str, bool],
    clause: int,
    pre: Group | None,
    post: tuple[Group | None, bool],
    normal: tuple[int, int] | None,
    state: _State,
    lexicon: Lexicon,
) -> None:
    kind, name, absent = term
    concept = lexicon.concepts.get(name)
    sites = _sites(words, mention, concept, pre, post, state, lexicon)
    region = _region(name, concept, sites, state, lexicon)
    if kind == "concept" and concept is not None:
        kind = concept.kind
    opens = kind in ("finding", "scale") or region in (lexicon.region_order[0], lexicon.region_order[-1])
    if opens and region in lexicon.regions and lexicon.home.get(name, ANY) != ANY:
        _move(region, state, mention.start)
    if lexicon.home.get(name) != ANY and kind != "step":
        state.told = not sites
    state.found.append(Finding(index, mention.start, mention.end, kind, name, region, sites, absent, normal, clause))


def _sites(
    words: Sequence[str],
    mention: Mention,
    concept: Concept | None,
    pre: Group | None,
    post: tuple[Group | None, bool],
    state: _State,
    lexicon: Lexicon,
) -> tuple[SiteUse, ...]:
    if concept is None:
        return ()
    group, direct = post
    adjacent = pre is not None and all(
        words[at] in _COPULA or words[at] in SMALL or at in state.numbered for at in range(pre.end, mention.start)
    )
    generic = lexicon.home[concept.id] == ANY
    options: list[Group | None] = []
    if pre is not None and pre.end == mention.start and not (direct and pre.after_preposition):
        options.append(pre)
    if direct:
        options.append(group)
    if pre is not None and (adjacent or generic or concept.sites):
        options.append(pre)
    options.append(group)
    for option in options:
        sites = tuple(site for site in option.sites if _suits(concept, site.id, lexicon)) if option else ()
        if sites:
            return sites
    if concept.site:
        return (SiteUse(concept.site, mention.start, mention.start),)
    carried = state.site
    if (
        carried is not None
        and generic
        and not state.told
        and _suits(concept, carried.id, lexicon)
        and _carries(carried.id, concept, lexicon)
    ):
        return (carried,)
    return ()


def _carries(site: str, concept: Concept, lexicon: Lexicon) -> bool:
    """A narrow place is not carried on to an abnormal word: "uvula midline ... no lesions" means the mouth."""
    return concept.nature != "abnormal" or bool(concept.sites) or lexicon.sites[site].part_of is None


def _suits(concept: Concept, site: str, lexicon: Lexicon) -> bool:
    if not concept.sites:
        return True
    here: str | None = site
    while here is not None:
        if here in concept.sites:
            return True
        here = lexicon.sites[here].part_of
    return False


def _region(name: str, concept: Concept | None, sites: tuple[SiteUse, ...], state: _State, lexicon: Lexicon) -> str:
    current = state.region
    if concept is None:
        named = getattr(_scale(name, lexicon), "region", None)
        return str(named) if named in lexicon.regions else current or FALLBACK
    home, also = lexicon.home[name], concept.also
    for site in sites:
        place = _region_of_site(site.id, site.start, state, lexicon)
        if place is not None and (ANY in (home, *also) or place == home or place in also):
            return place
    if home == ANY or (ANY in also and current is not None):
        usual = next((region for region in also if region in lexicon.regions), FALLBACK)
        return current or (home if home != ANY else usual)
    if current in also or not also or concept.kind != "report" or current is None:
        return current if current in also else home
    examining = lexicon.region_order.index(current) > lexicon.region_order.index(VITALS)
    return next((region for region in also if region in lexicon.regions), home) if examining else home


def _scale(name: str, lexicon: Lexicon) -> object | None:
    return next((s for s in getattr(lexicon.files.get("scales"), "scales", ()) if s.id == name), None)


def _region_of_site(site: str, at: int, state: _State, lexicon: Lexicon) -> str | None:
    """The station of a place. Skin is spoken of everywhere, but far from the station's name it means its own."""
    home, also = lexicon.home[site], lexicon.sites[site].also
    current = state.region
    if current is not None and (current == home or current in also or home == ANY):
        return current
    if current is not None and ANY in also and at - state.entered <= LONG:
        return current
    return home if home != ANY else None


def _enter(group: Group, measures: list[int], state: _State, lexicon: Lexicon) -> None:
    """A place that was named makes its station current, unless it stands after a preposition in another's,
    or tells where a measure was taken ("blood pressure ... right arm")."""
    state.reach(group.start)
    if any(0 <= group.start - end <= MEASURED for end in measures):
        return
    site = group.sites[-1]
    entry = lexicon.sites[site.id]
    region = _region_of_site(site.id, site.start, state, lexicon)
    if region in lexicon.regions and entry.opens and not group.after_preposition:
        _move(region, state, site.start)
    state.site, state.told = site, False


def _move(region: str | None, state: _State, at: int) -> None:
    if region != state.region:
        state.entered = at
        state.region, state.site, state.told = region, None, False


create_findings = register(
    "findings", find_findings, ("terms", "numbers", "asides", "stations", "boundaries"), situation=True
)
