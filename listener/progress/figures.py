"""The figures of one run, computed from its record alone: small, frozen, and the same whenever they are computed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Self

from parser.record import Coverage, Entry, Record, RegionRecord, Remark

#: Names the way figures are made; another way needs another name, and summaries are then made anew.
SCHEME = "crownsole-figures/1"

#: Families of remarks that tell how a run was done rather than what was left out or found.
FAULTS = ("order", "timing", "sides", "detail", "contradiction", "implausible")


@dataclass(frozen=True, slots=True)
class StationFigures:
    """One station of one run that was wanted or spoken of.

    ``missing`` are the items not heard, in words to say; ``seconds`` of sound from its first words to the first of
    another station, over all visits (None: no times); ``doubtful`` entries are those marked to confirm.
    """

    region: str
    coverage: Coverage
    entries: int
    doubtful: int
    missing: tuple[str, ...] = ()
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """A remark of a family in :data:`FAULTS`: how often it was made in the run, and the first one's words."""

    rule: str
    region: str | None
    times: int
    message: str
    say: str | None

    @property
    def family(self) -> str:
        return self.rule.partition(".")[0]


@dataclass(frozen=True, slots=True)
class RunFigures:
    """The figures of one run.

    ``entries`` counts what was filed, amended entries too; ``doubtful`` of them were marked to confirm; ``corrected``
    of them were changed or taken back, ``by_hand`` on a page (the others in speech); ``seconds`` of sound;
    ``speaking_s`` from the first word to the end of the last; ``urgent`` remarks call for someone.
    """

    words: int
    seconds: float | None
    speaking_s: float | None
    entries: int
    doubtful: int
    corrected: int
    by_hand: int
    confirmed: int
    urgent: int
    stations: tuple[StationFigures, ...]
    faults: tuple[Fault, ...]

    @property
    def documented(self) -> int:
        return sum(station.coverage == "documented" for station in self.stations)

    @property
    def omissions(self) -> int:
        """Items wanted and not heard."""
        return sum(len(station.missing) for station in self.stations)

    @property
    def coverage(self) -> float | None:
        """The share of the stations that were documented, 0 to 1."""
        return _share(self.documented, len(self.stations))

    @property
    def doubt_rate(self) -> float | None:
        """The share of the entries marked to confirm, 0 to 1."""
        return _share(self.doubtful, self.entries)

    @property
    def correction_rate(self) -> float | None:
        """The share of the entries that were changed or taken back, 0 to 1."""
        return _share(self.corrected, self.entries)

    @property
    def words_a_minute(self) -> float | None:
        """Words over the time from the first to the last, silences included."""
        return None if not self.speaking_s else self.words * 60 / self.speaking_s

    def faults_of(self, family: str) -> int:
        return sum(fault.times for fault in self.faults if fault.family == family)

    def as_json(self) -> dict[str, Any]:
        """Plain JSON, short: these are kept for every run."""
        return {
            **{name: getattr(self, name) for name in _NUMBERS},
            "stations": [[s.region, s.coverage, s.entries, s.doubtful, list(s.missing), s.seconds]
                         for s in self.stations],
            "faults": [[f.rule, f.region, f.times, f.message, f.say] for f in self.faults],
        }

    @classmethod
    def from_json(cls, body: Mapping[str, Any], known: Mapping[str, str] | None = None) -> Self:
        """Figures from :meth:`as_json`. ``known`` maps a text to the one copy of it that is to be used.

        Raises :class:`ValueError` for anything else.
        """
        texts = known if known is not None else {}
        try:
            stations = tuple(
                StationFigures(_one(texts, region), coverage, entries, doubtful,
                               tuple(_one(texts, item) for item in missing), seconds)
                for region, coverage, entries, doubtful, missing, seconds in body["stations"]
            )
            faults = tuple(
                Fault(_one(texts, rule), region, times, message, say and _one(texts, say))
                for rule, region, times, message, say in body["faults"]
            )
            return cls(**{name: body[name] for name in _NUMBERS}, stations=stations, faults=faults)
        except (KeyError, TypeError, ValueError) as error:
            raise ValueError("these are no figures of a run") from error


