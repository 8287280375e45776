"""What comes into the journal: a measured take, and what the listener marked by ear.

Both come as JSON with ``"format": 1``. Keys that are not named here are passed over, so that a
report may say more than the journal keeps.

A report of a take::

    {"format": 1,
     "take": {"date": "2026-03-14T17:05:00", "path": "monday.wav"},
     "notes": [{"id": "n12", "deviation_cents": -14.2, "uncertainty_cents": 3.1,
                "verdict": "flat", "lean_cents": 104.4, "confidence": 0.97}]}

A note without deviation or verdict was not heard, and is left out. Of one note played more than
once in a take (``id`` twice), each counts into the note's mean.

Marks by ear::

    {"format": 1, "etude": "<SHA-256 of the file>",
     "takes": [{"date": "2026-03-14", "marks": [{"note": "n12", "says": "flat"}]}]}
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final, Literal, get_args

from skeleton.errors import TakeError
from skeleton.listening.verdict import Verdict

Says = Literal["flat", "sharp", "unsure"]
"""What a listener marks at a note that does not please."""

SAYS: Final[tuple[Says, ...]] = get_args(Says)

_FORMAT: Final = 1
_LONGEST_TEXT: Final = 1000
_WIDEST_CENTS: Final = 2400.0


@dataclass(frozen=True, slots=True)
class MeasuredNote:
    """One note of a take.

    Attributes:
        note: its id in the file it was measured against.
        deviation_cents: how far above its target it was played.
        uncertainty_cents: two standard errors of that.
        verdict: in tune, flat, sharp or cannot tell.
        lean_cents: the step to its anchor as played, above 0; None where it hangs on none.
        confidence: how sure it is that this is the note, 0 to 1; None where not told.
    """

    note: str
    deviation_cents: float
    uncertainty_cents: float
    verdict: Verdict
    lean_cents: float | None = None
    confidence: float | None = None


@dataclass(frozen=True, slots=True)
class MeasuredTake:
    """A take as measured: when (ISO 8601), from which recording, and its notes."""

    date: str
    notes: tuple[MeasuredNote, ...]
    path: str | None = None
    source_sha256: str | None = None


@dataclass(frozen=True, slots=True)
class EarMark:
    """What the listener says of one note."""

    note: str
    says: Says


@dataclass(frozen=True, slots=True)
class MarkedTake:
    """The marks of one listening: of the take of this date."""

    date: str
    marks: tuple[EarMark, ...]


def take_from_json(text: str | bytes, source: str, *, when: str | None = None) -> MeasuredTake:
    """Read a take from the JSON of its report.

    Args:
        text: the report.
        source: its name in messages.
        when: the date, where it is to be this one or the report has none.

    Raises:
        TakeError: it is no report of a take, or a value in it cannot be.
    """
    data = _read(text, source)
    about = data.get("take")
    about = about if isinstance(about, Mapping) else {}
    said = when or about.get("date") or data.get("date")
    if said is None:
        raise TakeError(f"{source}: does not say when the take was played; give --date 2026-03-14")
    notes = data.get("notes")
    if not isinstance(notes, list):
        raise TakeError(f"{source}: has no list of notes; give the report that listening writes")
    measured = []
    for place, entry in enumerate(notes, start=1):
        where = f"{source}: note {place}"
        one = _note(_object(entry, where), where)
        if one is not None:
            measured.append(one)
    if not measured:
        raise TakeError(f"{source}: no note in it was measured; there is nothing to keep")
    path = about.get("path") or data.get("recording")
    sha = data.get("etude")
    sha = sha.get("sha256") if isinstance(sha, Mapping) else sha
    return MeasuredTake(
        checked_date(said, source),
        tuple(measured),
        path=str(path)[:_LONGEST_TEXT] if path else None,
        source_sha256=sha if isinstance(sha, str) and len(sha) == 64 else None,
    )


def marks_from_json(text: str | bytes, source: str) -> tuple[tuple[MarkedTake, ...], str | None]:
    """Read marks by ear; return them with the SHA-256 of the file they were made on, if told.

    Raises:
        TakeError: these are no marks, or a value in them cannot be.
    """
    data = _read(text, source)
    takes = data.get("takes")
    if not isinstance(takes, list):
        raise TakeError(f"{source}: has no list of takes; give the marks that the page exports")
    found = []
    for place, entry in enumerate(takes, start=1):
        where = f"{source}: take {place}"
        one = _object(entry, where)
        marks = one.get("marks")
        if not isinstance(marks, list):
            raise TakeError(f"{where}: has no list of marks")
        found.append(
            MarkedTake(
                checked_date(one.get("date"), where),
                tuple(_mark(_object(mark, where), where) for mark in marks),
            )
        )
    sha = data.get("etude")
    return tuple(found), sha if isinstance(sha, str) else None


def checked_date(value: object, where: str) -> str:
    """Return a date as ISO 8601 writes it, with its time where it has one.

    Raises:
        TakeError: it is no date.
    """
    try:
        if not isinstance(value, str):
            raise TypeError
        text = value.strip()
        return date.fromisoformat(text).isoformat() if len(text) <= 10 else _moment(text)
    except (TypeError, ValueError) as error:
        raise TakeError(
            f"{where}: {str(value)[:40]!r} is no date; write 2026-03-14 or 2026-03-14T17:05"
        ) from error


def day_of(when: str) -> int:
    """Return the day of a checked date, as ``datetime.date.toordinal`` counts them."""
    return date.fromisoformat(when[:10]).toordinal()


def _moment(text: str) -> str:
    return datetime.fromisoformat(text).isoformat(timespec="seconds")


def _read(text: str | bytes, source: str) -> Mapping[str, Any]:
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise TakeError(f"{source}: no JSON: {error}") from error
    data = _object(data, source)
    if data.get("format") != _FORMAT:
        raise TakeError(
            f"{source}: format {str(data.get('format'))[:20]!r} is not known; it must be {_FORMAT}"
        )
    return data


def _object(value: object, where: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise TakeError(f"{where}: is no JSON object")
    return value


def _note(entry: Mapping[str, Any], where: str) -> MeasuredNote | None:
    verdict = entry.get("verdict")
    if entry.get("deviation_cents") is None or verdict is None:
        return None
    if verdict not in get_args(Verdict):
        raise TakeError(
            f"{where}: {str(verdict)[:40]!r} is no verdict; there are "
            f"{', '.join(get_args(Verdict))}"
        )
    uncertainty = entry.get("uncertainty_cents", entry.get("u_cents"))
    if uncertainty is None:
        return None
    lean = entry.get("lean_cents")
    confidence = entry.get("confidence")
    return MeasuredNote(
        _id(entry.get("id"), where),
        _number(entry["deviation_cents"], where, -_WIDEST_CENTS, _WIDEST_CENTS),
        _number(uncertainty, where, 0.0, _WIDEST_CENTS),
        verdict,
        None if lean is None else _number(lean, where, -_WIDEST_CENTS, _WIDEST_CENTS),
        # Words for how sure it is ("high") are the report's own business.
        _number(confidence, where, 0.0, 1.0) if isinstance(confidence, int | float) else None,
    )


def _mark(entry: Mapping[str, Any], where: str) -> EarMark:
    note = _id(entry.get("note"), where)
    for says in SAYS:
        if entry.get("says") == says:
            return EarMark(note, says)
    raise TakeError(
        f"{where}: {str(entry.get('says'))[:40]!r} is no mark; there are {', '.join(SAYS)}"
    )


def _id(value: object, where: str) -> str:
    if not isinstance(value, str) or not value or len(value) > _LONGEST_TEXT:
        raise TakeError(f"{where}: {str(value)[:40]!r} is no note's id")
    return value


def _number(value: object, where: str, lowest: float, highest: float) -> float:
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or not math.isfinite(value)
        or not lowest <= value <= highest
    ):
        raise TakeError(
            f"{where}: {str(value)[:40]!r} cannot be; it must be from {lowest:g} to {highest:g}"
        )
    return float(value)
