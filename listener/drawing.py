"""Plots as SVG that stands in a page: drawn by matplotlib, then made to follow the page.

Why matplotlib: it is the best kept library of plots, and writes SVG without a browser or a display. What it writes
is then mended here: its inline styles become attributes (a strict content policy allows no styles), its ink becomes
the ink of the page (light, dark and print follow), and a title and a description are given to those who hear it.
Nothing is told by colour: plots use shapes, dashes and words beside the lines.
"""

from __future__ import annotations

import io
import logging
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from listener.errors import UsageError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Points of a plot are pixels of the page.
DPI = 72
#: Opacity of lines that only guide the eye, and of words that say less.
FAINT, QUIET = 0.25, 0.8
#: Shapes and dashes that tell lines apart, in this order.
SHAPES = ("o", "s", "^", "D", "v", "P")
DASHES = ("-", (0, (5, 2)), (0, (1, 1.5)), (0, (6, 2, 1, 2)), (0, (3, 1, 1, 1, 1, 1)), (0, (10, 3)))

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "{http://www.w3.org/1999/xlink}href"
_INK = "#000000"
_REFERENCE = re.compile(r"url\(#([^)]+)\)")
_FONT = re.compile(r"([\d.]+)px (.+)$")
#: Attributes of SVG that matplotlib writes as styles; others are of no use here.
_ATTRIBUTES = frozenset(
    ["fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-dashoffset", "stroke-linecap", "stroke-linejoin",
     "stroke-miterlimit", "stroke-opacity", "fill-opacity", "fill-rule", "opacity", "font-size", "font-weight",
     "text-anchor"]
)


def canvas(width: float, height: float, margins: tuple[float, float, float, float]) -> tuple[Figure, Axes]:
    """A figure of so many pixels with one pair of axes; ``margins`` left, right, top and bottom in pixels.

    Raises :class:`UsageError` when matplotlib is not installed.
    """
    prepare()
    from matplotlib.figure import Figure

    left, right, top, bottom = margins
    figure = Figure(figsize=(width / DPI, height / DPI), dpi=DPI)
    axes = figure.add_axes((left / width, bottom / height, 1 - (left + right) / width, 1 - (top + bottom) / height))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_alpha(QUIET)
    axes.tick_params(length=3, labelsize=12)
    axes.patch.set_visible(False)
    return figure, axes


def svg(figure: Figure, name: str, title: str, description: str) -> str:
    """The figure as an ``svg`` element. ``name`` makes its ids its own in the page."""
    out = io.BytesIO()
    figure.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None, "Format": None,
                                                                  "Type": None})
    root = ElementTree.fromstring(out.getvalue())
    _drop(root)
    used = set(_references(root))
    for element in list(root.iter()):
        _mend(element, name, used)
    _name(root, name, title, description)
    ElementTree.register_namespace("", _SVG)
    return ElementTree.tostring(root, encoding="unicode")


def prepare() -> None:
    """Make matplotlib write text as text, and the same ids every time.

    Raises :class:`UsageError` when it is not installed.
    """
    try:
        logging.getLogger("matplotlib").setLevel(logging.ERROR)  # it talks of its cache of fonts
        import matplotlib
    except ImportError:
        raise UsageError("Plots need one more package. Install it with: pip install 'crownsole[plots]'") from None
    matplotlib.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "crownsole", "font.family": "DejaVu Sans",
                                "text.parse_math": False})


def _drop(root: ElementTree.Element) -> None:
    """Take out what is no drawing: metadata, styles, spaces between elements, groups that hold nothing."""
    for parent in list(root.iter()):
        for child in list(parent):
            child.tail = None
            if child.tag in (f"{{{_SVG}}}metadata", f"{{{_SVG}}}style") or (
                child.tag in (f"{{{_SVG}}}g", f"{{{_SVG}}}defs") and not len(child)
            ):
                parent.remove(child)
        if len(parent):
            parent.text = None


def _references(root: ElementTree.Element) -> Iterator[str]:
    for element in root.iter():
        for key, value in element.attrib.items():
            if key == _XLINK:
                yield value[1:]
            yield from _REFERENCE.findall(value)


def _mend(element: ElementTree.Element, name: str, used: set[str]) -> None:
    styles = dict(_styles(element.attrib.pop("style", "")))
    element.attrib.update({key: value for key, value in styles.items() if key in _ATTRIBUTES})
    for key in ("fill", "stroke"):
        if element.get(key, "").lower() in (_INK, "black"):
            element.set(key, "currentColor")
    for key, value in list(element.attrib.items()):
        if key == "id" and value not in used:
            del element.attrib[key]
        elif key == "id":
            element.set(key, f"{name}-{value}")
        elif key == "transform" and value.startswith("rotate(-0 "):
            del element.attrib[key]
        elif key == _XLINK:
            del element.attrib[key]
            element.set("href", f"#{name}-{value[1:]}")
        else:
            element.set(key, _REFERENCE.sub(rf"url(#{name}-\1)", value))


def _styles(text: str) -> Iterator[tuple[str, str]]:
    for part in text.split(";"):
        key, _, value = part.partition(":")
        key, value = key.strip(), value.strip()
        if key == "font" and (found := _FONT.search(value)):
            yield "font-size", found.group(1)
            if "bold" in value or re.search(r"\b[67]00\b", value):
                yield "font-weight", "600"
        elif key:
            yield key, value


def _name(root: ElementTree.Element, name: str, title: str, description: str) -> None:
    for key in ("width", "height", "version"):
        root.attrib.pop(key, None)
    _, _, width, height = root.get("viewBox", "0 0 0 0").split()
    root.attrib.update({
        "class": "plot", "width": f"{float(width):g}", "height": f"{float(height):g}", "role": "img",
        "aria-labelledby": f"{name}-title", "aria-describedby": f"{name}-desc", "fill": "currentColor",
        "stroke-linejoin": "round", "stroke-linecap": "butt",
    })
    for place, (tag, text) in enumerate((("title", title), ("desc", description))):
        made = ElementTree.Element(f"{{{_SVG}}}{tag}", {"id": f"{name}-{tag}"})
        made.text = text
        root.insert(place, made)
