"""What a run of number words can stand for: every plausible amount, the likeliest first.

"one twenty eight" is 128; "ninety eight six" may be 98.6 or two numbers; "five nine" 5.9, 5'9" or 59.
"""

from __future__ import annotations

from collections.abc import Sequence

from parser.grammar import number_text
from parser.layers import Number, Reading
from parser.numerals import Group, Run


def whole(groups: Sequence[Group]) -> str | None:
    """The digits of groups said as one whole number, or None: "one" "twenty eight" -> "128"."""
    values = [group.value for group in groups]
    if len(groups) == 1:
        return groups[0].text
    if any(group.figure or value != int(value) for group, value in zip(groups, values, strict=True)):
        return None
    if all(value < 10 for value in values):
        return "".join(group.text for group in groups) if len(groups) <= 4 else None
    if any(value > 99 for value in values):
        return None
    if len(values) == 2 and values[0] >= 1 and values[1] >= 10:
        return groups[0].text + groups[1].text
    if len(values) == 3 and values[0] >= 1 and values[1] == 0 and 1 <= values[2] <= 9:
        return groups[0].text + "0" + groups[2].text
    if len(values) == 3 and values[0] < 10 and values[1] < 10 <= values[2] and not values[0]:
        return groups[0].text + groups[1].text + groups[2].text
    if len(values) == 2 and values[0] == 0:
        return groups[0].text + groups[1].text
    return None


def natural(groups: Sequence[Group]) -> bool:
    """Whether the groups are an everyday way of saying one number below 1,000 (or written in figures)."""
    if len(groups) == 1:
        return True
    text = whole(groups)
    if text is None or text.startswith("0"):
        return False
    if len(groups) == 2:
        return groups[0].value < 10 <= groups[1].value
    return len(groups) == 3 and len(text) == 3


def amounts(run: Run) -> tuple[Reading, ...]:
    """Every plausible reading of a run, the likeliest first."""
    groups = run.groups
    if run.digits:
        return _with_digits(run)
    found: list[Reading] = []
    text = whole(groups)
    if text is not None and (natural(groups) or run.tail):
        found.append(_amount(text, run.tail))
    if run.tenths:
        value = groups[-1].value
        found.append(_number(f"{number_text(value - value % 100)}.{number_text(value % 100)}"))
    if run.tail:
        if len(groups) == 2 and 3 <= groups[0].value <= 8 and groups[1].value < 12:
            found.append(_height(groups[0].value, groups[1].value + run.tail))
        return tuple(found)
    found.extend(_implied_decimals(groups))
    found.extend(_clocks(groups))
    found.extend(_acuities(groups))
    if len(groups) == 2 and 3 <= groups[0].value <= 8 and groups[1].value < 12:
        found.append(_height(groups[0].value, groups[1].value))
    if text is not None and not natural(groups):
        found.append(Reading("integer", text, (float(text),)))
    parts = split(groups)
    if len(parts) > 1:
        values = tuple(float(whole(part) or 0) for part in parts)
        found.append(Reading("list", " ".join(number_text(value) for value in values), values))
    return tuple(dict.fromkeys(found))


def split(groups: Sequence[Group]) -> tuple[tuple[Group, ...], ...]:
    """The groups as separate numbers, each as long as is natural, from left to right."""
    parts: list[tuple[Group, ...]] = []
    at = 0
    while at < len(groups):
        size = next((n for n in (3, 2) if at + n <= len(groups) and natural(groups[at : at + n])), 1)
        parts.append(tuple(groups[at : at + size]))
        at += size
    return tuple(parts)


def _with_digits(run: Run) -> tuple[Reading, ...]:
    before = whole(run.groups) if run.groups else "0"
    if before is None or "." in before:
        parts = split(run.groups)
        before = whole(parts[-1]) or "0"
    if "." in before:  # "98.6 point two": a figure has its own point, so these are two numbers
        return (Reading("list", f"{before} {run.digits}", (float(before), float(run.digits))),)
    reading = _number(f"{before}.{run.digits}")
    if not run.weak_point:
        return (reading,)
    return (reading, Reading("list", f"{before} {run.digits}", (float(before), float(run.digits))))


