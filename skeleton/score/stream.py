"""Bytes of a MusicXML file to its measures, one after the other.

A whole tree takes several times the memory of the model that is read from it, and the longer the
score, the longer each of its elements takes to make, to find and to drop. So a measure is handed
on as soon as it is complete, and then emptied.

Source: MusicXML 4.0, ``score-partwise`` and ``score-timewise``.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple, TypeAlias, cast

from lxml import etree

from skeleton.score.ids import ids_in
from skeleton.score.tree import (
    PARTWISE,
    TIMEWISE,
    Element,
    PartKey,
    local_name,
    parser_options,
    take_namespaces_off,
)

_CHUNK_BYTES: Final = 1 << 16
"""Some ten measures: few enough that the processor still has at hand what was made of them."""

TakeMeasure: TypeAlias = Callable[[PartKey, Element, Element], None]
"""Takes the key of a part, the element with the measure's number and the one with its music."""


class Rest(NamedTuple):
    """What is left when the measures are taken: the tree without music, and every ``id``."""

    root: Element
    ids: list[str]


def take_measures(data: bytes, encoding: str | None, take: TakeMeasure) -> Rest:
    """Parse a file and hand on its measures in its order.

    Args:
        data: the file.
        encoding: its encoding; None where the file itself says it.
        take: called with each measure of each part (the key is that of
            :class:`skeleton.score.tree.PartSource`). The music is gone when it returns.

    Raises:
        lxml.etree.XMLSyntaxError: the bytes are no XML; some measures may have been handed on.
    """
    parser = etree.XMLPullParser(
        events=("end",), tag="{*}measure", encoding=encoding, **parser_options()
    )
    ids: list[str] = []
    for start in range(0, len(data), _CHUNK_BYTES):
        parser.feed(data[start : start + _CHUNK_BYTES])
        _take_complete(parser, take, ids)
    root = parser.close()
    _take_complete(parser, take, ids)
    ids += ids_in(root)
    return Rest(root, ids)


def _take_complete(parser: etree.XMLPullParser, take: TakeMeasure, ids: list[str]) -> None:
    for _, found in parser.read_events():
        measure = cast("Element", found)
        for key, body in _bodies(measure):
            take(key, measure, body)
            ids += ids_in(body, inside=True)
            # Nothing but the children: the parser may still work on what follows the measure.
            del body[:]


def _bodies(measure: Element) -> list[tuple[PartKey, Element]]:
    """Return what the parts have in a measure; nothing where it stands in no score's place."""
    lineage = list(measure.iterancestors())
    match [local_name(each) for each in lineage]:
        case ["part", "score-partwise"] if _is_plain(measure, lineage[-1]):
            return [(lineage[0], measure)]
        case ["score-timewise"] if _is_plain(measure, lineage[-1]):
            return [(part.get("id"), part) for part in measure.iterchildren("part")]
    return []


def _is_plain(measure: Element, root: Element) -> bool:
    """Whether a measure has no namespace, also after that of the whole score is taken off."""
    if root.tag not in (PARTWISE, TIMEWISE):
        take_namespaces_off(measure)
    return measure.tag == "measure"
