"""Finished pictures out of the engraver's SVG: one page in, a tree to work on, text out.

Coordinates
-----------
:func:`open_page` brings everything of a page into one coordinate system, the root's own, in
which a staff is 720 units high and y grows downward. So a mark is drawn at the coordinates of
the note it belongs to, without transforms; :func:`marks_layer` is the group to draw in.

Rules a finished picture keeps
------------------------------
* It refers to nothing outside itself and runs nothing: no scripts, no event attributes, no
  addresses (:func:`write` checks this).
* It looks the same everywhere: texts are set in the package's fonts, cut down to the characters
  used and carried along (:func:`write`).

What is changed on a page in between, colours and ids, is in ``svg_edit``; where
its texts stand, in ``svg_text``. Functions on a page change its tree in place
and say so; nothing else is touched. Source: W3C SVG 1.1 (second edition).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Final, cast

from lxml import etree

from skeleton.errors import EngravingError
from skeleton.export.engraving.text_style import text_face, text_runs
from skeleton.export.engraving.typeface import (
    FALLBACK,
    MUSIC,
    SERIF,
    SYMBOLS,
    Face,
    face_for,
    font_face_css,
)

SVG: Final = "http://www.w3.org/2000/svg"
XLINK: Final = "http://www.w3.org/1999/xlink"
Element = etree._Element  # noqa: SLF001 - lxml has no public name for it

G: Final = f"{{{SVG}}}g"
_TEXT: Final = f"{{{SVG}}}text"
HREF: Final = f"{{{XLINK}}}href"
GLYPH: Final = "glyph-"
"""How ids of glyphs begin."""

_PATH: Final = f"{{{SVG}}}path"
_LINE: Final = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) (-?[\d.]+)")
_SHIFT: Final = re.compile(r"translate\(\s*(-?[\d.]+)[\s,]+(-?[\d.]+)\s*\)")
# An empty group, or one that holds a rectangle, after it the attributes of what it bounds.
_BOX: Final = re.compile(
    r'<g id="bbox-([^"]*)" class="([^" ]*)[^"]* bounding-box[^"]*"(?: [\w:-]+="[^"]*")*'
    r"(?:/>|>(?:<title[^>]*>[^<]*</title>)?"
    r'(?:<rect x="([^"]*)" y="([^"]*)" height="([^"]*)" width="([^"]*)"[^>]*/>)?</g>)'
)
_BOX_START: Final = re.compile(r'<g id="bbox-[^"]*" class="[^"]* bounding-box')
_ROOT_ID: Final = re.compile(r'<svg\b[^>]*? id="([^"]*)"')
_GLYPH_ID: Final = re.compile(r'<g id="([^"]*)">')
_OTHER_ID: Final = re.compile(r'<(g|tspan|text) id="[^"]*" (?!class="note[ "])')
# The parser finds few elements among many faster than a loop here.
_WITH: Final = {
    name: etree.XPath(f"descendant-or-self::*[@{name}]", namespaces={"xlink": XLINK})
    for name in ("font-family", "id", "xlink:href")
}
_OWN_SYMBOLS: Final = f'"{MUSIC}", "{SERIF}"'
_SYMBOL_FONTS: Final = frozenset({"Leipzig", MUSIC, _OWN_SYMBOLS})
_ADDRESS: Final = re.compile(r"url\(\s*['\"]?(?!#|data:)|@import|https?:", re.IGNORECASE)
# Any picture that the long check refuses has one of these, serialised and in lower case. Several
# patterns that begin with fixed letters are found many times as fast as one of alternatives.
_SUSPECT: Final = tuple(
    re.compile(pattern)
    for pattern in (
        rb"url\(", rb"@import", rb"https?:", rb" on[^ =]*=", rb":on[^ =]*=", rb"src=",
        rb'href="[^#]', rb"<(?:\w+:)?(?:script|foreignobject|iframe|object|embed|handler)\b",
    )
)  # fmt: skip
_ACTIVE: Final = frozenset({"script", "foreignObject", "iframe", "object", "embed", "handler"})


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in the coordinates of a page: left, top, width and height."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Right edge."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """Lower edge."""
        return self.y + self.height

    @property
    def centre(self) -> tuple[float, float]:
        """The middle."""
        return self.x + self.width / 2, self.y + self.height / 2

    def meets(self, other: Box, gap: float = 0.0) -> bool:
        """Whether two boxes overlap or come closer than ``gap``."""
        return (
            self.x < other.right + gap
            and other.x < self.right + gap
            and self.y < other.bottom + gap
            and other.y < self.bottom + gap
        )


@dataclass(frozen=True, slots=True)
class Drawn:
    """Something the engraver drew: its id, its kind (a class of MEI: ``note``, ``stem``...) and
    its box. The box of a note is that of its head.
    """  # noqa: D205 - the sentence needs its two lines

    id: str
    kind: str
    box: Box


@dataclass(frozen=True, slots=True)
class Page:
    """A page to work on. ``root`` is its tree, which the functions of this module change.

    ``drawn`` lists what the engraver drew and where, in the order of drawing, texts excepted
    (see ``svg_text``). ``frame`` is the visible area; ``unit_mm`` the size
    on paper of one unit.
    """

    root: Element
    drawn: tuple[Drawn, ...]
    frame: Box
    unit_mm: float

    def noteheads(self) -> dict[str, Box]:
        """Boxes of the heads by id of the note."""
        return {item.id: item.box for item in self.drawn if item.kind == "note"}


def open_page(page: str, unit_mm: float, kinds: Collection[str] | None = None) -> Page:
    """Parse a page of the engraver and make it plain.

    The inner ``<svg>`` and the margin's shift become part of the root's ``viewBox``, boxes are
    read out and removed, invisible place holders dropped, and the ids of all but notes and
    glyphs: most of them the engraver invents. Glyphs have the same ids on every page. The size
    is given in millimetres.

    Args:
        page: SVG as in :attr:`skeleton.export.engraving.engraver.Engraved.pages`.
        unit_mm: as in :attr:`skeleton.export.engraving.engraver.Engraved.unit_mm`.
        kinds: of what to list the boxes in :attr:`Page.drawn`; of everything where None.

    Raises:
        EngravingError: this is not a page of the engraver.
    """
    text, drawn = _slimmed(page, kinds)
    parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
    try:
        root = etree.fromstring(text.encode("utf-8"), parser)
    except etree.XMLSyntaxError as error:
        raise EngravingError(f"the engraver wrote a damaged picture ({error})") from error
    inner = next((e for e in root if e.get("class") == "definition-scale"), None)
    margin = None if inner is None else next(of_class(inner, "page-margin"), None)
    if inner is None or margin is None:
        raise EngravingError("the engraver wrote a picture without a page of music")
    shift = _SHIFT.fullmatch(margin.get("transform") or "translate(0, 0)")
    if shift is None:
        raise EngravingError("the engraver placed its page in an unknown way")
    _, _, width, height = (float(part) for part in inner.get("viewBox", "0 0 0 0").split())
    frame = Box(-float(shift[1]), -float(shift[2]), width, height)

    inner.tag = G
    for element, name in (
        (inner, "viewBox"), (inner, "class"), (margin, "transform"), (root, "overflow")
    ):  # fmt: skip
        if name in element.attrib:
            del element.attrib[name]
    set_size(root, frame, unit_mm)
    for element in [*of_class(root, "placeholder")]:
        take_out(element)
    return Page(root, drawn, frame, unit_mm)


def staves(page: Page) -> tuple[Box, ...]:
    """Where staff lines run: a box for each measure of each staff, from top to bottom line.

    (The box in :attr:`Page.drawn` of a staff holds its ledger lines too.)
    """
    found = []
    for staff in of_class(page.root, "staff"):
        lines = [_LINE.fullmatch(e.get("d") or "") for e in staff if e.tag == _PATH]
        ends = [[float(part) for part in line.groups()] for line in lines if line]
        if ends:
            left, right = min(end[0] for end in ends), max(end[2] for end in ends)
            top, bottom = min(end[1] for end in ends), max(end[1] for end in ends)
            found.append(Box(left, top, right - left, bottom - top))
    return tuple(found)


def marks_layer(page: Page) -> Element:
    """Return the group that lies over the music, a new one where there is none."""
    margin = next(of_class(page.root, "page-margin"))
    layer = next((group for group in margin.iterchildren(G) if group.get("class") == "marks"), None)
    if layer is None:
        layer = etree.SubElement(margin, G, {"class": "marks"})
    return layer


def grow(page: Page, *, top: float = 0.0, right: float = 0.0, bottom: float = 0.0) -> Page:
    """Make room around the music; changes the tree and returns the page with its new frame.

    Args:
        page: the page.
        top: units to add above.
        right: units to add at the right.
        bottom: units to add below.
    """
    old = page.frame
    frame = Box(old.x, old.y - top, old.width + right, old.height + top + bottom)
    set_size(page.root, frame, page.unit_mm)
    return Page(page.root, page.drawn, frame, page.unit_mm)


def scaled(page: Page, factor: float) -> Page:
    """Make a page that many times as large on paper; changes the tree and returns the page."""
    unit_mm = page.unit_mm * factor
    set_size(page.root, page.frame, unit_mm)
    return Page(page.root, page.drawn, page.frame, unit_mm)


def write(page: Page, *, fonts: bool = True) -> str:
    """Write a page as the text of an SVG file; sets its texts in the package's fonts.

    Args:
        page: the page.
        fonts: carry the used characters along. False for a picture that is put into a document
            which brings the fonts itself (:func:`used_characters` says which).

    Raises:
        EngravingError: the picture refers to something outside or would run something.
    """
    root = page.root
    used = used_characters(page)
    etree.cleanup_namespaces(root, keep_ns_prefixes=["xlink"])
    css = font_face_css(used) if fonts else ""
    style = etree.Element(f"{{{SVG}}}style", {"type": "text/css"})
    style.text = css
    if css:
        root.insert(0, style)
    data = etree.tostring(root, encoding="utf-8")
    if css:
        root.remove(style)
    _check_closed(root, data.replace(css.encode("ascii"), b"", 1))
    return data.decode("utf-8")


def used_characters(page: Page) -> dict[Face, frozenset[str]]:
    """Set the texts of a page in the package's fonts; return the characters of each face."""
    root = page.root
    used: dict[Face, set[str]] = {}
    family = f'"{SERIF}", {FALLBACK}'
    for element in with_attribute(root, "font-family"):
        named = element.get("font-family")
        element.set("font-family", _OWN_SYMBOLS if named in _SYMBOL_FONTS else family)
    if root.get("font-family") is None:
        root.set("font-family", family)
    for text in root.iter(_TEXT):
        for element, characters in text_runs(text):
            bold, italic = text_face(element)
            symbols = any(MUSIC in e.get("font-family", "") for e in _line_up(element))
            face = SYMBOLS if symbols else face_for(bold=bold, italic=italic)
            used.setdefault(face, set()).update(characters)
    return {face: frozenset(characters) for face, characters in used.items()}