_NUMBERS = ("words", "seconds", "speaking_s", "entries", "doubtful", "corrected", "by_hand", "confirmed", "urgent")


def figures_of(record: Record) -> RunFigures:
    """The figures of an audited record."""
    entries = [(region.region, entry) for region in record.regions for entry in region.entries]
    changed = {a.supersedes: a.kind for a in record.amendments if a.kind != "confirmation"}
    times = _seconds_a_station(entries)
    return RunFigures(
        words=len(record.words),
        seconds=record.run.duration_s,
        speaking_s=_speaking(record),
        entries=sum(not entry.inferred for _, entry in entries),
        doubtful=sum(entry.confirm is not None for _, entry in entries),
        corrected=len(changed),
        by_hand=_by_hand(record),
        confirmed=len({a.supersedes for a in record.amendments if a.kind == "confirmation"}),
        urgent=sum(remark.severity == "urgent" for remark in record.remarks),
        stations=tuple(_station(region, times.get(region.region)) for region in record.regions if _counts(region)),
        faults=_faults(record.remarks),
    )


def _counts(region: RegionRecord) -> bool:
    """Whether a station was wanted, or spoken of without being wanted."""
    return bool(region.entries or region.missing) or region.coverage != "missing"


def _station(region: RegionRecord, seconds: float | None) -> StationFigures:
    return StationFigures(
        region=region.region,
        coverage=region.coverage,
        entries=sum(not entry.inferred for entry in region.entries),
        doubtful=sum(entry.confirm is not None for entry in region.entries),
        missing=region.missing,
        seconds=None if seconds is None else round(seconds, 1),
    )


def _by_hand(record: Record) -> int:
    """Entries changed or taken back by someone else than the speaker."""
    return len({a.supersedes for a in record.amendments if a.kind != "confirmation" and a.by != "speaker"})


def _speaking(record: Record) -> float | None:
    starts = [word.start for word in record.words if word.start is not None]
    ends = [word.end for word in record.words if word.end is not None]
    return round(max(ends) - min(starts), 2) if starts and ends and max(ends) > min(starts) else None


def _seconds_a_station(entries: Iterable[tuple[str, Entry]]) -> Mapping[str, float]:
    """Station -> seconds from its first words to the first of another station, over all visits; {} without times.

    The last visit ends with its last words. Time before the first finding belongs to no station.
    """
    timed = sorted(
        (entry.evidence.start, entry.evidence.end or entry.evidence.start, region)
        for region, entry in entries
        if entry.evidence.start is not None
    )
    totals: dict[str, float] = {}
    for n, (start, end, region) in enumerate(timed):
        until = timed[n + 1][0] if n + 1 < len(timed) else max(end for _, end, _ in timed[-8:])
        totals[region] = totals.get(region, 0.0) + max(until - start, 0.0)
    return totals


def _faults(remarks: Iterable[Remark]) -> tuple[Fault, ...]:
    """Remarks of the families of faults, one a rule, in the order of the audit."""
    grouped: dict[str, list[Remark]] = {}
    for remark in remarks:
        if remark.rule.partition(".")[0] in FAULTS:
            grouped.setdefault(remark.rule, []).append(remark)
    return tuple(Fault(rule, some[0].region, len(some), _first_sentence(some[0].message), some[0].say)
                 for rule, some in grouped.items())


def _first_sentence(text: str) -> str:
    end = text.find(". ")
    return text if end < 0 else text[: end + 1]


def _share(part: int, whole: int) -> float | None:
    return part / whole if whole else None


def _one(known: Mapping[str, str], text: str) -> str:
    if not isinstance(text, str):
        raise ValueError("a text is missing")
    return known.setdefault(text, text) if isinstance(known, dict) else text
