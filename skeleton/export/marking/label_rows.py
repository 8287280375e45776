"""Rows of labels set under (or over) their notes so that no two touch.

The engraver makes room for labels, but it measures them in a font of its own, sets them to the
right of their notes, and lets them overlap where a line is pressed. Here each label goes to the
middle of its note, as near as its neighbours allow: places with a least distance between them
and the smallest sum of squared shifts (isotonic regression by pooling adjacent violators; Ayer,
Brunk, Ewing, Reid and Silverman, 1955, Annals of Mathematical Statistics 26). Where a row is
longer than its line, its letters become smaller before they would touch.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import Final

from skeleton.export.engraving.engraver import STAFF_UNITS
from skeleton.export.engraving.svg import Box, Element, Page
from skeleton.export.engraving.svg_text import PlacedText, placed_elements
from skeleton.export.engraving.typeface import text_width
from skeleton.export.marking.marks import NO_BREAK_SPACE, Label

_SPACE: Final = STAFF_UNITS / 4

LABEL_GAP_UNITS: Final = 0.35 * _SPACE
"""The least distance of two labels of a row, frames included: 0.6 mm on paper."""

WORDS_GAP_UNITS: Final = 1.1 * _SPACE
"""The same for labels in words: clearly more than the space between two words."""

FRAME_UNITS: Final = 1.6 * _SPACE
"""Height of the box round a string's letter and of the ring round a group's."""

_BOX_PAD: Final = 0.25 * _SPACE
_RING_PAD: Final = 0.3 * _SPACE
_EDGE: Final = 0.3 * _SPACE
_LEAST: Final = 0.1  # letters so small are none, but still in order
_GROUP_DROP: Final = 0.2 * _SPACE  # what rings need to stay clear of letters that reach down


@dataclass(frozen=True, slots=True)
class Frame:
    """A box round a letter, or a ring where its corners have a radius. In units of the page."""

    box: Box
    radius: float


@dataclass(frozen=True, slots=True)
class _Cell:
    """A label of a row; it reaches ``left`` and ``right`` of where its text begins."""

    element: Element
    label: Label
    text: PlacedText
    left: float
    right: float
    centre: float
    scale: float

    @property
    def width(self) -> float:
        return self.left + self.right


def settle(page: Page, labels: Mapping[str, Sequence[Label]]) -> list[Frame]:
    """Move the labels of a page to their places; changes the tree.

    Args:
        page: one line of music.
        labels: the marks that stand on it as lyrics, by the note that carries them.

    Returns:
        The frames to draw round them.
    """
    rows: dict[int, list[_Cell]] = {}
    heads = page.noteheads()
    for element, label, text in _labels(page, labels):
        rows.setdefault(round(text.y), []).append(_cell(element, label, text, heads))
    low, high = page.frame.x + _EDGE, page.frame.right - _EDGE
    frames: list[Frame] = []
    for cells in rows.values():
        row = sorted(cells, key=lambda cell: cell.centre)
        gap = WORDS_GAP_UNITS if any(cell.label.in_words for cell in row) else LABEL_GAP_UNITS
        gaps = gap * (len(row) - 1)
        widths = sum(cell.width for cell in row)
        if widths + gaps > high - low:
            scale = max(_LEAST, (high - low - gaps) / widths)
            row = [_smaller(cell, scale, heads) for cell in row]
        lefts = spread(
            [cell.centre - cell.width / 2 for cell in row],
            [cell.width for cell in row],
            gap,
            low,
            high,
        )
        for cell, left in zip(row, lefts, strict=True):
            frames += _moved(cell, left + cell.left)
    return frames


def spread(
    wanted: Sequence[float], widths: Sequence[float], gap: float, low: float, high: float
) -> list[float]:
    """Return left edges as near as can be to those wanted, in order, ``gap`` apart.

    Args:
        wanted: left edges, in the order that the result keeps.
        widths: of the same things.
        gap: least distance between two.
        low: where the first may begin.
        high: where the last must end; it goes before ``low``, and both before what is wanted.
    """
    if not wanted:
        return []
    before = [0.0, *accumulate(width + gap for width in widths[:-1])]
    # With the widths taken out, edges must only not decrease.
    blocks: list[tuple[float, int]] = []
    for edge, shift in zip(wanted, before, strict=True):
        mean, count = edge - shift, 1
        while blocks and blocks[-1][0] > mean:
            other, size = blocks.pop()
            mean, count = (mean * count + other * size) / (count + size), count + size
        blocks.append((mean, count))
    most = max(low, high - before[-1] - widths[-1])
    flat = [min(max(mean, low), most) for mean, count in blocks for _ in range(count)]
    return [edge + shift for edge, shift in zip(flat, before, strict=True)]


def _labels(
    page: Page, labels: Mapping[str, Sequence[Label]]
) -> Iterator[tuple[Element, Label, PlacedText]]:
    """Find the text of each label; sung words that read the same stand before it."""
    texts: dict[str, list[tuple[Element, PlacedText]]] = {}
    for element, text in placed_elements(page):
        if text.note is not None and text.note in labels and text.kind == "syl":
            texts.setdefault(text.note, []).append((element, text))
    for note, placed in texts.items():
        for label in labels[note]:
            for element, text in reversed(placed):
                if text.text.strip() == label.line:
                    yield element, label, text
                    break


def _cell(
    element: Element, label: Label, text: PlacedText, heads: Mapping[str, Box], scale: float = 1.0
) -> _Cell:
    size = text.box.width / text_width(text.text, 1.0)
    boxes = [frame.box for frame in _frames(label, size, 0.0, 0.0, scale)]
    head = heads.get(label.note)
    centre = head.centre[0] if head is not None else text.box.centre[0]
    width = size * text_width(label.line, 1.0)
    return _Cell(
        element,
        label,
        text,
        left=-min([0.0, *(box.x for box in boxes)]),
        right=max([width, *(box.right for box in boxes)]),
        centre=centre,
        scale=scale,
    )


def _frames(label: Label, size: float, x: float, middle: float, scale: float) -> list[Frame]:
    """Return what goes round a label whose text begins at ``x``, its letters ``size`` high."""
    frames: list[Frame] = []
    height, pad = scale * FRAME_UNITS, scale * (_BOX_PAD if label.row == "string" else _RING_PAD)
    for text in label.texts:
        width = size * text_width(text, 1.0)
        if label.row == "string" and label.kept:
            box = Box(x - pad, middle - height / 2, width + 2 * pad, height)
            frames.append(Frame(box, 0.0))
        elif label.row == "group":
            wide = max(width + 2 * pad, height)
            box = Box(x + (width - wide) / 2, middle - height / 2, wide, height)
            frames.append(Frame(box, height / 2))
        x += width + size * text_width(label.gap, 1.0)
    return frames


def _smaller(cell: _Cell, scale: float, heads: Mapping[str, Box]) -> _Cell:
    """Set a label in smaller letters; frames shrink along."""
    for part in cell.element.iter():
        size = part.get("font-size")
        if size is not None:
            part.set("font-size", f"{float(size.removesuffix('px')) * scale:.2f}px")
    box = cell.text.box
    text = replace(cell.text, box=replace(box, width=box.width * scale, height=box.height * scale))
    return _cell(cell.element, cell.label, text, heads, scale)


def _moved(cell: _Cell, x: float) -> list[Frame]:
    y = cell.text.y + (_GROUP_DROP if cell.label.row == "group" else 0.0)
    for part in cell.element.iter():
        if part.text is not None:
            part.text = part.text.rstrip(NO_BREAK_SPACE)  # room that was asked of the engraver
    cell.element.set("x", f"{x:.1f}")
    cell.element.set("y", f"{y:.1f}")
    box = cell.text.box
    size = box.width / text_width(cell.text.text, 1.0)
    middle = y + (box.y - cell.text.y) * cell.scale + box.height / 2
    return _frames(cell.label, size, x, middle, cell.scale)