def _line_up(element: Element) -> Iterable[Element]:
    """Yield the element and those around it, up to the nearest that names a font."""
    at: Element | None = element
    while at is not None:
        yield at
        if at.get("font-family") is not None:
            return
        at = at.getparent()


def _slimmed(page: str, kinds: Collection[str] | None) -> tuple[str, tuple[Drawn, ...]]:
    """Take boxes and ids out of a page's text: most of it, and no tree need hold them."""
    pieces = _BOX.split(page)
    drawn = []
    for name, kind, x, y, height, width in zip(*(pieces[n::7] for n in range(1, 7)), strict=True):
        if width and (kinds is None or kind in kinds):
            box = Box(float(x), float(y), float(width), float(height))
            if box.width > 0 and box.height > 0:
                drawn.append(Drawn(name, kind, box))
    text = _OTHER_ID.sub(r"<\1 ", "".join(pieces[::7]))
    own = _ROOT_ID.match(text)
    if own is not None:  # the ids of glyphs end in it
        text = text.replace(f'-{own[1]}"', '"').replace('xlink:href="#', f'xlink:href="#{GLYPH}')
        text = _GLYPH_ID.sub(rf'<g id="{GLYPH}\1">', text)
    if " bounding-box" in text and _BOX_START.search(text):
        raise EngravingError("the engraver wrote a box in an unknown way")
    return text, tuple(drawn)


