"""Changes on an engraved page: colours, titles, ids, descriptions, several pages in one.

All functions change the page's tree in place. Sources: W3C SVG 1.1 (second
edition); WAI-ARIA 1.2 for ``role`` and ``aria-label``.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Final

from lxml import etree

from skeleton.export.engraving.svg import (
    GLYPH,
    HREF,
    SVG,
    XLINK,
    Box,
    Drawn,
    Element,
    G,
    Page,
    classes,
    of_class,
    set_size,
    with_attribute,
)

GREY: Final = "#767676"
"""A grey light enough to step back that keeps a contrast of 4.5:1 on white (WCAG 2.2, 1.4.3)."""

# Parts of a note that are drawn in its colour; its accidental stays black, it is the point.
_TINTED: Final = frozenset({"notehead", "stem", "flag", "dots"})
_POLYGON: Final = f"{{{SVG}}}polygon"


def colour_notes(page: Page, colours: Mapping[str, str]) -> None:
    """Colour heads, stems, flags and dots of notes; changes the tree.

    Accidentals keep their black, and so do ledger lines, which belong to the staff. The stem of
    a chord and the beams of a group are coloured where all their notes have the same colour.

    Args:
        page: the page.
        colours: CSS colours by id of note; ids of other pages are ignored.
    """
    if not colours:
        return
    for element in page.root.iter(G):
        kinds = classes(element)
        if "note" in kinds:
            colour = colours.get(element.get("id", ""))
        elif "chord" in kinds or "beam" in kinds:
            inside = {colours.get(n.get("id", "")) for n in of_class(element, "note")}
            colour = inside.pop() if len(inside) == 1 else None
        else:
            continue
        if colour is None:
            continue
        for child in element:
            if _TINTED & classes(child) or child.tag == _POLYGON:  # polygons: beams
                _tint(child, colour)


def add_titles(page: Page, titles: Mapping[str, str]) -> None:
    """Give notes a ``<title>``: a tooltip, and what a screen reader says; changes the tree.

    Args:
        page: the page.
        titles: one line of text by id of note; ids of other pages are ignored.
    """
    for element in of_class(page.root, "note"):
        text = titles.get(element.get("id", ""))
        if text is not None:
            title = etree.Element(f"{{{SVG}}}title")
            title.text = text
            element.insert(0, title)


def describe(page: Page, label: str, description: str, *, role: str = "img") -> None:
    """Say what the picture shows to those who do not see it; changes the tree.

    Args:
        page: the page.
        label: a short name, ``aria-label``.
        description: a sentence or more, ``<desc>``.
        role: ``img``, or ``group`` where notes inside can be clicked.
    """
    _describe(page.root, label, description, role)


def name_ids(page: Page, keep: Collection[str], prefix: str = "") -> None:
    """Keep the ids of some elements, with a prefix, and drop all others; changes the tree.

    Args:
        page: the page.
        keep: ids to keep, as a rule those of the notes.
        prefix: put before them (``s-`` gives ``s-n12``) and before the ids of the glyphs, so
            that several pictures can stand in one document.
    """
    keep = frozenset(keep)
    own_style = f"#{page.root.get('id')} "
    for element in with_attribute(page.root, "id"):
        old = element.get("id", "")
        if old not in keep and not old.startswith(GLYPH):
            del element.attrib["id"]
        elif prefix:
            element.set("id", prefix + old)
    if prefix:
        for element in with_attribute(page.root, "xlink:href"):
            element.set(HREF, f"#{prefix}{element.get(HREF, '')[1:]}")
    for style in page.root.iter(f"{{{SVG}}}style"):
        # The rules named the root's id; its class is the same in every picture.
        style.text = (style.text or "").replace(own_style, ".music ")
    page.root.set("class", "music")


def join(pages: Sequence[Page], gap: float = 360.0) -> Page:
    """Put pages under each other in one picture; what is drawn on them moves there.

    Args:
        pages: at least one, of the same scale, their ids named (:func:`name_ids`).
        gap: space between two, in units; half a staff by default.

    Returns:
        A page whose frame begins at 0, 0 and that has one group per page; ``drawn`` is moved
        along.
    """
    first = pages[0]
    root = etree.fromstring(f'<svg xmlns="{SVG}" xmlns:xlink="{XLINK}" version="1.1"/>')
    for key, value in first.root.attrib.items():
        root.set(key, value)
    defs = etree.SubElement(root, f"{{{SVG}}}defs")
    glyphs: dict[str, Element] = {}
    drawn: list[Drawn] = []
    style: Element | None = None
    top = 0.0
    for page in pages:
        right, down = -page.frame.x, top - page.frame.y
        group = etree.SubElement(root, G, {"transform": f"translate({right:g}, {down:g})"})
        for child in list(page.root):
            if child.tag == f"{{{SVG}}}defs":
                glyphs.update((glyph.get("id", ""), glyph) for glyph in child)
            elif child.tag == f"{{{SVG}}}style":
                style = child
            elif child.tag == G:
                group.append(child)
        drawn += [_moved(item, right, down) for item in page.drawn]
        top += page.frame.height + gap
    defs.extend(glyphs.values())
    if style is not None:
        defs.addnext(style)
    frame = Box(0.0, 0.0, max(page.frame.width for page in pages), top - gap)
    set_size(root, frame, first.unit_mm)
    return Page(root, tuple(drawn), frame, first.unit_mm)


def _describe(root: Element, label: str, description: str, role: str) -> None:
    for old in root.findall(f"{{{SVG}}}desc"):
        root.remove(old)
    root.set("role", role)
    root.set("aria-label", label)
    desc = etree.Element(f"{{{SVG}}}desc")
    desc.text = description
    root.insert(0, desc)


def _tint(element: Element, colour: str) -> None:
    # Fill for glyphs; strokes follow the text colour by the engraver's own style sheet.
    element.set("color", colour)
    element.set("fill", colour)


def _moved(item: Drawn, right: float, down: float) -> Drawn:
    box = item.box
    return Drawn(item.id, item.kind, Box(box.x + right, box.y + down, box.width, box.height))
