"""Numbers and runs of a course in words."""

from __future__ import annotations

from datetime import datetime

from listener.progress.course import Change, Course, Measure, Recurring


def amount(value: float | None, measure: Measure) -> str:
    """A value with its unit: "74%", "2.5 min"; "no figure" for None."""
    if value is None:
        return "no figure"
    number = f"{value:.{measure.digits}f}"
    number = number.rstrip("0").rstrip(".") if "." in number else number
    return number + {"%": "%", "": ""}.get(measure.unit, f" {measure.unit}")


def over(change: Change) -> str:
    """How a measure went over the runs, in a sentence."""
    label, all_ = change.measure.label, change.all
    if all_ is None:
        return f"{label}: no figure."
    if change.first is None or change.last is None:
        return f"{label}: {', '.join(amount(value, change.measure) for value in change.values[-5:])}."
    first, last, usual = (amount(value, change.measure) for value in (change.first, change.last, all_.middle))
    return f"{label}: {first} in the first three runs, {last} in the last three (medians); usually {usual}."


def direction(change: Change) -> str:
    """Whether a measure went the way it should, in a word; empty where nothing can be said."""
    if change.first is None or change.last is None or change.measure.better is None:
        return ""
    first, last = (amount(value, change.measure) for value in (change.first, change.last))
    if first == last:
        return "as before"
    return "better" if (change.last > change.first) == change.measure.better else "worse"


def moment(at: datetime) -> str:
    """A day and time on this machine's clock: "3 Nov 2026, 14:05"."""
    here = at.astimezone()
    return f"{here.day} {here.strftime('%b %Y, %H:%M')}"


def day_of(at: datetime) -> str:
    here = at.astimezone()
    return f"{here.day} {here.strftime('%b %Y')}"


def span(course: Course) -> str:
    """The days the runs were made on."""
    first, last = (day_of(at) for at in _ends(course))
    return first if first == last else f"{first} to {last}"


def _ends(course: Course) -> tuple[datetime, datetime]:
    moments = [point.made_at for point in course.points]
    return min(moments), max(moments)


def whose(course: Course) -> str:
    """ "of L-07", "of 12 learners", "of 2 learners and of nobody named"; empty when no run names one."""
    named, unnamed = course.learners, any(point.learner is None for point in course.points)
    if not named:
        return ""
    told = f"of {named[0]}" if len(named) == 1 else f"of {len(named)} learners"
    return told + (" and of nobody named" if unnamed else "")


def heard_again(since: int) -> str:
    """Whether something was left out or done in the latest run, or for how many runs it was not."""
    return "in the latest run" if since == 0 else "not in the latest run" if since == 1 else f"not in the last {since}"


def subject(recurring: Recurring) -> str:
    """What a fault is about: what to say next time, else its latest words."""
    return recurring.say or recurring.message


def counted(number: int, one: str, many: str = "") -> str:
    """ "1 run", "3 runs"."""
    return f"{number} {one if number == 1 else many or one + 's'}"
