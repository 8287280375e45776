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

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final
from xml.parsers import expat

from skeleton.errors import OutputError

LIGHT: Final = "#767676"
"""Colour of the notes that step back; 4.5:1 on white (WCAG 2.2, 1.4.3)."""

_BLACK: Final = "#000000"
_AFTER_LYRICS: Final = frozenset({"play", "listen"})
_SPACE: Final = " \t\r\n"
_NOTE_DEPTH: Final = 4  # score, part, measure, note; or score, measure, part, note
_DECLARED: Final = re.compile(
    rb"""(?:\xef\xbb\xbf)?<\?xml[^>]*?\sencoding\s*=\s*["']([A-Za-z][A-Za-z0-9._-]*)["']"""
)


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


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where one note's tags stand, in bytes of the source; -1 for what it has not."""

    start: int
    attributes: frozenset[str]
    first_child: int
    end: int
    lyrics_before: int
    accidental: int


def additions(data: bytes, marked: Mapping[int, NoteMarks], count: int) -> tuple[Addition, ...]:
    """Work out what goes where.

    Args:
        data: the bytes of a MusicXML file, uncompressed.
        marked: the marks of each note by the ordinal of its ``<note>`` in the file.
        count: how many notes the file holds.

    Raises:
        OutputError: the file's encoding does not allow it, or its tags do not stand where they
            can be found (a prefix before their names, entities that hold notes).
    """
    encoding = _encoding(data)
    try:
        unit = len("<".encode(encoding))
    except LookupError as error:
        raise OutputError(_no_splice(str(error))) from error
    spots = _Finder().read(data)
    if len(spots) != count:
        raise OutputError(_no_splice(f"{len(spots)} of its {count} notes can be found there"))
    found: list[Addition] = []
    for index, spot in enumerate(spots):
        marks = marked.get(index)
        if marks is None:
            continue
        tag_end = spot.start + len("<note") * unit
        attributes = ""
        if marks.id is not None and "id" not in spot.attributes:
            attributes += f' id="{_escaped(marks.id)}"'
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
        f"<syllabic>single</syllabic><text>{_escaped(text)}</text></lyric>"
    )


def _escaped(text: str) -> str:
    """For text and quoted values. The libraries' own functions are slow to import."""
    for sign, name in (("&", "amp"), ("<", "lt"), (">", "gt"), ('"', "quot")):
        text = text.replace(sign, f"&{name};")
    return text


def _encoding(data: bytes) -> str:
    """The Python codec for text that goes into these bytes; no byte order mark is added."""
    if data.startswith((b"\xff\xfe", b"<\x00")):
        return "utf-16-le"
    if data.startswith((b"\xfe\xff", b"\x00<")):
        return "utf-16-be"
    declared = _DECLARED.match(data)
    return declared[1].decode("ascii") if declared else "utf-8"


def _no_splice(why: str) -> str:
    return f"marks cannot be put into this file's own bytes ({why})"


class _Finder:
    """Finds the notes of a score while expat reads it."""

    def __init__(self) -> None:
        self.spots: list[_Spot] = []
        self._parser = expat.ParserCreate()
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._depth = 0
        self._attributes: frozenset[str] = frozenset()
        self._at: dict[str, int] = {}  # the bytes seen of the note that is open

    def read(self, data: bytes) -> list[_Spot]:
        """Return every note of the file, in order.

        Raises:
            OutputError: expat cannot read it.
        """
        try:
            self._parser.Parse(data, True)
        except (expat.ExpatError, LookupError, ValueError) as error:
            raise OutputError(_no_splice(str(error))) from error
        return self.spots

    def _start(self, name: str, attributes: Mapping[str, str]) -> None:
        self._depth += 1
        here = self._parser.CurrentByteIndex
        if self._depth == _NOTE_DEPTH and name == "note":
            self._at = {"start": here}
            self._attributes = frozenset(attributes)
        elif self._at:
            self._at.setdefault("first_child", here)
            if self._depth == _NOTE_DEPTH + 1 and name in _AFTER_LYRICS:
                self._at.setdefault("lyrics_before", here)
            if (
                self._depth == _NOTE_DEPTH + 1
                and name == "accidental"
                and "color" not in attributes
            ):
                self._at.setdefault("accidental", here)

    def _end(self, _name: str) -> None:
        if self._depth == _NOTE_DEPTH and self._at:
            at, self._at = self._at, {}
            self.spots.append(
                _Spot(
                    start=at["start"],
                    attributes=self._attributes,
                    first_child=at.get("first_child", -1),
                    end=self._parser.CurrentByteIndex,
                    lyrics_before=at.get("lyrics_before", -1),
                    accidental=at.get("accidental", -1),
                )
            )
        self._depth -= 1


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
