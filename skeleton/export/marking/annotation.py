"""The full etude with its marks, as MusicXML: the source's own bytes and the additions.

The marks of one note are an id (where the file gives none), a grey for notes that step back,
and lyrics: their numbers follow those the file uses already, so that sung or spoken text stays
what it is.
"""

from __future__ import annotations

from typing import Final

from lxml import etree

from skeleton.errors import OutputError
from skeleton.export.marking.marks import Marks, Row
from skeleton.export.marking.splice import LIGHT, Addition, NoteMarks, additions, splice
from skeleton.export.reducing.part_writer import lyric
from skeleton.score.marking import marked_root
from skeleton.score.model import Notice, Score
from skeleton.score.tree import Element, parse, part_sources, score_root

ROWS: Final[tuple[Row, ...]] = ("lean", "group", "string")
"""The order in which rows get their lyric numbers. The row above the staff comes last, since
some programs ignore ``placement`` and write all lyrics below."""

PLACEMENT: Final[dict[Row, str]] = {"lean": "below", "group": "below", "string": "above"}


def annotated_bytes(
    score: Score, marks: Marks
) -> tuple[bytes, tuple[Addition, ...], tuple[Notice, ...]]:
    """Put the marks into the bytes of the score.

    Returns:
        The new file; what was added where (empty where the file had to be written anew); and a
        notice in that case.
    """
    data = score.source.data
    wanted = note_marks(score, marks)
    order = _document_order(score)
    by_place = {order[index]: marked for index, marked in wanted.items()}
    try:
        added = additions(data, by_place, len(order))
    except OutputError as error:
        notice = Notice("written-anew", f"{error}; the marked file was written anew")
        return _written_anew(score, wanted), (), (notice,)
    return splice(data, added), added, ()


def annotated_root(score: Score, marks: Marks) -> Element:
    """Return a partwise tree of the score with ids and labels, for the engraver.

    Notes keep their black: a picture has finer means (see ``picture``).
    """
    root = marked_root(score)
    _write_into(root, note_marks(score, Marks(marks.labels, frozenset())))
    return root


def note_marks(score: Score, marks: Marks) -> dict[int, NoteMarks]:
    """Return what each note gets, by :attr:`~skeleton.score.model.Note.index`."""
    first = _free_lyric_number(score)
    rows = {row: marks.on(row) for row in ROWS}
    found: dict[int, NoteMarks] = {}
    for part in score.parts:
        for note in part.notes:
            lyrics = tuple(
                (first + place, PLACEMENT[row], rows[row][note.id].line)
                for place, row in enumerate(ROWS)
                if note.id in rows[row]
            )
            found[note.index] = NoteMarks(note.id, note.id in marks.light, lyrics)
    return found


def _document_order(score: Score) -> list[int]:
    """The place of each note in the file, by its index: the file may count measure by measure."""
    root, _ = parse(score.source.data, score.source.name)
    root = score_root(root, score.source.name)
    by_part = [
        note
        for source in part_sources(root)
        for _, body in source.measures
        for note in body.iterchildren("note")
    ]
    place = {note: number for number, note in enumerate(root.iterfind("*/*/note"))}
    return [place[note] for note in by_part]


def _free_lyric_number(score: Score) -> int:
    root, _ = parse(score.source.data, score.source.name)
    used = [str(lyric.get("number", "1")) for lyric in root.iter("lyric")]
    return max((int(number) for number in used if number.isdecimal()), default=0) + 1


def _written_anew(score: Score, wanted: dict[int, NoteMarks]) -> bytes:
    root = marked_root(score)
    _write_into(root, wanted)
    return etree.tostring(root, encoding="utf-8", xml_declaration=True)


def _write_into(root: Element, wanted: dict[int, NoteMarks]) -> None:
    by_id = {marks.id: marks for marks in wanted.values()}
    for note in root.iter("note"):
        marks = by_id.get(note.get("id"))
        if marks is None:
            continue
        if marks.light and note.get("color") is None:
            note.set("color", LIGHT)
        later = next((child for child in note if child.tag in {"play", "listen"}), None)
        for number, placement, text in marks.lyrics:
            element = lyric(number, placement, text)
            if later is None:
                note.append(element)
            else:
                later.addprevious(element)
