"""A journal as lines of JSON: taken out of one, put into another.

The first line is ``{"format": 1, "kind": "journal"}``; each other line one take, listening or
lesson::

    {"kind": "take", "student": ..., "etude": content, "title": ..., "date": ..., "path": ...,
     "notes": [{"key", "deviation_cents", "uncertainty_cents", "verdict", "lean_cents",
                "confidence"}]}
    {"kind": "listening", ..., "marks": [{"key", "says"}]}
    {"kind": "lesson", ..., "text": ...}

Notes stand by their keys (:mod:`skeleton.journal.content`), so no score is needed. What is kept
already is not put in again.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from skeleton.errors import JournalError, TakeError
from skeleton.journal.database import Journal
from skeleton.journal.records import Kept, Music
from skeleton.journal.take import (
    EarMark,
    MarkedTake,
    MeasuredNote,
    MeasuredTake,
    checked_cents,
    checked_date,
    checked_key,
    checked_says,
    checked_verdict,
)

_HEAD: Final = {"format": 1, "kind": "journal"}


@dataclass(frozen=True, slots=True)
class PutIn:
    """How many takes were new, and how many were kept already; listenings and lessons read."""

    takes: int
    known_takes: int
    listenings: int
    lessons: int


def to_lines(everything: Iterable[Kept]) -> Iterator[str]:
    """Yield the lines, each with its line end."""
    yield _line(_HEAD)
    for one in everything:
        head = {"student": one.student, "etude": one.content, "title": one.title}
        if one.take is not None:
            notes = [
                {
                    "key": note.note,
                    "deviation_cents": note.deviation_cents,
                    "uncertainty_cents": note.uncertainty_cents,
                    "verdict": note.verdict,
                    "lean_cents": note.lean_cents,
                    "confidence": note.confidence,
                }
                for note in one.take.notes
            ]
            take = {"date": one.take.date, "path": one.take.path, "notes": notes}
            yield _line({"kind": "take", **head, **take})
        elif one.listening is not None:
            marks = [{"key": mark.note, "says": mark.says} for mark in one.listening.marks]
            listening = {"date": one.listening.date, "marks": marks}
            yield _line({"kind": "listening", **head, **listening})
        else:
            lesson = {"date": one.lesson_date, "text": one.lesson}
            yield _line({"kind": "lesson", **head, **lesson})


def from_lines(journal: Journal, lines: Iterable[str], source: str) -> PutIn:
    """Put all lines into a journal, or none where one of them cannot be used.

    Args:
        journal: where to.
        lines: with or without line ends; empty ones are passed over.
        source: their name in messages.

    Raises:
        TakeError: a line is none of those above; the message says which.
        JournalError: the journal cannot be written.
    """
    takes = known = listenings = lessons = 0
    headed = False
    with journal.together():
        for number, line in enumerate(lines, start=1):
            if not line.strip():
                continue
            where = f"{source}: line {number}"
            entry = _object(line, where)
            if not headed:
                if {key: entry.get(key) for key in _HEAD} != _HEAD:
                    raise TakeError(f"{where}: is no journal in lines; export one to see how")
                headed = True
                continue
            kind, student = entry.get("kind"), _text(entry, "student", where)
            try:
                if kind == "take":
                    new = _take(journal, student, entry, where)
                    takes, known = takes + new, known + (not new)
                elif kind == "listening":
                    _listening(journal, student, entry, where)
                    listenings += 1
                elif kind == "lesson":
                    when, text = checked_date(entry.get("date"), where), _text(entry, "text", where)
                    journal.add_lesson(student, _music(entry, (), where), when, text)
                    lessons += 1
                else:
                    raise TakeError(f"{where}: kind {str(kind)[:40]!r} is not known")
            except JournalError as error:
                raise TakeError(f"{where}: {error}") from error
        if not headed:
            raise TakeError(f"{source}: is empty; export a journal to see what it must hold")
    return PutIn(takes, known, listenings, lessons)


def checked_content(text: str, where: str) -> str:
    """Return the identity of an etude: 64 hexadecimal digits.

    Raises:
        TakeError: it is none.
    """
    if len(text) != 64 or set(text) - set("0123456789abcdef"):
        raise TakeError(f"{where}: {text[:40]!r} is no identity of an etude")
    return text


def _take(journal: Journal, student: str, entry: Mapping[str, Any], where: str) -> bool:
    notes = _entries(entry, "notes", where)
    path = entry.get("path")
    measured = tuple(
        MeasuredNote(
            one["key"],
            checked_cents(one.get("deviation_cents"), where),
            checked_cents(one.get("uncertainty_cents"), where),
            checked_verdict(one.get("verdict"), where),
            _or_none(one.get("lean_cents"), where),
            _or_none(one.get("confidence"), where),
        )
        for one in notes
    )
    when = checked_date(entry.get("date"), where)
    take = MeasuredTake(when, measured, path if isinstance(path, str) else None)
    return journal.record(student, _music(entry, notes, where), take)


def _listening(journal: Journal, student: str, entry: Mapping[str, Any], where: str) -> None:
    marks = _entries(entry, "marks", where)
    said = tuple(EarMark(one["key"], checked_says(one.get("says"), where)) for one in marks)
    listening = MarkedTake(checked_date(entry.get("date"), where), said)
    journal.add_marks(student, _music(entry, marks, where), [listening])


def _or_none(value: object, where: str) -> float | None:
    return None if value is None else checked_cents(value, where)


def _music(entry: Mapping[str, Any], notes: Iterable[Mapping[str, Any]], where: str) -> Music:
    content, title = checked_content(_text(entry, "etude", where), where), entry.get("title")
    return Music(
        content,
        title if isinstance(title, str) else None,
        {one["key"]: one["key"] for one in notes},
    )


def _entries(entry: Mapping[str, Any], name: str, where: str) -> list[Mapping[str, Any]]:
    found = entry.get(name)
    if not isinstance(found, list):
        raise TakeError(f"{where}: has no list of {name}")
    for one in found:
        if not isinstance(one, Mapping) or "key" not in one:
            raise TakeError(f"{where}: one of its {name} has no key")
        checked_key(one["key"], where)
    return found


def _text(entry: Mapping[str, Any], name: str, where: str) -> str:
    value = entry.get(name)
    if not isinstance(value, str) or not value.strip():
        raise TakeError(f"{where}: {name!r} is missing or no text")
    return value


def _object(line: str, where: str) -> Mapping[str, Any]:
    try:
        entry = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise TakeError(f"{where}: no JSON: {error}") from error
    if not isinstance(entry, Mapping):
        raise TakeError(f"{where}: is no JSON object")
    return entry


def _line(data: Mapping[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n"
