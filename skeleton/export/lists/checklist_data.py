"""The checklist for other programs: CSV for a spreadsheet, JSON for anything else.

CSV follows RFC 4180 (comma, double quotes, CRLF), in UTF-8 without a byte order mark. Text that
a spreadsheet would take for a formula (it begins with ``=``, ``+``, ``-``, ``@``, a tab or a
carriage return) gets an apostrophe before it, as the OWASP page on CSV injection advises (from
memory). JSON is marked ``"format": 1``; its keys are added to, never renamed.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from typing import Any

from skeleton.analysis.results import Place
from skeleton.export.lists.checklist import CAUTIONS, Checklist, PassageChecklist, TunedNote
from skeleton.export.lists.checklist_text import match_text, places_text
from skeleton.export.lists.outline import number
from skeleton.export.lists.words import anchor_text, listed, one_line, pitches_text

COLUMNS = (
    "passage",
    "first_measure",
    "last_measure",
    "part",
    "kind",
    "note",
    "tune_from",
    "places",
    "match",
    "done",
)
"""The columns of the CSV table. ``kind`` is tune, fixed, accidental, match or twins."""


def checklist_csv(checklist: Checklist) -> str:
    """Return the checklist as one flat table with a header row; ``done`` is left empty."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for passage in checklist.passages:
        span = passage.passage
        head = (span.name, span.first_measure, span.last_measure, passage.part_name)
        for row in _rows(passage):
            writer.writerow([guarded(cell) for cell in (*head, *row, "")])
    return out.getvalue()


def checklist_json(checklist: Checklist) -> str:
    """Return the checklist as JSON text, indented, with a newline at its end."""
    data = {
        "format": 1,
        "title": checklist.title,
        "source": checklist.source,
        "rule": checklist.rule,
        "a4_hz": float(checklist.a4_hz),
        "passages": [_passage(passage) for passage in checklist.passages],
        "matches": _matches(checklist),
        "cautions": list(CAUTIONS),
    }
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def guarded(text: str) -> str:
    """Return text on one line that no spreadsheet takes for a formula."""
    if text.startswith(("\t", "\r", "=", "+", "-", "@")):
        return f"'{one_line(text)}"
    text = one_line(text)
    return f"'{text}" if text.startswith(("=", "+", "-", "@")) else text


def _rows(passage: PassageChecklist) -> Iterator[tuple[str, str, str, str, str]]:
    """Yield kind, note, tune_from, places and match of every item."""
    for string in passage.tune_first:
        yield "tune", str(string), "", "", ""
    for name in passage.fixed:
        yield "fixed", pitches_text(name.pitches), f"open {name.string}", "", ""
    for note in passage.accidentals:
        yield (
            "accidental",
            str(note.pitch),
            anchor_text(note.anchor),
            places_text(note.places),
            note.label or "",
        )
    for match in passage.matches:
        yield (
            "match",
            str(match.group.pitch_class),
            "",
            match_text(match, passage),
            match.group.label,
        )
    for twins in passage.twins:
        yield "twins", listed((twins.first, twins.second)), "", "not the same note", ""


def _passage(passage: PassageChecklist) -> dict[str, Any]:
    return {
        "name": passage.passage.name,
        "first_measure": passage.passage.first_measure,
        "last_measure": passage.passage.last_measure,
        "part": passage.part,
        "instrument": passage.instrument.name,
        "tune_first": [str(string) for string in passage.tune_first],
        "fixed": [
            {"open_string": str(name.string), "pitches": [str(pitch) for pitch in name.pitches]}
            for name in passage.fixed
        ],
        "accidentals": [_tuned(note) for note in passage.accidentals],
        "matches": [match.group.label for match in passage.matches],
        "enharmonic_twins": [[str(twins.first), str(twins.second)] for twins in passage.twins],
    }


def _tuned(note: TunedNote) -> dict[str, Any]:
    return {
        "pitch": str(note.pitch),
        "anchor": str(note.anchor.place.pitch) if note.anchor else None,
        "text": anchor_text(note.anchor),
        "open_string": note.open_string,
        "match": note.label,
        "places": [_place(place) for place in note.places],
    }


def _place(place: Place) -> dict[str, Any]:
    return {"id": place.id, "measure": place.measure, "beat": number(place.beat)}


def _matches(checklist: Checklist) -> list[dict[str, Any]]:
    """Every match once, whatever the number of passages it returns in."""
    found = {
        (passage.part, match.group.label): match
        for passage in checklist.passages
        for match in passage.matches
    }
    return [
        {
            "part": part,
            "label": label,
            "pitch_class": str(match.group.pitch_class),
            "octaves": list(match.group.octaves),
            "across_octaves": match.group.across_octaves,
            "open_string": match.open_string,
            "passages": list(match.passages),
        }
        for (part, label), match in found.items()
    ]
