"""Where the texts of a page stand: boxes from the widths of the package's own font.

The engraver gives no usable boxes for texts, and it measures them in a font of its own. Since a
finished picture carries its font along (``typeface``), the width of a text is
known exactly, and labels can be placed next to each other without touching.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from skeleton.export.engraving.svg import SVG, Box, Element, Page, of_class
from skeleton.export.engraving.text_style import text_face, text_runs
from skeleton.export.engraving.typeface import text_reach, text_width

_STARTS: Final = {"start": 0.0, "middle": 0.5, "end": 1.0}


@dataclass(frozen=True, slots=True)
class PlacedText:
    """A line of text on a page.

    ``kind`` is the class of what it is (``syl``, ``dir``, ``tempo``, ``fing``, ``mNum``,
    ``label``...), ``note`` the id of the note it belongs to, ``x`` and ``y`` where its line
    begins and stands (the baseline), ``box`` as wide as its advances and as high as its ink.
    """

    text: str
    kind: str
    note: str | None
    x: float
    y: float
    box: Box


@dataclass(frozen=True, slots=True)
class _Run:
    """Characters set alike."""

    text: str
    size: float
    bold: bool
    italic: bool


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of text: where its anchor is, which end of it that is, and its runs."""

    x: float
    y: float
    anchor: str
    runs: tuple[_Run, ...]


def placed_texts(page: Page) -> tuple[PlacedText, ...]:
    """List the texts of a page in document order, marks drawn by this package included."""
    return tuple(placed for _, placed in placed_elements(page))


def placed_elements(page: Page) -> Iterator[tuple[Element, PlacedText]]:
    """Yield the same with the ``<text>`` of each, for moving it."""
    for text in page.root.iter(f"{{{SVG}}}text"):
        kind, note = _owner(text)
        for line in _lines(text):
            placed = _placed(line, kind, note)
            if placed is not None:
                yield text, placed


def _lines(text: Element) -> Iterator[_Line]:
    """Split a ``<text>`` where one of its parts has a position of its own."""
    x, y = _number(text, "x"), _number(text, "y")
    anchor = text.get("text-anchor") or "start"
    runs: list[_Run] = []
    placed = text
    for element, characters in text_runs(text):
        start = _nearest(element, ("x", "y"), text)
        if start is not None and start is not placed:
            placed = start
            yield _Line(x, y, anchor, tuple(runs))
            runs = []
            x = x if start.get("x") is None else _number(start, "x")
            y = y if start.get("y") is None else _number(start, "y")
            anchor = start.get("text-anchor") or anchor
        sized = _nearest(element, ("font-size",), text)
        size = 0.0 if sized is None else _number(sized, "font-size")
        runs.append(_Run(characters, size, *text_face(element)))
    yield _Line(x, y, anchor, tuple(runs))


def _placed(line: _Line, kind: str, note: str | None) -> PlacedText | None:
    """Measure a line; None where there is nothing to see."""
    text = "".join(run.text for run in line.runs)
    if not text.strip():
        return None
    width, top, low = 0.0, 0.0, 0.0
    for run in line.runs:
        width += text_width(run.text, run.size, bold=run.bold, italic=run.italic)
        reach = text_reach(run.text, run.size, bold=run.bold, italic=run.italic)
        top, low = max(top, reach[0]), min(low, reach[1])
    left = line.x - width * _STARTS.get(line.anchor, 0.0)
    box = Box(left, line.y - top, width, top - low)
    return PlacedText(text, kind, note, left, line.y, box)


def _owner(text: Element) -> tuple[str, str | None]:
    """Return the class of the innermost classed group around a text, and its note.

    A text of a chord belongs to the first of its notes.
    """
    kind: str | None = None
    for group in text.iterancestors(f"{{{SVG}}}g"):
        classes = (group.get("class") or "").split()
        if kind is None and classes:
            kind = classes[0]
        if "note" in classes:
            return kind or "", group.get("id")
        if "chord" in classes:
            return kind or "", next(of_class(group, "note")).get("id")
    return kind or "", None


def _nearest(element: Element, names: tuple[str, ...], top: Element) -> Element | None:
    """Return the innermost part of a text around an element that has one of the attributes."""
    at: Element | None = element
    while at is not None:
        if any(at.get(name) is not None for name in names):
            return at
        if at is top:
            return None
        at = at.getparent()
    return None


def _number(element: Element, name: str) -> float:
    return float((element.get(name) or "0").removesuffix("px"))
