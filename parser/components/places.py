"""Places: the parts of the body said in one statement, and which finding each belongs to.

A place stands before ("sclera white"), inside a compound ("ankle edema") or after a preposition
("crackles in the left base"); places said together share what follows or precedes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lexicon import Lexicon
from parser.layers import Mention, SiteUse

PREPOSITIONS = frozenset(
    "in of to over at on along around near across from under beneath above below within involving "
    "throughout per".split()
)
_PLACED = frozenset(
    "noted present seen heard felt found located localized best loudest auscultated palpated visible is are was "
    "area areas patch patches spot spots place measuring measures audible has running infusing absent diminished "
    "decreased".split()
)
SMALL = frozenset(
    "the a an all each every either both left right bilateral bilaterally his her their its all upper lower "
    "my some any medial lateral distal proximal".split()
)
_PARTS = frozenset("no not without denies".split())
JOIN = frozenset("and or nor , / & plus as well versus".split())


@dataclass(frozen=True, slots=True)
class Group:
    """Sites said together: "radial and brachial"."""

    start: int
    end: int
    sites: tuple[SiteUse, ...]
    after_preposition: bool


def site_groups(
    words: Sequence[str], terms: tuple[Mention, ...], span: tuple[int, int], taken: set[int], lexicon: Lexicon
) -> list[Group]:
    groups: list[Group] = []
    open_sites: list[SiteUse] = []
    for i in range(*span):
        mention = terms[i]
        site = next((term.id for term in mention.terms if term.kind == "site"), None)
        if site is None or i in taken:
            continue
        use = SiteUse(site, mention.start, mention.end)
        if open_sites and all(w in JOIN or w in SMALL for w in words[open_sites[-1].end : mention.start]):
            open_sites.append(use)
            continue
        if open_sites and _narrows(words, open_sites[-1].end, mention.start):
            open_sites = [SiteUse(site, open_sites[0].start, mention.end)]
            continue
        if open_sites:
            groups.append(_group(words, open_sites))
        open_sites = [use]
    if open_sites:
        groups.append(_group(words, open_sites))
    return groups


def _narrows(words: Sequence[str], end: int, start: int) -> bool:
    """ "Skin over the sacrum" is the sacrum: the place after the preposition is the narrower one."""
    gap = words[end:start]
    return (
        bool(gap)
        and len(gap) <= 3
        and gap[0] in ("of", "over", "on", "around", "at")
        and all(w in PREPOSITIONS or w in SMALL for w in gap)
    )


def _group(words: Sequence[str], sites: list[SiteUse]) -> Group:
    at = sites[0].start
    while at > 0 and words[at - 1] in SMALL:
        at -= 1
    return Group(sites[0].start, sites[-1].end, tuple(sites), at > 0 and words[at - 1] in PREPOSITIONS)


def places_after(
    words: Sequence[str],
    terms: tuple[Mention, ...],
    concepts: list[int],
    groups: list[Group],
    numbered: Mapping[int, str],
    doubtful: set[int],
    devices: set[int],
) -> list[tuple[Group | None, bool]]:
    """For each concept the sites that follow it after a preposition, and whether it stands next to them.

    The earlier members of a list share the place of the last ("redness, swelling or drainage at the site").
    """
    posts: list[tuple[Group | None, bool]] = [(None, False)] * len(concepts)
    g = len(groups)
    for k in range(len(concepts) - 1, -1, -1):
        mention = terms[concepts[k]]
        while g > 0 and groups[g - 1].start >= mention.end:
            g -= 1
        following_mention = terms[concepts[k + 1]] if k + 1 < len(concepts) and concepts[k] not in devices else None
        direct = (
            groups[g]
            if g < len(groups) and _leads_to(words, mention.end, groups[g], following_mention, numbered)
            else None
        )
        if direct is not None:
            posts[k] = (direct, True)
        elif k + 1 < len(concepts) and posts[k + 1][0] is not None:
            following = terms[concepts[k + 1]].start
            between = (g < len(groups) and groups[g].start < following) or any(
                at in doubtful for at in range(mention.end, following + 1)
            )
            if not between and all(w in JOIN or w in SMALL or w == "no" for w in words[mention.end : following]):
                posts[k] = (posts[k + 1][0], False)
    return posts


def _leads_to(
    words: Sequence[str], end: int, group: Group, following: Mention | None, numbered: Mapping[int, str]
) -> bool:
    """Whether a place belongs to the concept before it: "in the", "noted over the", or with nothing
    between ("edema left ankle") when no other concept claims the place. A value may stand between."""
    if group.start - end > 12:
        return False
    gap = [words[at] for at in range(end, group.start) if at not in numbered]
    if not any(w in PREPOSITIONS for w in gap):
        near = following is not None and following.start - group.end <= 2
        parted = near and following is not None and not _PARTS.isdisjoint(words[group.end : following.start])
        claimed = (near and not parted) or group.end in numbered
        return not claimed and all(w in SMALL or w == "audible" for w in gap)
    return len(gap) <= 6 and all(w in PREPOSITIONS or w in SMALL or w in _PLACED for w in gap)
