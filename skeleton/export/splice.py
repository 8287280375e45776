"""Adding marks to a MusicXML file without touching a byte of it.

The additions go into the file's own bytes: an id and a colour into the start tags of notes, a
lyric line for each label behind what the note holds already. Encoding, line ends, indentation,
attribute quotes and everything else stay; taking the additions out again gives the file back
(:func:`additions` lists them, :func:`take_out` does it).

Places are found with expat, which tells the byte at which each tag begins. That works for all
encodings that expat reads by itself (UTF-8, UTF-16, ISO-8859-1, US-ASCII) and for single-byte
ones; for others :func:`splice` says so with an error, and the caller has to write the file anew.

Source: MusicXML 4.0, note and lyric elements (W3C Community Group Final Report): lyrics come
after notations and before ``play`` and ``listen``; colours are ``#`` and upper-case hex digits.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

from skeleton.errors import OutputError

LIGHT: Final = "#767676"
"""Colour of the notes that step back; 4.5:1 on white (WCAG 2.2, 1.4.3)."""

_BLACK: Final = "#000000"
_AFTER_LYRICS: Final = frozenset({"play", "listen"})
_SPACE: Final = " \t\r\n"


@dataclass(frozen=True, slots=True)
class NoteMarks:
    """What is added to one note: its id where it has none, a colour, and lyric lines."""

    id: str | None = None
    light: bool = False
    lyrics: tuple[tuple[int, str, str], ...] = ()
    """Number, placement (``above`` or ``below``) and text of each."""


@dataclass(frozen=True, slots=True)
class Addition:
    """Bytes that go in before the byte at ``offset`` of the source."""

    offset: int
    data: bytes


@dataclass(slots=True)
class _Spot:
    """Where one note's tags stand, in bytes of the source."""

    start: int
    attributes: frozenset[str]
    first_child: int = -1
    end: int = -1
    lyrics_before: int = -1
    accidental: int = -1


def additions(data: bytes, marked: Mapping[int, NoteMarks]) -> tuple[Addition, ...]:
    """Work out what goes where.

    Args:
        data: the bytes of a MusicXML file, uncompressed.
        marked: the marks of each note by the ordinal of its ``<note>`` in the file.

    Raises:
        OutputError: the file's encoding does not allow it.
    """
    encoding = _encoding(data)
    unit = len("<".encode(encoding))
    found: list[Addition] = []
    for index, spot in enumerate(_spots(data)):
        marks = marked.get(index)
        if marks is None:
            continue
        tag_end = spot.start + len("<note") * unit
        attributes = ""
        if marks.id is not None and "id" not in spot.attributes:
            attributes += f" id={quoteattr(marks.id)}"
        if marks.light and "color" not in spot.attributes:
            attributes += f' color="{LIGHT}"'
            if spot.accidental >= 0:
                at = spot.accidental + len("<accidental") * unit
                found.append(Addition(at, f' color="{_BLACK}"'.encode(encoding)))
        if attributes:
            found.append(Addition(tag_end, attributes.encode(encoding)))
        if marks.lyrics:
            at, indent = _behind(data, spot, encoding, unit)
            colour = f' color="{_BLACK}"' if marks.light else ""
            text = "".join(indent + _lyric(*lyric, colour) for lyric in marks.lyrics)
            found.append(Addition(at, text.encode(encoding, "xmlcharrefreplace")))
    return tuple(sorted(found, key=lambda addition: addition.offset))


def splice(data: bytes, added: Iterable[Addition]) -> bytes:
    """Put the additions in."""
    pieces: list[bytes] = []
    at = 0
    for addition in added:
        pieces += [data[at : addition.offset], addition.data]
        at = addition.offset
    pieces.append(data[at:])
    return b"".join(pieces)


def take_out(data: bytes, added: Iterable[Addition]) -> bytes:
    """Take the additions out of what :func:`splice` made.

    Raises:
        OutputError: the bytes are not the result of these additions.
    """
    pieces: list[bytes] = []
    at = taken = 0
    for addition in added:
        here = addition.offset + taken
        pieces.append(data[at:here])
        at = here + len(addition.data)
        taken += len(addition.data)
        if data[here:at] != addition.data:
            raise OutputError("this file does not hold the marks that should be taken out")
    pieces.append(data[at:])
    return b"".join(pieces)


def _lyric(number: int, placement: str, text: str, colour: str) -> str:
    # Some programs draw lyrics in the colour of their note.
    return (
        f'<lyric number="{number}" placement="{placement}"{colour}>'
        f"<syllabic>single</syllabic><text>{escape(text)}</text></lyric>"
    )


def _encoding(data: bytes) -> str:
    """The Python codec for text that goes into these bytes; no byte order mark is added."""
    if data.startswith((b"\xff\xfe", b"<\x00")):
        return "utf-16-le"
    if data.startswith((b"\xfe\xff", b"\x00<")):
        return "utf-16-be"
    declared: list[str] = []
    parser = expat.ParserCreate()
    parser.XmlDeclHandler = lambda _version, encoding, _standalone: declared.append(encoding or "")
    try:
        parser.Parse(data[:200].rpartition(b"?>")[0] + b"?>", False)
    except expat.ExpatError as error:
        raise OutputError(_no_splice(str(error))) from error
    return declared[0] if declared and declared[0] else "utf-8"


def _no_splice(why: str) -> str:
    return f"marks cannot be put into this file's own bytes ({why})"


def _spots(data: bytes) -> Iterator[_Spot]:
    """Find every note of the file, in order."""
    spots: list[_Spot] = []
    open_notes: list[_Spot] = []
    depth = 0
    parser = expat.ParserCreate()

    def start(name: str, attributes: Mapping[str, str]) -> None:
        nonlocal depth
        if name == "note" and not open_notes:
            open_notes.append(_Spot(parser.CurrentByteIndex, frozenset(attributes)))
            depth = 0
        elif open_notes:
            depth += 1
            note = open_notes[-1]
            if note.first_child < 0:
                note.first_child = parser.CurrentByteIndex
            if depth == 1 and name in _AFTER_LYRICS and note.lyrics_before < 0:
                note.lyrics_before = parser.CurrentByteIndex
            if depth == 1 and name == "accidental" and "color" not in attributes:
                note.accidental = parser.CurrentByteIndex

    def end(name: str) -> None:
        nonlocal depth
        if name == "note" and depth == 0 and open_notes:
            note = open_notes.pop()
            note.end = parser.CurrentByteIndex
            spots.append(note)
        elif open_notes:
            depth -= 1

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, LookupError, ValueError) as error:
        raise OutputError(_no_splice(str(error))) from error
    yield from spots


def _behind(data: bytes, spot: _Spot, encoding: str, unit: int) -> tuple[int, str]:
    """Where lyrics go, and the line end and indentation of the note's own children."""
    spaces = [mark.encode(encoding) for mark in _SPACE]

    def before(place: int) -> int:
        while data[place - unit : place] in spaces:
            place -= unit
        return place

    line_start = before(spot.first_child)
    indent = data[line_start : spot.first_child].decode(encoding)
    return before(spot.lyrics_before if spot.lyrics_before >= 0 else spot.end), indent
