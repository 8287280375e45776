"""Scores in other formats: music21 reads them and writes MusicXML, which our reader reads.

What music21 does not carry over is lost: slurs of Humdrum files, for one. A converted score
says in a notice what it was, and how many slurs came through. Ids and dates that music21
makes up anew in each run are made stable, so that one file gives one set of bytes and ids.
"""

from __future__ import annotations

import codecs
import contextlib
import io
import re
import warnings
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any, Final

from lxml import etree

from skeleton.errors import ScoreError
from skeleton.score.model import Notice
from skeleton.score.tree import Element, looks_like_score, parse


@dataclass(frozen=True, slots=True)
class Format:
    """A format that is read by conversion: our name for it, and music21's."""

    name: str
    converter: str
    suffixes: tuple[str, ...]
    is_text: bool = True


ABC: Final = Format("ABC", "abc", (".abc",))
HUMDRUM: Final = Format("Humdrum", "humdrum", (".krn", ".kern", ".hmd"))
MEI: Final = Format("MEI", "mei", (".mei",))
MIDI: Final = Format("MIDI", "midi", (".mid", ".midi"), is_text=False)
MUSEDATA: Final = Format("MuseData", "musedata", (".musedata", ".md", ".stage2"))

FORMATS: Final = (ABC, HUMDRUM, MEI, MIDI, MUSEDATA)

_ABC_HEAD: Final = re.compile(rb"^X:[ \t]*\d+.*?^K:", re.MULTILINE | re.DOTALL)
_MEI_ROOT: Final = re.compile(rb"<(?:\w+:)?mei[\s>]")
# Of MEI, of ABC: what the converter would write out beat by beat.
_ENDLESS: Final = re.compile(
    rb"\s(?:meter\.|metre\.)?(?:count|unit|num|numbase|dots|dur[.a-z]*)\s*=\s*[\"'][^\"']*\d{5}"
    rb"|^\s*M:[^\n]*\d{5}|^\*M[^\n\t]*\d{5}",
    re.MULTILINE,
)
_LONGEST_QUARTERS: Final = 10_000
_ENTITY: Final = re.compile(rb"<!ENTITY", re.IGNORECASE)


def recognise(data: bytes, name: str) -> Format | None:
    """Return the format of some bytes: by what they say, then by the file's suffix."""
    head = data[:65536].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    if head.startswith(b"MThd"):
        return MIDI
    if head.startswith(b"<"):
        return MEI if _MEI_ROOT.search(head) and not looks_like_score(data) else None
    if re.search(rb"^\*\*kern\b", head, re.MULTILINE) or head.startswith(b"!!!"):
        return HUMDRUM
    if _ABC_HEAD.search(head):
        return ABC
    suffix = PurePath(name).suffix.lower()
    for each in (ABC, HUMDRUM, MUSEDATA):
        if suffix in each.suffixes:
            return each
    return None


def convert(data: bytes, name: str, form: Format) -> tuple[bytes, tuple[Notice, ...]]:
    """Return a foreign score as MusicXML, and notices of what the conversion cost.

    Raises:
        ScoreError: music21 cannot read or write it.
    """
    if form is MEI and _ENTITY.search(data.replace(b"\0", b"")):
        raise ScoreError(f"{name}: the file declares entities of its own, which are not read")
    if form.is_text and _ENDLESS.search(data.replace(b"\0", b"")):
        raise ScoreError(f"{name}: a metre or a length in it has more digits than any has; mend it")
    try:
        written, pieces = _by_music21(_text(data) if form.is_text else data, form)
    except Exception as error:
        reason = " ".join(str(error).split())[:120]
        raise ScoreError(
            f"{name}: cannot be read as {form.name} ({type(error).__name__}: {reason}); "
            f"export the score as MusicXML"
        ) from None
    root, _ = parse(written, name, remarks=True)
    _make_stable(root)
    notices = [_cost(root, form)]
    if pieces > 1:
        notices.append(
            Notice("several-pieces", f"the file holds {pieces} pieces; only the first is read")
        )
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8"), tuple(notices)


def _text(data: bytes) -> str:
    if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("windows-1252", errors="replace")


def _by_music21(data: str | bytes, form: Format) -> tuple[bytes, int]:
    """Convert; return the MusicXML and how many pieces the file holds."""
    with (
        warnings.catch_warnings(),
        contextlib.redirect_stdout(io.StringIO()),
        contextlib.redirect_stderr(io.StringIO()),
    ):
        warnings.simplefilter("ignore")
        from music21 import converter, stream  # noqa: PLC0415  half a second, only when needed
        from music21.musicxml.m21ToXml import GeneralObjectExporter  # noqa: PLC0415

        if isinstance(data, bytes):
            _check_midi(data)
        music: Any = converter.parseData(data, format=form.converter)
        pieces = 1
        if isinstance(music, stream.Opus):
            scores = list(music.scores)
            pieces = len(scores)
            music = scores[0]
        if not list(music.recurse().notesAndRests):
            raise ValueError("no notes were found in it")
        _check_length(music.highestTime)
        written: bytes = GeneralObjectExporter(music).parse()
    return written, pieces


def _check_midi(data: bytes) -> None:
    """Refuse MIDI without end before it is written out in measures, which is done in reading it."""
    from music21.midi import MidiFile  # noqa: PLC0415 - when needed

    file: Any = MidiFile()
    file.readstr(data)
    ticks = max((sum(event.time for event in track.events) for track in file.tracks), default=0)
    _check_length(ticks / (file.ticksPerQuarterNote or 1))


def _check_length(quarters: float) -> None:
    # A rest without end is as many measures. What is no number is no length either.
    if not quarters <= _LONGEST_QUARTERS:
        raise ValueError(f"it is longer than {_LONGEST_QUARTERS} quarters")


def _make_stable(root: Element) -> None:
    """Number the ids in the order of the document, and leave the day of conversion out."""
    names: dict[str, str] = {}
    for element in root.iter(etree.Element):
        own = element.get("id")
        if own is not None:
            letter = "P" if element.tag in ("score-part", "part") else "I"
            if own not in names:
                names[own] = f"{letter}{sum(n.startswith(letter) for n in names.values()) + 1}"
            element.set("id", names[own])
    for date in list(root.iter("encoding-date")):
        parent = date.getparent()
        if parent is not None:
            parent.remove(date)


def _cost(root: Element, form: Format) -> Notice:
    slurs = sum(slur.get("type") == "start" for slur in root.iter("slur"))
    return Notice(
        "converted",
        f"converted from {form.name} through music21; {slurs or 'no'} slurs came through: check "
        f"them against the source, or export MusicXML from the program that made it",
    )
