"""Plots stand in a page with a strict content policy, without colour, with a name and a description."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

pytest.importorskip("matplotlib", reason="plots are an extra: pip install '.[plots]'")

from listener.progress import plots
from listener.progress.course import course
from listener.progress.view import view_of
from tests.listener.progress.courses import NAMES, figures, made, points

_SVG = "{http://www.w3.org/2000/svg}"


def drawn(count: int = 8) -> list[plots.Plot]:
    runs = [figures(neck=("say $x^2$ & <b>", "other")[: n % 3], faults=("order.a", "sides.b")[: n % 3])
            for n in range(count)]
    told = made(*runs)
    found = [plots.stations(told, NAMES), plots.times(told, NAMES), plots.omissions(told)]
    found += [plots.lines(told, "x", "Some", chosen) for chosen in (["coverage"], ["order", "sides"], ["pace"])]
    return [plot for plot in found if plot is not None]


@pytest.mark.parametrize("plot", drawn(), ids=lambda plot: plot.title)
def test_the_markup_obeys_the_policy_and_follows_the_page(plot: plots.Plot) -> None:
    root = ElementTree.fromstring(plot.markup)
    assert root.tag == f"{_SVG}svg"
    for element in root.iter():
        assert element.tag not in (f"{_SVG}style", f"{_SVG}script", f"{_SVG}image", f"{_SVG}metadata")
        assert "style" not in element.attrib
        for key, value in element.attrib.items():
            assert not key.startswith("on")
            assert "http" not in value
            if key in ("fill", "stroke"):
                assert value in ("none", "currentColor") or value.startswith("url(#"), value


@pytest.mark.parametrize("plot", drawn(), ids=lambda plot: plot.title)
def test_every_plot_has_a_name_and_a_description_and_ids_of_its_own(plot: plots.Plot) -> None:
    root = ElementTree.fromstring(plot.markup)
    assert root.get("role") == "img"
    title, description = (root.find(f"{_SVG}{tag}") for tag in ("title", "desc"))
    assert title is not None
    assert description is not None
    assert (root.get("aria-labelledby"), root.get("aria-describedby")) == (title.get("id"), description.get("id"))
    assert title.text == plot.title
    assert len(description.text or "") > 10
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    used = set(re.findall(r"#([\w-]+)", plot.markup))
    assert used <= set(ids)


def test_a_plot_is_the_same_every_time() -> None:
    assert [plot.markup for plot in drawn()] == [plot.markup for plot in drawn()]


def test_words_are_drawn_as_they_are() -> None:
    (plot,) = [plot for plot in drawn() if plot.id == "omissions"]
    texts = [element.text for element in ElementTree.fromstring(plot.markup).iter(f"{_SVG}text")]
    assert "say $x^2$ & <b>" in texts


def test_stations_are_told_apart_by_shape() -> None:
    """Three signs, each drawn with another path: full, half, hollow."""
    told = made(figures(), figures(neck=("a",)), figures(heart=("b",)))
    root = ElementTree.fromstring(plots.stations(told, NAMES).markup)
    marks = [e.get("href") for e in root.iter(f"{_SVG}use") if e.get("x")]
    assert len(marks) >= 6
    fills = {e.get("fill", e.get("fill-opacity", "ink")) for e in root.iter(f"{_SVG}use")}
    assert len({*marks, *fills}) >= 3


def test_lines_are_told_apart_by_dash_shape_and_word() -> None:
    (plot,) = [plot for plot in drawn() if plot.id == "x" and "Faults" in plot.description]
    assert {"order 1", "one side 0"} == {
        text for text in re.findall(r">([^<>]+)</text>", plot.markup) if text.startswith(("order", "one side"))
    }
    dashes = set(re.findall(r'stroke-dasharray="([^"]+)"', plot.markup))
    assert dashes


@pytest.mark.parametrize("count", [1, 2, 3, 61, 1000])
def test_plots_of_few_and_of_many_runs_are_bounded(count: int) -> None:
    assert sum(len(plot.markup) for plot in drawn(count)) < 150_000


def test_where_no_plot_can_be_drawn_the_tables_stand_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    from listener.errors import UsageError
    from listener.progress.gathering import Gathered

    def absent() -> None:
        raise UsageError("Plots need one more package.")

    monkeypatch.setattr("listener.drawing.prepare", absent)
    view = view_of(Gathered(course(points(figures(), figures()), tuple(NAMES)), NAMES, ()))
    assert view.plotless == "Plots need one more package."
    assert all(panel.plot is None and panel.table.rows for panel in view.panels)
