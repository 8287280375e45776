"""The same picture in fewer bytes: an etude of 64 measures is some thousand notes on a page.

All functions change the tree in place. What is left out is what the page's style sheet says for
all lines of music, and this module and ``page.css`` must agree on it: strokes are as wide as a
stem (:data:`STROKE`), texts as large as a label (:data:`FONT_SIZE`). Source: W3C SVG 2, "Path
data" for the short commands.
"""

from __future__ import annotations

import re
from typing import Final

from skeleton.export.engraving.svg import SVG, Element, G, keep_tail, take_out

STROKE: Final = "18"
FONT_SIZE: Final = "306px"
FRAME: Final = "frame"
"""Class of the boxes and rings round letters."""

_PATH: Final = f"{{{SVG}}}path"
_RECT: Final = f"{{{SVG}}}rect"
_TEXT: Final = f"{{{SVG}}}text"
_USE: Final = f"{{{SVG}}}use"
_NUMBER: Final = r"-?[\d.]+"
_STRAIGHT: Final = re.compile(r"[MLHV\d\s.,-]*")
_LEVEL: Final = re.compile(rf"M({_NUMBER}) ({_NUMBER}) L({_NUMBER}) \2(?![\d.])")
_UPRIGHT: Final = re.compile(rf"M({_NUMBER}) ({_NUMBER}) L\1 ({_NUMBER})")


def shorten(root: Element) -> None:
    """Take out of a picture what does not change what is seen."""
    # From the inside out: a group may become empty when those inside it are gone.
    for group in reversed([*root.iter(G)]):
        if len(group) == 0:
            take_out(group)
        elif not group.attrib or _gives_its_class(group):
            _unwrap(group)
    for text in [*root.iter(_TEXT)]:
        _one_run(text)
    for path in [*root.iter(_PATH)]:
        _join_lines(path)
    _join_frames(root)


def _gives_its_class(group: Element) -> bool:
    """Give the class of a group that has nothing else to its only child, if that has none."""
    if group.attrib.keys() != ["class"] or len(group) != 1:
        return False
    child = group[0]
    if child.tag not in {_PATH, _USE} or child.get("class") is not None:
        return False
    child.set("class", group.get("class", ""))
    return True


def _unwrap(group: Element) -> None:
    """Put what is in a group in its place."""
    parent = group.getparent()
    if parent is None:
        return
    place = parent.index(group)
    keep_tail(parent, group)
    parent.remove(group)
    for at, child in enumerate([*group]):
        parent.insert(place + at, child)


def _one_run(text: Element) -> None:
    """Draw a text that is one run in one element."""
    inner = text
    while len(inner) == 1 and not (inner.text or inner[0].tail):
        inner = inner[0]
    if len(inner) or any(key in inner.attrib for key in ("dx", "dy")):
        return
    if inner is not text:
        if any(key in inner.attrib for key in ("x", "y")):
            return
        kinds: list[str] = []
        for element in (text, *text.iterdescendants()):
            kinds += (element.get("class") or "").split()
            text.attrib.update(element.attrib)
        if kinds:
            text.set("class", " ".join(dict.fromkeys(kinds)))
        text.text = inner.text
        del text[:]
    if text.get("font-size") == FONT_SIZE:
        del text.attrib["font-size"]
    for key in ("x", "y"):
        if key in text.attrib:
            text.set(key, f"{float(text.get(key, '0')):.0f}")


def _join_lines(path: Element) -> None:
    """Draw lines that follow each other, as those of a staff do, in one; say the width if needed.

    A path without a width is drawn as the standard says, one unit wide.
    """
    width = path.get("stroke-width", "1")
    path.set("stroke-width", width)
    short = _LEVEL.sub(r"M\1 \2H\3", path.get("d", ""))
    path.set("d", _UPRIGHT.sub(r"M\1 \2V\3", short))
    if width == STROKE:
        del path.attrib["stroke-width"]
    before = path.getprevious()
    if before is None or before.tag != _PATH:
        return
    if path.attrib.keys() != before.attrib.keys() or path.get("class") is not None:
        return
    alike = all(path.get(key) == before.get(key) for key in path.attrib if key != "d")
    drawn = before.get("d", "") + path.get("d", "")
    if alike and _STRAIGHT.fullmatch(drawn):
        before.set("d", drawn)
        take_out(path)


def _join_frames(root: Element) -> None:
    """Draw all boxes and rings of a picture as one path."""
    frames = [one for one in root.iter(_RECT) if one.get("class") == FRAME]
    if not frames:
        return
    drawn = "".join(_outline(one) for one in frames)
    first, *rest = frames
    for one in rest:
        take_out(one)
    first.attrib.clear()
    first.tag = _PATH
    first.set("class", FRAME)
    first.set("d", drawn)


def _outline(rect: Element) -> str:
    x, y, width, height, radius = (
        round(float(rect.get(key, "0"))) for key in ("x", "y", "width", "height", "rx")
    )
    if not radius:
        return f"M{x} {y}h{width}v{height}h{-width}z"
    across = max(width - 2 * radius, 0)
    bend = f"a{radius} {radius} 0 0 1 "
    return f"M{x + radius} {y}h{across}{bend}0 {height}h{-across}{bend}0 {-height}z"