def _number(text: str) -> Reading:
    return Reading("decimal" if "." in text else "integer", text, (float(text),))


def _amount(text: str, tail: float) -> Reading:
    return _number(number_text(float(text) + tail)) if tail else _number(text)


def _implied_decimals(groups: Sequence[Group]) -> list[Reading]:
    """ "ninety eight six" -> 98.6; "one oh one four" -> 101.4; "ninety eight point" is not needed."""
    if len(groups) < 2 or any(group.figure for group in groups):
        return []
    *front, last = groups
    before = whole(front)
    if before is None or before.startswith("0") or not natural(front):
        return []
    if last.value < 10:
        return [_number(f"{before}.{last.text}")]
    if len(front) == 1 and front[0].value < 10 and last.value < 100:
        return [_number(f"{before}.{last.text}")]
    return []


def _clocks(groups: Sequence[Group]) -> list[Reading]:
    """Times of day: "fourteen thirty two", "zero eight fifteen", "fourteen hundred", "two thirty"."""
    values = [int(group.value) for group in groups]
    if any(group.value != int(group.value) for group in groups):
        return []
    if len(groups) == 1:
        text = groups[0].text
        if groups[0].figure and len(text) == 4 and int(text[:2]) < 24 and int(text[2:]) < 60:
            return [clock(int(text[:2]), int(text[2:]))]
        return (
            [clock(values[0] // 100, 0)]
            if values[0] % 100 == 0 and 1000 < values[0] <= 2400 and values[0] != 2000
            else []
        )
    if values[0] == 0 and len(values) > 1 and values[1] < 10:
        values = values[1:]
    if len(values) == 2 and values[0] < 24 and 10 <= values[1] < 60:
        return [clock(values[0], values[1])]
    if len(values) == 3 and values[0] < 24 and values[1] == 0 and values[2] < 10:
        return [clock(values[0], values[2])]
    if len(values) == 2 and values[0] == 0 and values[1] % 100 == 0 and values[1] < 1000:
        return [clock(values[1] // 100, 0)]
    return []


def clock(hour: int, minute: int) -> Reading:
    """A time of day, "14:32"."""
    return Reading("clock", f"{hour:02d}:{minute:02d}", (float(hour), float(minute)))


def _height(feet: float, inches: float) -> Reading:
    return Reading("height", f"{number_text(feet)}'{number_text(inches)}\"", (feet, inches), "[in_i]")


def _acuities(groups: Sequence[Group]) -> list[Reading]:
    """ "twenty twenty", "twenty two hundred" (20/200), "six nine"."""
    if len(groups) == 2 and groups[0].value == 20 and 10 <= groups[1].value <= 400:
        return [Reading("acuity", f"20/{groups[1].text}", (20.0, groups[1].value))]
    if len(groups) == 1 and groups[0].value in (2100, 2200, 2300, 2400):
        far = groups[0].value - 2000
        return [Reading("acuity", f"20/{number_text(far)}", (20.0, far))]
    return []


def parts_of(run: Run, end: int, unit: str | None) -> list[Number]:
    """The separate numbers of a run; a unit belongs to the last."""
    numbers: list[Number] = []
    parts: Sequence[tuple[Group, ...]] = split(run.groups)
    for i, part in enumerate(parts):
        last = i == len(parts) - 1
        stop = end if last else part[-1].end
        text = whole(part) or part[-1].text
        if last and run.digits:
            text = f"{text}.{run.digits}"
        elif last:
            text = with_tail(text, run.tail)
        shape = "decimal" if "." in text else "integer"
        numbers.append(Number(part[0].start, stop, (Reading(shape, text, (float(text),), unit if last else None),)))
    return numbers


def one_number(run: Run) -> bool:
    """Whether a run can be one number at all, and not only a row of several."""
    readings = amounts(run)
    return bool(readings) and (natural(run.groups) or any(r.shape not in ("list", "integer") for r in readings))


def with_tail(text: str, tail: float) -> str:
    return number_text(float(text) + tail) if tail else text
