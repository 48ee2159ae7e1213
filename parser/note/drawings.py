"""Drawings as SVG: the strip of stations, and each vital sign against its teaching range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from lexicon import Lexicon
from parser.note.document import Station
from parser.record import Measure, Record

#: Fill, edge and sign (a path) of a coverage; the sign tells it without colour.
_LOOK = {
    "documented": ("#2f6f62", "#2f6f62", "M-4 34 l3 3 l5 -7"),
    "partial": ("#f3e3b8", "#8a6d1f", "M-4 34 h8"),
    "missing": ("#ffffff", "#8c8c8c", ""),
}
_INK = "#222222"


@dataclass(frozen=True, slots=True)
class Gauge:
    """A value on its scale: ``low`` and ``high`` bound the teaching range, either may be None."""

    name: str
    shown: str
    values: tuple[float, ...]
    low: float | None
    high: float | None


def gauges(record: Record, lexicon: Lexicon) -> tuple[Gauge, ...]:
    """The vital signs that have a teaching range for the usual age; blood pressure in its two parts."""
    ranges = lexicon.files.get("ranges")
    age = getattr(ranges, "usual_age", "adult")
    found = []
    for rule in getattr(ranges, "ranges", ()):
        if age not in rule.ages or rule.words:
            continue
        measures = record.measures.get(rule.measure, ())
        values = [v for m in measures if (v := _value(m, rule.part, rule.unit)) is not None]
        if values:
            label = _labels(lexicon).get(rule.measure, rule.measure.replace("_", " "))
            name = ", ".join(part for part in (label, rule.part) if part)
            found.append(Gauge(name, ", ".join(f"{v:g}" for v in values), tuple(values), rule.low, rule.high))
    return tuple(found)


def _labels(lexicon: Lexicon) -> dict[str, str]:
    files = [(lexicon.files.get(name), name) for name in ("measures", "scales")]
    return {each.id: each.label for file, name in files for each in getattr(file, name, ())}


def _value(measure: Measure, part: str | None, unit: str) -> float | None:
    if measure.unit not in (unit, None):
        return None
    return {"systolic": measure.systolic, "diastolic": measure.diastolic}.get(part or "", measure.number)


def strip_svg(stations: Sequence[Station], *, width: int = 640, font: str = "sans-serif") -> str:
    """The stations as one row of boxes with a sign each, crown at the left."""
    if not stations:
        return ""
    step = width / len(stations)
    boxes = []
    for place, station in enumerate(stations):
        fill, edge, sign = _LOOK[station.coverage]
        ink = "#ffffff" if station.coverage == "documented" else _INK
        x = place * step + 1.5
        middle = f'x="{x + step / 2 - 1.5:.1f}" text-anchor="middle"'
        boxes.append(
            f'<rect x="{x:.1f}" y="2" width="{step - 3:.1f}" height="22" rx="3" fill="{fill}" stroke="{edge}"/>'
            f'<text {middle} y="17" font-size="11" fill="{ink}">{place + 1}</text>'
            f"<title>{escape(station.title)}: {station.coverage}</title>")
        place_ = f'transform="translate({x + step / 2 - 1.5:.1f} 0)"'
        boxes.append(f'<path d="{sign}" {place_} fill="none" stroke="{_INK}" stroke-width="1.5"/>' if sign else "")
    return _svg(width, 42, "".join(f"<g>{box}</g>" for box in boxes), font, strip_alt(stations))


def strip_alt(stations: Sequence[Station]) -> str:
    """The strip in words."""
    done = sum(station.coverage == "documented" for station in stations)
    rest = [f"{s.title} {'partial' if s.coverage == 'partial' else 'not documented'}"
            for s in stations if s.coverage != "documented"]
    return f"{done} of {len(stations)} stations documented" + (": " + "; ".join(rest) if rest else "")


def gauges_svg(found: Sequence[Gauge], *, width: int = 640, font: str = "sans-serif") -> str:
    """One line a vital sign: its teaching range as a bar, the value as a mark with its number."""
    if not found:
        return ""
    rows = [_gauge(gauge, place * 26 + 6, width) for place, gauge in enumerate(found)]
    return _svg(width, len(found) * 26 + 8, "".join(rows), font, gauges_alt(found))


def gauges_alt(found: Sequence[Gauge]) -> str:
    """The gauges in words."""
    return "; ".join(f"{g.name} {g.shown}, teaching range {_range(g)}" for g in found)


def _range(gauge: Gauge) -> str:
    if gauge.low is None:
        return f"up to {gauge.high:g}"
    return f"from {gauge.low:g}" if gauge.high is None else f"{gauge.low:g} to {gauge.high:g}"


def _gauge(gauge: Gauge, y: float, width: int) -> str:
    left, right = 170.0, width - 120.0
    ends = [*gauge.values, *(v for v in (gauge.low, gauge.high) if v is not None)]
    low, high = min(ends), max(ends)
    room = (high - low or 1) * 0.25
    low, high = low - room, high + room
    scale = (right - left) / (high - low)
    start = left if gauge.low is None else left + (gauge.low - low) * scale
    end = right if gauge.high is None else left + (gauge.high - low) * scale
    marks = "".join(
        f'<path d="M{left + (v - low) * scale:.1f} {y + 1:.1f} l5 7 l-5 7 l-5 -7 z" fill="#b3402e" stroke="#ffffff"/>'
        for v in gauge.values)
    return (
        f'<text x="0" y="{y + 12:.1f}" font-size="11" fill="{_INK}">{escape(gauge.name)}</text>'
        f'<line x1="{left:.1f}" x2="{right:.1f}" y1="{y + 8:.1f}" y2="{y + 8:.1f}" stroke="#bbbbbb"/>'
        f'<rect x="{start:.1f}" y="{y + 4:.1f}" width="{max(end - start, 1):.1f}" height="8" rx="2" fill="#a9cfc3"/>'
        f"{marks}"
        f'<text x="{right + 8:.1f}" y="{y + 12:.1f}" font-size="11" fill="{_INK}">{escape(gauge.shown)}'
        f' ({_range(gauge)})</text>')


def _svg(width: int, height: int, body: str, font: str, alt: str) -> str:
    size = f'viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
    front = f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" font-family="{escape(font)}">'
    return f"{front}<title>{escape(alt)}</title>{body}</svg>"
