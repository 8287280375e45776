"""Small changes on a marked copy of a score's tree, before it is engraved."""

from __future__ import annotations

from collections.abc import Collection
from itertools import pairwise

from lxml import etree

from skeleton.score.tree import Element


def keep_parts(root: Element, part_ids: Collection[str]) -> None:
    """Take all other parts out of a partwise tree, and with them the brackets round parts."""
    others = [
        element
        for element in [*root.findall("part"), *root.findall("part-list/score-part")]
        if element.get("id") not in part_ids
    ]
    for element in [*others, *(root.findall("part-list/part-group") if others else [])]:
        parent = element.getparent()
        if parent is not None:
            parent.remove(element)


def set_line_breaks(root: Element, new_systems: Collection[int]) -> None:
    """Replace the line and page breaks of a partwise tree, and its hints on layout.

    Args:
        root: the tree.
        new_systems: ordinals of the measures that begin a line.
    """
    for part in root.iterchildren("part"):
        for index, measure in enumerate(part.iterchildren("measure")):
            for old in measure.findall("print"):
                measure.remove(old)
            if index in new_systems and index > 0:
                measure.insert(0, etree.Element("print", {"new-system": "yes"}))


def hide_part_name(root: Element) -> None:
    """Leave out the names at the left of a score with one part: they say nothing new there."""
    if len(root.findall("part")) == 1:
        for name in ("part-name", "part-abbreviation"):
            for element in root.iterfind(f"part-list/score-part/{name}"):
                element.set("print-object", "no")


def part_tempo_words(root: Element) -> None:
    """Set a tempo's words and the metronome mark after them apart: the engraver joins them."""
    for direction in root.iter("direction"):
        for kind, following in pairwise(direction.findall("direction-type")):
            words = kind.findall("words")
            if words and words[-1].text and following.find("metronome") is not None:
                words[-1].text = words[-1].text.rstrip() + 2 * "\N{NO-BREAK SPACE}"