def set_size(root: Element, frame: Box, unit_mm: float) -> None:
    """Write the visible area and its size on paper into a root element; changes it."""
    root.set("width", f"{frame.width * unit_mm:.3f}mm")
    root.set("height", f"{frame.height * unit_mm:.3f}mm")
    root.set("viewBox", f"{frame.x:g} {frame.y:g} {frame.width:g} {frame.height:g}")


def _check_closed(root: Element, data: bytes) -> None:
    """Refuse what runs or points outside; ``data`` is the tree as text."""
    text = data.lower()
    for name in (SVG, XLINK):
        text = text.replace(f'="{name}"'.encode(), b"")
    if not any(part.search(text) for part in _SUSPECT):
        return
    for element in root.iter(etree.Element):
        name = etree.QName(element).localname
        if name in _ACTIVE or any(key.lower().startswith("on") for key, _ in _attributes(element)):
            raise EngravingError(f"the picture holds active content (<{name}>); not written")
        for key, value in _attributes(element):
            local = etree.QName(key).localname
            outside = local in {"href", "src"} and not value.startswith("#")
            if outside or (local != "aria-label" and _ADDRESS.search(value)):
                raise EngravingError(f"the picture refers to {value[:80]!r}; not written")
        if name == "style" and _ADDRESS.search(element.text or ""):
            raise EngravingError("the picture's style sheet refers to an address; not written")


def of_class(root: Element, name: str) -> Iterator[Element]:
    """Yield the groups of a class, in document order, the root itself included."""
    for element in root.iter(G):
        named = element.get("class")
        # Few names hold another: the cheap tests spare most of the work.
        if named is not None and (named == name or (name in named and name in named.split())):
            yield element


def with_attribute(root: Element, name: str) -> list[Element]:
    """Return the elements that have an attribute, in document order, the root itself included."""
    return cast("list[Element]", _WITH[name](root))


def _attributes(element: Element) -> list[tuple[str, str]]:
    return [(str(key), str(value)) for key, value in element.attrib.items()]


def classes(element: Element) -> frozenset[str]:
    """Return the classes of an element."""
    return frozenset((element.get("class") or "").split())


def keep_tail(parent: Element, element: Element) -> None:
    """Give the text behind an element to what stands before it: the element is to be taken out."""
    if element.tail:
        before = element.getprevious()
        if before is None:
            parent.text = (parent.text or "") + element.tail
        else:
            before.tail = (before.tail or "") + element.tail
        element.tail = None


def take_out(element: Element) -> None:
    """Take an element out, its tail left in place: text runs on after a box inside a text."""
    parent = element.getparent()
    if parent is not None:
        keep_tail(parent, element)
        parent.remove(element)
