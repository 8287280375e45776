"""A marked copy of the source: every note carries the id that the model gives it.

Exporters write on this copy, so that nothing of the user's file is lost.
"""

from __future__ import annotations

from lxml import etree

from skeleton.score.ids import NoteIds, ids_in
from skeleton.score.model import Score
from skeleton.score.musicxml import part_ids
from skeleton.score.tree import (
    PARTWISE,
    TIMEWISE,
    Element,
    PartSource,
    parse,
    part_sources,
    score_root,
)


def marked_root(score: Score) -> Element:
    """Return a fresh copy of a score's source, partwise, each ``<note>`` with its id.

    Notes of parts that the model leaves out have ids too, and parts have the ids of the model.
    ``Note.index`` counts the notes of this copy in document order (``part/measure/note``). Other
    ids stay as they are. Comments are kept.

    Raises:
        ScoreError: the source's bytes are no MusicXML.
    """
    root, _ = parse(score.source.data, score.source.name, remarks=True)
    root = score_root(root, score.source.name)
    if root.tag == TIMEWISE:
        root = _partwise(root)
    ids = NoteIds(ids_in(root))
    sources = list(part_sources(root))
    names = part_ids(sources)
    for part, source, part_id in zip(root.iterchildren("part"), sources, names, strict=True):
        part.set("id", part_id)
        _mark(source, ids, ids.enter_part(part_id))
    return root


def note_ids(score: Score) -> tuple[str, ...]:
    """Return the id of every ``<note>``, also of skipped parts, by :attr:`Note.index`."""
    return tuple([note.get("id", "") for note in marked_root(score).iterfind("part/measure/note")])


def _mark(source: PartSource, ids: NoteIds, prefix: str) -> None:
    for place, (_, body) in enumerate(source.measures):
        stem = f"{prefix}-m{place + 1}"
        for ordinal, note in enumerate(body.iterchildren("note"), start=1):
            note.set("id", ids.note(note.get("id"), stem, ordinal))


def _partwise(timewise: Element) -> Element:
    """Turn measures of parts into parts of measures; the elements move, none is copied."""
    root = etree.Element(PARTWISE, _attributes(timewise))
    sources = list(part_sources(timewise))
    for child in list(timewise):
        if child.tag != "measure":
            root.append(child)
    seen: set[str] = set()
    for source in sources:
        part = etree.SubElement(root, "part")
        if source.id is not None:
            part.set("id", source.id)
        for head, body in source.measures:
            measure = etree.SubElement(part, "measure", _attributes(head))
            own = head.get("id")
            if own in seen:
                del measure.attrib["id"]  # an id may stand only once
            elif own is not None:
                seen.add(own)
            measure.extend(list(body))
    return root


def _attributes(element: Element) -> dict[str, str]:
    return {str(key): str(value) for key, value in element.items()}
