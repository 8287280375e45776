"""What comes into the journal: a measured take, and what the listener marked by ear.

A take comes as the JSON that listening writes, ``"format": 1``. Of it the journal keeps::

    {"format": 1, "etude": {"sha256": str}, "take": {"name": str, "date": str},
     "notes": [{"id": str, "off_cents": float, "u_cents": float, "verdict": VERDICT,
                "lean_cents": float|null, "heard": [{"confidence": float}]}]}

``off_cents`` is how far above its place the note was, from its anchor where it leans on one.
Other keys are passed over. A date need not stand in it. A note without verdict was not judged, and
is left out.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final, Literal, get_args

from skeleton.errors import TakeError
from skeleton.listening.verdict import Verdict

Says = Literal["flat", "sharp", "unsure"]
"""What a listener marks at a note that does not please."""

SAYS: Final[tuple[Says, ...]] = get_args(Says)
VERDICTS: Final[tuple[Verdict, ...]] = get_args(Verdict)

_FORMAT: Final = 1
_KEY: Final = re.compile(
    r"[1-9]\d{0,3}:\d{1,9}(?:/[1-9]\d{0,8})?:[A-G][#b()+/0-9-]{0,12}\d(?::[1-9]\d{0,3})?", re.ASCII
)
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
    """A take as measured: when (ISO 8601), from which recording, and its notes.

    ``source_sha256`` is that of the MusicXML it was measured against, in whose ids it speaks.
    """

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
    said = when or about.get("date")
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
    name, etude = about.get("name"), data.get("etude")
    sha = etude.get("sha256") if isinstance(etude, Mapping) else None
    return MeasuredTake(
        checked_date(said, source),
        tuple(measured),
        path=name[:_LONGEST_TEXT] if isinstance(name, str) else None,
        source_sha256=sha if isinstance(sha, str) else None,
    )


def checked_verdict(value: object, where: str) -> Verdict:
    """Return a verdict.

    Raises:
        TakeError: it is none.
    """
    for known in VERDICTS:
        if value == known:
            return known
    raise TakeError(f"{where}: {str(value)[:40]!r} is no verdict; there are {', '.join(VERDICTS)}")


def checked_says(value: object, where: str) -> Says:
    """Return what a mark says.

    Raises:
        TakeError: it is no mark.
    """
    for known in SAYS:
        if value == known:
            return known
    raise TakeError(f"{where}: {str(value)[:40]!r} is no mark; there are {', '.join(SAYS)}")


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
    said, off, uncertainty = (entry.get(key) for key in ("verdict", "off_cents", "u_cents"))
    if said is None or off is None or uncertainty is None:
        return None
    lean = entry.get("lean_cents")
    return MeasuredNote(
        _id(entry.get("id"), where),
        checked_cents(off, where),
        _number(uncertainty, where, 0.0, _WIDEST_CENTS),
        checked_verdict(said, where),
        None if lean is None else checked_cents(lean, where),
        _confidence(entry.get("heard"), where),
    )


def _confidence(heard: object, where: str) -> float | None:
    """How sure the surest playing of a note is."""
    if not isinstance(heard, list):
        return None
    told = [one["confidence"] for one in heard if isinstance(one, Mapping) and "confidence" in one]
    return max((_number(one, where, 0.0, 1.0) for one in told), default=None)


def _id(value: object, where: str) -> str:
    if not isinstance(value, str) or not value or len(value) > _LONGEST_TEXT:
        raise TakeError(f"{where}: {str(value)[:40]!r} is no note's id")
    return value


def checked_key(value: object, where: str) -> str:
    """Return a note's key as :mod:`skeleton.journal.content` makes them.

    Raises:
        TakeError: it is none.
    """
    if not isinstance(value, str) or _KEY.fullmatch(value) is None:
        raise TakeError(f"{where}: {str(value)[:40]!r} is no note; write 1:33/4:F#4")
    return value


def checked_cents(value: object, where: str) -> float:
    """Return a number of cents within two octaves.

    Raises:
        TakeError: it is none.
    """
    return _number(value, where, -_WIDEST_CENTS, _WIDEST_CENTS)


def _number(value: object, where: str, lowest: float, highest: float) -> float:
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or not lowest <= value <= highest  # nor what is no number
    ):
        raise TakeError(
            f"{where}: {str(value)[:40]!r} cannot be; it must be from {lowest:g} to {highest:g}"
        )
    return float(value) + 0.0  # SQLite keeps no negative zero; a take put in again has to match
