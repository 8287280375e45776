"""Lines of music as part of an HTML page: smaller, in the page's colours, their notes named.

The glyphs of all lines are gathered into one list that stands in the page once; styles and
colours are left to the page's style sheet, so that the music is dark on light and light on dark.
A note carries the id it has in the score as ``data-note``, a measure its ordinal as ``data-m``;
nothing but the glyphs has an id, so that any number of lines can stand in one document. Only
elements that draw are kept, and what the engraver says at length is said shortly
(:mod:`skeleton.export.handout.svg_short`): a glyph stands in the list at the size it is used in
and is placed by ``x`` and ``y``; what most lines and texts share is in the style sheet.

Classes: ``music`` the line, ``head`` the head of a note, ``soft`` what steps back,
``frame`` a box or ring round a letter, ``bold``, ``italic`` and ``symbols`` for texts.
Source: W3C SVG 2 for ``href`` without prefix; WAI-ARIA 1.2 for ``role`` and ``aria-label``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from copy import deepcopy
from typing import Final

from lxml import etree

from skeleton.export.engraving.svg import (
    HREF,
    SVG,
    XLINK,
    Box,
    Element,
    Page,
    classes,
    take_out,
    used_characters,
)
from skeleton.export.engraving.typeface import MUSIC, SYMBOLS, Face, is_symbol
from skeleton.export.handout.markup import Html, join
from skeleton.export.handout.pictures import System
from skeleton.export.handout.svg_short import shorten
from skeleton.export.marking.splice import LIGHT

_DRAWN: Final = frozenset(
    "g path use text tspan rect polygon polyline ellipse circle line".split()  # noqa: SIM905
)
_PLACED: Final = re.compile(
    r"translate\((?P<x>-?[\d.]+), (?P<y>-?[\d.]+)\) scale\((?P<size>[\d.]+), (?P=size)\)"
)
_NAMED: Final = {
    "note": "note", "notehead": "head", "measure": "measure",
    "ending": "bold", "fing": "bold", "reh": "bold", "tempo": "bold",
    "dir": "italic", "dynam": "italic", "mNum": "italic",
}  # fmt: skip
"""Classes of the engraver that the page speaks of, and what it calls them."""


class Stand:
    """Takes lines of music for one page and keeps what they share: glyphs and fonts.

    Args:
        measures: the ordinal of its measure by id of note, for all notes that may be tapped.
    """

    def __init__(self, measures: Mapping[str, int]) -> None:
        self._measures = measures
        self._glyphs: dict[str, Html] = {}
        self._names: dict[tuple[str, str], str] = {}
        self._used: dict[Face, frozenset[str]] = {}

    def lines(self, systems: Iterable[System], *, room: float = 0.0) -> Html:
        """Return lines of music as inline SVG, one after the other.

        Args:
            systems: the lines.
            room: units to leave free above each; a staff is 720 high.
        """
        return join(*(self._line(one, room) for one in systems))

    def glyphs(self) -> Html:
        """Return the list of glyphs that all lines so far refer to, an SVG that shows nothing."""
        inside = "".join(self._glyphs.values())
        return Html(f'<svg class="glyphs" aria-hidden="true"><defs>{inside}</defs></svg>')

    def used(self) -> dict[Face, frozenset[str]]:
        """Return the characters of all lines so far by the face they are set in."""
        return dict(self._used)

    def _line(self, system: System, room: float) -> Html:
        parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
        root = etree.fromstring(system.svg.encode("utf-8"), parser)
        used = used_characters(Page(root, (), Box(0.0, 0.0, 0.0, 0.0), 1.0))
        for face, characters in used.items():
            symbols = frozenset(filter(is_symbol, characters))
            for one, held in ((face, characters - symbols), (SYMBOLS, symbols)):
                self._used[one] = self._used.get(one, frozenset()) | held
        for use in root.iter(f"{{{SVG}}}use"):
            self._place(use, root)
        x, y, width, height = (float(part) for part in root.get("viewBox", "0 0 0 0").split())
        self._tidy(root)
        shorten(root)
        root.attrib.clear()
        root.set("class", "music")
        root.set("viewBox", f"{x:g} {y - room:g} {width:g} {height + room:g}")
        root.set("role", "img")
        root.set("aria-label", system.alt)
        return _text_of(root)

    def _place(self, use: Element, root: Element) -> None:
        """Let a glyph be placed by x and y, its size being that of the glyph in the list."""
        target = _pop(use, HREF) or ""
        found = _PLACED.fullmatch(use.get("transform") or "")
        key = (target[1:], found["size"] if found else "")
        name = self._names.setdefault(key, f"g{len(self._names)}")
        if name not in self._glyphs:
            glyphs = root.iterfind(f"{{{SVG}}}defs/{{{SVG}}}g")
            glyph = deepcopy(next(one for one in glyphs if one.get("id") == target[1:]))
            glyph.set("id", name)
            if found:
                glyph.set("transform", f"scale({found['size']})")
            self._glyphs[name] = _text_of(glyph)
        if found:
            del use.attrib["transform"]
            use.set("x", found["x"])
            use.set("y", found["y"])
        use.set("href", f"#{name}")

    def _tidy(self, root: Element) -> None:
        for element in [*root.iter()]:
            if element is not root and element.getparent() is None:
                continue  # inside something that was taken out
            tag = element.tag
            if not isinstance(tag, str) or etree.QName(element).localname not in _DRAWN:
                if element is not root:
                    take_out(element)
                continue
            self._rename(element)

    def _rename(self, element: Element) -> None:
        kinds = classes(element)
        names = [_NAMED[kind] for kind in sorted(kinds) if kind in _NAMED]
        note = _pop(element, "id")
        if "note" in names:
            if note is not None and note in self._measures:
                element.set("data-note", note)
            names.remove("note")
        if "measure" in names:
            names.remove("measure")
            inside = (one.get("id") for one in element.iter(f"{{{SVG}}}g"))
            found = (self._measures[one] for one in inside if one and one in self._measures)
            ordinal = next(found, None)
            if ordinal is not None:
                element.set("data-m", str(ordinal))
        if element.get("color") == LIGHT:
            names.append("soft")
            del element.attrib["color"]
            _pop(element, "fill")
        elif element.get("color") == "black":
            del element.attrib["color"]
        if _pop(element, "style") is not None and element.tag == f"{{{SVG}}}rect":
            names.append("frame")
        family = _pop(element, "font-family")
        if family is not None and MUSIC in family:
            names.append("symbols")
        _pop(element, "class")
        if names:
            element.set("class", " ".join(names))


def _pop(element: Element, key: str) -> str | None:
    value = element.get(key)
    if value is not None:
        del element.attrib[key]
    return value


def _text_of(element: Element) -> Html:
    tail, element.tail = element.tail, None
    etree.cleanup_namespaces(element)
    text: str = etree.tostring(element, encoding="unicode")
    element.tail = tail
    # An HTML reader knows what SVG is without its address.
    for declared in (f' xmlns="{SVG}"', f' xmlns:xlink="{XLINK}"'):
        text = text.replace(declared, "")
    return Html(text)
